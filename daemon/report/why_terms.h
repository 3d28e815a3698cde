/* why_terms.h - which lines of the books each figure of a report is a sum of.
 *
 * One table for all figures; the parts of the report (grounds.c, stock.c, waste.c ...) compute
 * them, and tests hold both against each other for every figure of a month.
 */
#ifndef DAEMON_REPORT_WHY_TERMS_H
#define DAEMON_REPORT_WHY_TERMS_H

#include "daemon/report/part.h"

/* Of which months. */
enum why_when {
    WHY_IN,      /* of the period */
    WHY_UNTIL,   /* all up to its end */
    WHY_BEFORE,  /* all before it, as this report knows them */
    WHY_PRINTED, /* all before it, as the month before was closed; open: as WHY_BEFORE */
};

/* Which lines of the measure. */
enum why_pick {
    WHY_ALL,
    WHY_WORD,     /* whose key is the word */
    WHY_BATCH,    /* of the row's batch; with a word: those that begin with it */
    WHY_PRODUCT,  /* of the row's product, in the hub's currency */
    WHY_CURRENCY, /* of the row's product and currency */
    /* by destination */
    WHY_ENDED, /* neither drain nor product */
    WHY_DIVERTED,
    WHY_DISPOSED,
    WHY_ONSITE,
    WHY_OFFSITE,
    WHY_NOT_RECYCLED,
    WHY_DESTINATION, /* the word, or else the row's */
    WHY_LINE,        /* the row's destination, material, onsite */
    WHY_UNQUANTIFIED,
};

/* How amounts are printed. */
enum why_scale {
    WHY_KG,      /* grams as kg */
    WHY_WHOLE,   /* g, mL, minor units, bottles */
    WHY_DRY,     /* micrograms as kg, all digits */
    WHY_CO2E,    /* grams at the factor of their line */
    WHY_AVOIDED, /* grams of residue by "batch|destination", E4 */
};

struct why_term {
    enum measure measure;
    int sign;
    enum why_when when;
    enum why_pick pick;
    const char *word;
};

enum {
    WHY_TERMS = 40
};

struct why_sum {
    enum why_scale scale;
    bool balance; /* of parts that come and go: what adds up to 0 may be left out */
    struct why_term terms[WHY_TERMS];
    size_t n;
};

/* false: the figure is no sum over records. */
bool why_sum_of(const char *path, const char *column, bool waste_basis, struct why_sum *out);

/* Figures that are shares: 100 x above / below, each a sum of figures, joined by " + "; keys that
 * begin with a dot stand in the same row. */
struct why_share {
    const char *path, *column, *above, *below;
};
/* NULL: none. `one_site`: of a report of one site, whose total is its row. */
const struct why_share *why_share_of(const char *path, const char *column, bool one_site);

/* What is said of a figure that is neither. Never NULL. */
const char *why_words_of(const char *path, const char *column);

#endif
