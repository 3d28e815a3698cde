/* parcel.h - what a delivery is made of: prints of a report, its summary, and the job as
 * knockbox-send takes it.
 */
#ifndef DAEMON_EXCHANGE_PARCEL_H
#define DAEMON_EXCHANGE_PARCEL_H

#include <stddef.h>
#include <stdint.h>
#include "daemon/exchange/setup.h"
#include "daemon/report/table.h"
#include "proto/err.h"
#include "proto/outbox.pb-c.h"

enum {
    PARCEL_FILES = 8
};

/* A report in some prints. All inside is the parcel's. */
struct parcel {
    char what[64], subject[128];
    char text[8192]; /* summary for people */
    Knockbox__OutboxFile files[PARCEL_FILES], *list[PARCEL_FILES];
    char names[PARCEL_FILES][128];
    size_t n_files;
    size_t bytes; /* of all files */
};

/* Does a print of `as` want the model with pictures? */
bool parcel_wants_pictures(const char *as);

/* `as`: names of prints, separated by blanks. `pictured`: the model for prints that want pictures,
 * NULL when there is none among them. End with parcel_done(), also after an error.
 * ERR_INPUT: no such print. */
enum err parcel_report(const struct table_model *model, const struct table_model *pictured,
                       const char *site, int32_t month, const char *as, struct parcel *out_parcel,
                       struct err_text *why);
/* The alerts of one look: `lines` are `n` sentences, one line each. Files: none for mail; the
 * other ways of sending get the text as a file. */
enum err parcel_alerts(const char *site, int64_t now_ms, const char *const *lines, size_t n,
                       struct parcel *out_parcel, struct err_text *why);
void parcel_done(struct parcel *parcel);

/* The job of a parcel for a target, to be put into the outbox; lent by both.
 * ERR_INPUT: over what the target takes. */
enum err parcel_job(const struct parcel *parcel, const struct target *target, int64_t now_ms,
                    Knockbox__OutboxJob *out_job, struct err_text *why);

/* A job of the outbox as bytes for knockbox-send, secrets in it: *out_bytes is yours to wipe.
 * ERR_DENIED: a secret file is not one any more. */
enum err parcel_pack(const struct setup *setup, const struct target *target,
                     const Knockbox__OutboxJob *job, const uint8_t generation[8],
                     uint8_t **out_bytes, size_t *out_len, struct err_text *why);

#endif
