/* report_month.h - the month of a ledger: asks for all that report.h needs, and closes periods.
 *
 * The only part of the report that reads the ledger. Report rules R6, R7.
 */
#ifndef DAEMON_REPORT_REPORT_MONTH_H
#define DAEMON_REPORT_REPORT_MONTH_H

#include "daemon/ledger/ledger.h"
#include "daemon/report/report.h"

/* Which version of the month. */
enum report_version {
    REPORT_AS_IT_STANDS, /* the last close or restatement; open: all that is held */
    REPORT_AS_IF_CLOSED, /* all that is held, as a close or restatement now would print it */
};

enum {
    SPAN_DAYS = 3660
};

struct report_ask {
    int32_t month;
    enum report_version version;
    const char *edition; /* REPORT_AS_IF_CLOSED: pinned with it; NULL: as E2 */
    const char *reason;  /* REPORT_AS_IF_CLOSED of a closed month: of the restatement */
    /* Sections more, for pictures (docs/report.md): `grounds.sites`, and with REPORT_AS_IT_STANDS
     * `months`: up to twelve that end with this one, of a closed month as they were known when it
     * was closed. Not in what a close pins. */
    bool pictures;
    const char *site; /* one site's part of it; NULL: the whole */
    enum report_basis basis;
    /* Any span of business days, at most SPAN_DAYS, instead of a month: computed from all that is
     * held now, whatever months in it are closed. Only with REPORT_AS_IT_STANDS. */
    const struct span *span;
    /* REPORT_AS_IT_STANDS: as it stood at that moment, ERR_NOT_FOUND when it was not closed by
     * then; 0: now. */
    int64_t closed_by_ms;
};

/* *out_model is yours: end it with table_free(). ERR_INPUT: a site that the catalogue does not know,
 * or a span that is none. A restated month has one section more,
 * `restatement.changes`: every figure of the version before that is another now. */
enum err report_month(struct ledger *ledger, struct store *store, const struct report_ask *ask,
                      struct table_model **out_model, struct err_text *why);

/* What a close of the month now would write down, for the daemon to append; lent by the arena.
 * Months are closed in order, once, and not before they are over (`today`): ERR_INPUT says which
 * rule. `edition` NULL: the one in force. */
enum err period_close_make(struct ledger *ledger, struct store *store, int32_t month,
                           const char *edition, int32_t today, struct arena *arena,
                           Knockbox__PeriodClose **out_close, struct err_text *why);

/* The same for the next restatement of a closed month. */
enum err restate_make(struct ledger *ledger, struct store *store, int32_t month, const char *reason,
                      const char *edition, struct arena *arena, Knockbox__Restate **out_restate,
                      struct err_text *why);

#endif
