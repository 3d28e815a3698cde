/* folding.h - runs one fold: loads the facts of a subject, lets it look around, packs what it
 * gives. Used for the tables and, over another view, for books as of a moment.
 */
#ifndef DAEMON_LEDGER_FOLDING_H
#define DAEMON_LEDGER_FOLDING_H

#include "daemon/ledger/facts.h"
#include "daemon/ledger/outcome.h"

struct folding {
    const struct view *view;
    const struct counts *counts;
    const char *hub_site;
    const struct places *places; /* of the subject, when they are known already; NULL: look */
    struct pool pool;
    struct fact_list facts;
    struct outcome *outcome;
    struct texts looked;     /* subjects of which facts were asked for in this fold, */
    struct fact_list *found; /* and those facts */
    size_t room;
    enum err e; /* the first look that failed */
    struct err_text *why;
};

enum err folding_init(struct folding *folding, struct err_text *why);
void folding_done(struct folding *folding);

/* Folds a subject. *out_bytes: the packed outcome, lent until the next fold; `folding->facts` are
 * its facts until then. A class without a fold gives nothing. */
enum err folding_run(struct folding *folding, enum subject_class class, const char *code,
                     const uint8_t **out_bytes, size_t *out_len, struct err_text *why);

/* SUBJECT_RECORD: what the ledger itself says about one record: outside-boundary, clock-ahead,
 * unknown-record, unfit-correction, and the correction that decides (Q3). `code`: its id. */
enum err folding_record(struct folding *folding, const char *code, const uint8_t **out_bytes,
                        size_t *out_len, struct err_text *why);

#endif
