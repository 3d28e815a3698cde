/* lean.h - as much of a stored record as folds read: site, id, moment, zone and body.
 *
 * A fold of a busy kitchen holds tens of thousands of records at once. Who wrote one, through which
 * account and after how many milliseconds since which start is left in the bytes.
 */
#ifndef DAEMON_LEDGER_LEAN_H
#define DAEMON_LEDGER_LEAN_H

#include "daemon/ledger/texts.h"
#include "daemon/record/record.h"
#include "proto/codec.h"

/* Texts that most records share. */
struct lean_texts {
    struct texts all;
    uint32_t last_site, last_zone; /* of the record before: mostly of the next one too */
};

/* Bytes of our own store. The record is lent by the arena and by the texts, where those stand that
 * most records share: the names of sites and zones. One without a body that this version knows has
 * body_case 0.
 * ERR_DAMAGED: not such bytes. ERR_MEM: the arena is full. */
enum err lean_decode(const uint8_t *bytes, size_t len, struct lean_texts *texts,
                     struct arena *arena, Knockbox__Record **out_record, struct err_text *why);

/* The number of the field of `body`, nothing decoded; 0: none that is known. */
uint32_t lean_kind(const uint8_t *bytes, size_t len);

#endif
