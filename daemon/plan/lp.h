/* lp.h - a linear or mixed-integer programme that is maximised; the only door to the solvers.
 *
 * Built column by column and row by row, then given to Clp (continuous, warm after each change of
 * bounds) or CBC (integers, stopped by nodes). Only the solver's own program links this.
 */
#ifndef DAEMON_PLAN_LP_H
#define DAEMON_PLAN_LP_H

#include <stdbool.h>

#include "proto/err.h"

#define LP_FREE 1e30 /* no bound on this side */

/* Columns and rows are numbered from 0 in the order they were added. After an allocation failed
 * `failed` is set, further additions do nothing and solving returns ERR_MEM. */
struct lp {
    double *low, *high, *worth; /* by column */
    bool *whole;                /* by column: an integer */
    double *row_low, *row_high; /* by row */
    int *at_row, *at_col;       /* by entry */
    double *value;
    int cols, rows, entries;
    int cols_room, rows_room, entries_room;
    double constant; /* added to every worth */
    bool failed;
};

void lp_init(struct lp *lp);
void lp_done(struct lp *lp);
int lp_col(struct lp *lp, double low, double high, double worth, bool whole);
int lp_row(struct lp *lp, double low, double high);
void lp_put(struct lp *lp, int row, int col, double value); /* once for each row and column */

/* A continuous solve that can be repeated. */
struct lp_warm;
enum err lp_warm_new(const struct lp *lp, struct lp_warm **out_warm, struct err_text *why);
void lp_warm_free(struct lp_warm *warm);
void lp_warm_bound(struct lp_warm *warm, int col, double low, double high);
/* Solves after whatever bounds were set. *out_worth is the maximum; values by lp_warm_value().
 * ERR_NOT_FOUND: nothing satisfies all rows. */
enum err lp_warm_solve(struct lp_warm *warm, double *out_worth, struct err_text *why);
double lp_warm_value(const struct lp_warm *warm, int col);

/* One search for whole numbers, stopped after `nodes`. `start` (NULL: none) is a full solution to
 * begin with. *out_bound: nothing is worth more; safe against rounding. `out_x` has room for all
 * columns. ERR_NOT_FOUND: no solution was met (the bound is set all the same). */
struct lp_search {
    int nodes;
    double gap; /* stop when no solution can be better by more than this, in worth */
    const double *start;
    bool quick; /* few cuts, few heuristics: for many small programmes */
};
enum err lp_search(const struct lp *lp, const struct lp_search *how, double *out_x,
                   double *out_worth, double *out_bound, struct err_text *why);

/* The matrix by columns, as both solvers want it. Arrays are yours: free() them. */
struct lp_columns {
    int *start, *row;
    double *value;
};
enum err lp_columns(const struct lp *lp, struct lp_columns *out, struct err_text *why);

#endif
