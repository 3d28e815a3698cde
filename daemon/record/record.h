/* record.h - a record as a line of JSON, as bytes, and its name.
 */
#ifndef DAEMON_RECORD_RECORD_H
#define DAEMON_RECORD_RECORD_H

#include <jansson.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/record/kind.h"
#include "proto/codec.h"
#include "proto/err.h"

enum {
    RECORD_MAX = 4096,
    RECORD_BIG_MAX = 65536,
    ID_TEXT = 37,
    HASH_SIZE = 32,
    ID_SIZE = 16
};

/* Report rule F1: names that no body has; NULL-ended. */
const char *const *record_envelope_names(void);

/* A line of JSON (contract: "Records in and out") to a record. Envelope names that only a daemon
 * knows (epoch seq logged boot mono_ms clock via hash) are accepted and passed over, so that an
 * export can be imported; `held` is kept. What the line leaves out (site, at, by, id) is absent.
 * The body has passed codec_check() and the kind's own check; a site's zone is one that this
 * machine knows. `record` is lent by the arena. */
enum err record_from_json(const json_t *line, struct arena *arena, Knockbox__Record **out_record,
                          struct err_text *why);

/* The whole line, envelope names first. `hash` (NULL: none) and `held_ms` (< 0: the record's
 * own, if any) come from beside the record. `at` in its own offset, `logged` and `held` in UTC.
 * *out_line is yours (json_decref). */
enum err record_to_json(const Knockbox__Record *record, const uint8_t hash[HASH_SIZE],
                        int64_t held_ms, json_t **out_line, struct err_text *why);

/* Bytes to a record. `check` true (from a peer): codec_decode(), the size its kind may have, the
 * kind's own check; a kind of a later version passes. false: our own store, shape only. */
enum err record_decode(const uint8_t *bytes, size_t len, bool check, struct arena *arena,
                       Knockbox__Record **out_record, struct err_text *why);

/* Same id: is it the same statement? Compares site, kind, at, by and body. false
 * for kinds that this version does not know. */
bool record_same(const Knockbox__Record *a, const Knockbox__Record *b);

/* UUIDv7 text. */
char *id_print(const uint8_t id[ID_SIZE], char out[ID_TEXT]);
bool id_parse(const char *text, uint8_t out_id[ID_SIZE]);

/* A body for a correction: JSON object to a record of kind `kind` whose body it is; `at` inside is
 * put into at_ms (has_at_ms tells). Lent by the arena. */
enum err record_from_correction(const char *body_json, const struct kind *kind, struct arena *arena,
                                Knockbox__Record **out_record, struct err_text *why);

#endif
