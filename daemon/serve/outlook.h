/* outlook.h - what cafés kept and sold day by day, out of the books, and what comes next.
 *
 * A day with tubs is worth their grounds, a day with sales their volume. A closed day without is
 * nothing; a day that nobody closed is unknown, not nothing. Only where a café never closes a day,
 * its days between the first and yesterday count as nothing when nothing is written.
 */
#ifndef DAEMON_SERVE_OUTLOOK_H
#define DAEMON_SERVE_OUTLOOK_H

#include "daemon/calc/forecast.h"
#include "daemon/ledger/ledger.h"

enum {
    OUTLOOK_PAST = 731, /* days looked back */
    OUTLOOK_DAYS_MOST = 60,
    OUTLOOK_PRODUCTS_MOST = 64,
};

/* Values of one quantity, sites x (past + 1) by day; the last is today's so far. */
struct outlook_values {
    char code[65]; /* of the product; "" for grounds */
    double *at;    /* 0: nothing written */
};

struct outlook {
    const struct catalogue *catalogue;
    int32_t today, first;     /* first day looked at */
    size_t days;              /* ahead, today being the first */
    const char *const *sites; /* by code; lent by the catalogue */
    size_t n;
    unsigned char *closed; /* sites x (past + 1) */
    bool *ever;            /* sites: closed any day */
    signed char *mark; /* sites x (past + days), calc/forecast.h; OUTSIDE: not inside the chain */
    struct outlook_values grounds, products[OUTLOOK_PRODUCTS_MOST];
    size_t n_products;
    bool *sold; /* sites x (past + 1): anything was sold */
    enum err failed;
};

/* `today` is not over: what came on it is no past yet. */
enum err outlook_open(struct ledger *ledger, int32_t today, size_t days,
                      struct outlook **out_outlook, struct err_text *why);
void outlook_close(struct outlook *outlook); /* NULL is fine */

/* NULL: nobody sold it. */
const struct outlook_values *outlook_product(const struct outlook *outlook, const char *product);
/* What is written for today at a site; *out_closed: and no more will come. */
double outlook_today(const struct outlook *outlook, const struct outlook_values *values,
                     size_t site, bool *out_closed);

/* Sites that ever had any of it, and what comes there. */
struct outlook_series {
    const struct outlook *outlook;       /* lent */
    const struct outlook_values *values; /* lent */
    size_t n;
    size_t *site; /* of each series */
    struct calc_forecast *forecast;
};

/* End with outlook_series_done(). */
enum err outlook_forecast(const struct outlook *outlook, const struct outlook_values *values,
                          struct outlook_series *out_series, struct err_text *why);
void outlook_series_done(struct outlook_series *series);

#endif
