/* gathered.h - all that one version of a month lends to report_build(), asked of the ledger. Inside
 * of report_month.c and report_why.c.
 */
#ifndef DAEMON_REPORT_GATHERED_H
#define DAEMON_REPORT_GATHERED_H

#include "daemon/ledger/behind.h"
#include "daemon/report/report_month.h"

struct gathered {
    struct report_input input;
    struct closing closing;
    int64_t held_ms;   /* T of the books */
    int64_t before_ms; /* T of `before`, where there is one */
    struct books *books, *before;
    struct catalogue *catalogue;
    struct report_head *heads;
    struct log_mark *marks;
    struct report_late *late;
    int64_t *late_held_ms; /* one for each of `late` */
    struct report_correction *corrections;
    struct report_change *changes;
    size_t cap_late, cap_late_held, cap_corrections, cap_changes;
    char *note;
};

/* The version that report_month() prints with REPORT_AS_IT_STANDS. End it with gathered_done(),
 * also after an error. */
enum err gathered_make(struct gathered *g, struct ledger *ledger, struct store *store,
                       const struct report_ask *ask, struct err_text *why);
void gathered_done(struct gathered *g);

/* ---- corrected.c: what corrections changed, by whom, when */

/* Fills in the rest of g->corrections, and g->changes. */
enum err corrected_gather(struct gathered *g, struct ledger *ledger, struct err_text *why);
void corrected_done(struct gathered *g);

/* ---- site.c: one site's part of it, and spans */

/* Puts one site's lines in the place of the books; `site` NULL: nothing to do. */
enum err site_only(struct books **books, const char *site, struct err_text *why);
/* ERR_INPUT: the catalogue has no such site. */
enum err site_known(const struct gathered *g, struct err_text *why);
/* A caution that names the closed months of a span. */
enum err note_closed(struct gathered *g, struct ledger *ledger, struct err_text *why);

#endif
