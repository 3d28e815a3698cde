/* report.h - from books to the tables of a month.
 *
 * Pure: no clock, no store, no log. What is needed beyond the books and the catalogue comes in
 * ready to print. Every key, its rule and where it comes from: docs/report.md.
 */
#ifndef DAEMON_REPORT_REPORT_H
#define DAEMON_REPORT_REPORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/ledger/books.h"
#include "daemon/ledger/catalogue.h"
#include "daemon/ledger/span.h"
#include "daemon/report/table.h"
#include "proto/err.h"

/* The version of the tables. A close pins it: a month keeps the tables that it was closed with.
 *   1   up to `batches` without costs
 *   2   costs, bottle_costs, costs_missing
 *   3   quality.correctors, quality.changes
 *   4   GWP bases are not added; ranges of emissions; no factors for comparing
 *   5   emissions.factors */
enum {
    REPORT_TABLES = 5
};

enum report_status {
    REPORT_OPEN,
    REPORT_CLOSED,
    REPORT_RESTATED,
};

struct report_head {
    const char *site;
    uint32_t epoch;
    uint64_t seq;
    const uint8_t *hash; /* 32 bytes */
};

/* R7: a record that came too late for its closed month. */
struct report_late {
    char record[37];
    const char *kind, *site;
    int32_t month; /* the closed one */
    bool has_mass;
    int64_t mass_g;
};

/* Q3: the correction that decides over a record of the month. */
struct report_correction {
    char record[37], by[37];
    bool is_void;
    char reason[256];
    const char *kind; /* of the record, and its site */
    char site[65];
    char who[24]; /* initials; "": not written */
    char at[40];
};

/* A field that it changed: as first written, and as it counts; NULL: not there. */
struct report_change {
    char record[37];
    char *field, *before, *after;
};

/* Which basis (W12): the one in force on the first day, or one that was asked for. */
enum report_basis {
    REPORT_BASIS_IN_FORCE,
    REPORT_BASIS_BY_PRODUCT,
    REPORT_BASIS_WASTE,
};

/* All lent for the call. */
struct report_input {
    int32_t month;           /* with `span`: SPAN_MONTH */
    const struct span *span; /* NULL: a month. The books are those of the span (span.h) */
    const char *site;        /* NULL: all. The books hold that site's lines only */
    enum report_basis basis;
    const char *const *notes; /* cautions that the caller asks for */
    size_t n_notes;
    int64_t unknown; /* records of a later release's kinds, of any month: a caution */
    const char *hub_site;
    const struct books *books;         /* K(T) of the month */
    const struct catalogue *catalogue; /* K(T) too */
    /* The books that the month before was last closed from, as far as this month's K(T) knows:
     * its closing figures as printed are this month's opening. NULL: it is not closed. */
    const struct books *before;
    enum report_status status;
    const char *edition; /* pinned by the close; NULL: the one in force on the month's last day */
    int64_t restatement; /* number, when restated */
    const char *reason;
    const struct report_head *heads; /* by site, then epoch */
    size_t n_heads;
    const struct report_late *late; /* by record */
    size_t n_late;
    const struct report_correction *corrections; /* by record */
    size_t n_corrections;
    const struct report_change *changes; /* in the order of corrections */
    size_t n_changes;
    int32_t tables; /* their version, pinned by the close; 0: the newest */
    bool pictures;  /* one section more, for a picture: `grounds.sites` */
};

/* *out_model is yours: end it with table_free(). */
enum err report_build(const struct report_input *input, struct table_model **out_model,
                      struct err_text *why);

/* ---- prints; *out_text is yours (free), ends with a line feed. */

enum err report_json(const struct table_model *model, char **out_text, struct err_text *why);
enum err report_text(const struct table_model *model, char **out_text, struct err_text *why);
enum err report_csv(const struct table_model *model, char **out_text, struct err_text *why);
enum err report_html(const struct table_model *model, char **out_text, struct err_text *why);
/* The tables that a spreadsheet is made from, one line of JSON (write_sheet.c). */
enum err report_sheet(const struct table_model *model, char **out_text, struct err_text *why);

/* One reporting frame's table out of a report's: its lines with their masses, the fields that the
 * report fills, and by name those that it cannot. `frame`: "FLW", "GRI", "ESRS" or "SDG".
 * *out_frame is yours: end it with table_free(). ERR_INPUT: no such frame. */
enum err report_frame(const struct table_model *model, const char *frame,
                      struct table_model **out_frame, struct err_text *why);

/* BLAKE2b-256 of the JSON print without `heads`: what a close writes down. */
enum err report_hash(const struct table_model *model, uint8_t out_hash[32], struct err_text *why);

#endif
