/* lineage.h - what a batch or a bottle lot was made of, all the way back.
 *
 * A bottle lot comes from batches, a batch from what was mixed into it: tubs, supplies, and bottle
 * lots taken back (rework), which come from batches again. Reads facts through the fold's own
 * windows, so the ledger knows what the answer rests on. Texts are lent until the fold returns.
 */
#ifndef DAEMON_LEDGER_LINEAGE_H
#define DAEMON_LEDGER_LINEAGE_H

#include <stdbool.h>
#include <stddef.h>
#include "daemon/ledger/fold.h"
#include "proto/err.h"

struct ancestor {
    enum subject_class class; /* tub, supply, batch or lot */
    const char *code;
};

struct lineage {
    struct ancestor *list; /* each once, in the order found; the start is the first */
    size_t n, cap;
};

/* Everything that `code` (a batch or a lot) was made of, itself too. End with lineage_done(), also
 * after an error. ERR_MEM. */
enum err lineage_make(const struct fold_input *input, enum subject_class class, const char *code,
                      struct lineage *out_lineage, struct err_text *why);
void lineage_done(struct lineage *lineage);

bool lineage_has(const struct lineage *lineage, enum subject_class class, const char *code);

/* Is there an item of class `spirit` in it? Items as in force on `day`. */
bool lineage_has_spirit(const struct fold_input *input, const struct lineage *lineage, int32_t day);

/* batch -> recipe of its first mix -> product; NULL when one of them is not known. */
const char *lineage_product(const struct fold_input *input, const char *batch);

/* The supply record of a lot, NULL when the lot is no supply. */
const struct fact *lineage_supply(const struct fold_input *input, const char *lot);

#endif
