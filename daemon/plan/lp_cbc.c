/* lp_cbc.c - programmes with whole numbers by CBC. The only file that knows CBC's names. */
#include "daemon/plan/lp.h"

#include <coin/Cbc_C_Interface.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static Cbc_Model *
load(const struct lp *lp, struct err_text *why)
{
    struct lp_columns c;
    if (lp_columns(lp, &c, why) != ERR_OK)
        return NULL;
    Cbc_Model *m = Cbc_newModel();
    if (m == NULL)
        (void)err_set(ERR_MEM, why, "no memory for the solver");
    else {
        Cbc_loadProblem(m, lp->cols, lp->rows, c.start, c.row, c.value, lp->low, lp->high,
                        lp->worth, lp->row_low, lp->row_high);
        Cbc_setObjSense(m, -1);
        for (int i = 0; i < lp->cols; i++)
            if (lp->whole[i])
                Cbc_setInteger(m, i);
    }
    free(c.start);
    free(c.row);
    free(c.value);
    return m;
}

/* Limits by nodes, never by the clock: the same answer everywhere. */
static void
set_limits(Cbc_Model *m, const struct lp_search *how)
{
    char text[32];
    Cbc_setLogLevel(m, 0);
    Cbc_setParameter(m, "log", "0");
    Cbc_setParameter(m, "slog", "0");
    (void)snprintf(text, sizeof text, "%d", how->nodes);
    Cbc_setParameter(m, "maxNodes", text);
    (void)snprintf(text, sizeof text, "%.6f", how->gap);
    Cbc_setParameter(m, "allowableGap", text);
    Cbc_setParameter(m, "ratioGap", "0");
    if (how->quick) {
        Cbc_setParameter(m, "passCuts", "5");
        Cbc_setParameter(m, "feasibilityPump", "off");
        Cbc_setParameter(m, "proximitySearch", "off");
    }
}

static void
set_start(Cbc_Model *m, const struct lp *lp, const double *start)
{
    int *at = malloc(((size_t)lp->cols + 1) * sizeof *at);
    double *x = malloc(((size_t)lp->cols + 1) * sizeof *x);
    int n = 0;
    for (int i = 0; at != NULL && x != NULL && i < lp->cols; i++)
        if (lp->whole[i]) {
            at[n] = i;
            x[n++] = floor(start[i] + 0.5);
        }
    if (n > 0)
        Cbc_setMIPStartI(m, n, at, x);
    free(at);
    free(x);
}

/* CBC proves with tolerances of 1e-6 or so; this is ten times what they can hide. */
static double
safe_bound(double bound)
{
    return bound + 1e-6 * (fabs(bound) < 1 ? 1 : fabs(bound));
}

/* A status below zero: the search broke off before it began, and has proven nothing. */
static double
bound_of(Cbc_Model *m, const struct lp *lp)
{
    double bound = Cbc_getBestPossibleObjValue(m);
    if (Cbc_status(m) < 0 || Cbc_isAbandoned(m) || fabs(bound) > 1e20)
        return LP_FREE;
    return safe_bound(bound) + lp->constant;
}

/* One run. ERR_PEER: it broke off, which happens when a start meets the preprocessing. */
static enum err
run(const struct lp *lp, const struct lp_search *how, bool preprocess, double *out_x,
    double *out_worth, double *out_bound, struct err_text *why)
{
    Cbc_Model *m = load(lp, why);
    if (m == NULL)
        return ERR_MEM;
    set_limits(m, how);
    if (!preprocess)
        Cbc_setParameter(m, "preprocess", "off");
    if (how->start != NULL)
        set_start(m, lp, how->start);
    (void)Cbc_solve(m); /* what counts is whether there is a solution, not the status */
    const double *x = Cbc_bestSolution(m);
    double worth = Cbc_getObjValue(m);
    enum err e = ERR_OK;
    *out_bound = bound_of(m, lp);
    if (Cbc_status(m) < 0)
        e = err_set(ERR_PEER, why, "the solver broke off");
    else if (x == NULL || fabs(worth) > 1e40)
        e = err_set(ERR_NOT_FOUND, why, "the solver met no solution in %d nodes", how->nodes);
    else {
        memcpy(out_x, x, (size_t)lp->cols * sizeof *x);
        *out_worth = worth + lp->constant;
    }
    Cbc_deleteModel(m);
    return e;
}

enum err
lp_search(const struct lp *lp, const struct lp_search *how, double *out_x, double *out_worth,
          double *out_bound, struct err_text *why)
{
    enum err e = run(lp, how, true, out_x, out_worth, out_bound, why);
    if (e == ERR_PEER)
        e = run(lp, how, false, out_x, out_worth, out_bound, why);
    return e == ERR_PEER ? ERR_NOT_FOUND : e;
}
