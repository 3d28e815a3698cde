/* catalogue.h - what is in force on a day: versions of the catalogue kinds, in memory.
 *
 * Built from the records of the hub's log that count (corrections applied, report rule R5: the
 * greatest `from` not after the day, ties by T5; whole record replaces whole record).
 */
#ifndef DAEMON_LEDGER_CATALOGUE_H
#define DAEMON_LEDGER_CATALOGUE_H

#include <stdbool.h>
#include <stdint.h>
#include "daemon/base/zone.h"
#include "proto/err.h"
#include "proto/record.pb-c.h"

struct catalogue;

enum err catalogue_new(struct catalogue **out_catalogue, struct err_text *why);
void catalogue_free(struct catalogue *catalogue); /* NULL is fine */

/* Takes a copy of an effective record of a catalogue kind or an act. Order of calls is free. */
enum err catalogue_add(struct catalogue *catalogue, const Knockbox__Record *record,
                       const uint8_t id[16], int64_t held_ms, struct err_text *why);

/* The version of a kind in force on `day`, NULL when there is none; lent until the next add.
 * `key` is the code; composite keys are joined with `|` in the order of report-rules part 2:
 * price "product|bottle_ml|currency", limits "code|for_site", calendar "for_site|day". */
const ProtobufCMessage *catalogue_get(const struct catalogue *catalogue, uint32_t kind_number,
                                      const char *key, int32_t day);

/* Of a kind whose keys stand for one another (factors): the key whose version in force on `day` has
 * the greatest `from`, ties by T5. NULL when none is; lent until the next add. */
const char *catalogue_newest_key(const struct catalogue *catalogue, uint32_t kind_number,
                                 int32_t day);

/* The version of an act (recall, settle, period-close) that people knew at an instant: the last by
 * (`at`, id) that is not after it, whatever its `from`. NULL: none. Lent until the next add. */
const ProtobufCMessage *catalogue_at(const struct catalogue *catalogue, uint32_t kind_number,
                                     const char *key, int64_t at_ms);

/* The instants (`at`) of all versions of a key, ascending; *out_at_ms lent until the next add. */
unsigned catalogue_instants(const struct catalogue *catalogue, uint32_t kind_number,
                            const char *key, const int64_t **out_at_ms);

/* All keys of a kind in bytewise order; `*out_keys` lent until the next add. */
unsigned catalogue_keys(const struct catalogue *catalogue, uint32_t kind_number,
                        const char *const **out_keys);

/* The site's own limit when it has one, else the general one; NULL when neither. */
const Knockbox__Limits *catalogue_limit(const struct catalogue *catalogue, const char *code,
                                        const char *site, int32_t day);

/* Where a business day begins at a site, T3: local wall clock before day_start of the version in
 * force on that local date is the day before. */
int32_t catalogue_business_day(const struct catalogue *catalogue, const char *site, int64_t at_ms,
                               int offset_min);

/* joined..left of the site, R4. Unknown sites are outside. */
bool catalogue_inside(const struct catalogue *catalogue, const char *site, int32_t day);

#endif
