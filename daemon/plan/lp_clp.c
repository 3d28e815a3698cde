/* lp_clp.c - continuous programmes by Clp, kept warm. The only file that knows Clp's names. */
#include "daemon/plan/lp.h"

#include <coin/Clp_C_Interface.h>
#include <stdlib.h>

struct lp_warm {
    Clp_Simplex *clp;
    double constant;
    const double *value;
};

enum err
lp_warm_new(const struct lp *lp, struct lp_warm **out_warm, struct err_text *why)
{
    struct lp_columns c;
    enum err e = lp_columns(lp, &c, why);
    if (e != ERR_OK)
        return e;
    struct lp_warm *warm = calloc(1, sizeof *warm);
    if (warm != NULL)
        warm->clp = Clp_newModel();
    if (warm == NULL || warm->clp == NULL) {
        e = err_set(ERR_MEM, why, "no memory for the solver");
        free(warm);
    } else {
        Clp_setLogLevel(warm->clp, 0);
        Clp_loadProblem(warm->clp, lp->cols, lp->rows, c.start, c.row, c.value, lp->low, lp->high,
                        lp->worth, lp->row_low, lp->row_high);
        Clp_setOptimizationDirection(warm->clp, -1);
        Clp_scaling(warm->clp, 3);
        Clp_setPerturbation(warm->clp, 50);
        warm->constant = lp->constant;
        *out_warm = warm;
    }
    free(c.start);
    free(c.row);
    free(c.value);
    return e;
}

void
lp_warm_free(struct lp_warm *warm)
{
    if (warm == NULL)
        return;
    Clp_deleteModel(warm->clp);
    free(warm);
}

void
lp_warm_bound(struct lp_warm *warm, int col, double low, double high)
{
    Clp_columnLower(warm->clp)[col] = low;
    Clp_columnUpper(warm->clp)[col] = high;
}

enum err
lp_warm_solve(struct lp_warm *warm, double *out_worth, struct err_text *why)
{
    (void)Clp_dual(warm->clp, 0); /* the status tells */
    if (Clp_status(warm->clp) != 0)
        (void)Clp_primal(warm->clp, 0); /* numerical trouble: once more the other way */
    warm->value = Clp_getColSolution(warm->clp);
    if (Clp_status(warm->clp) != 0)
        return err_set(ERR_NOT_FOUND, why, "the solver found nothing that satisfies all rows");
    *out_worth = Clp_objectiveValue(warm->clp) + warm->constant;
    return ERR_OK;
}

double
lp_warm_value(const struct lp_warm *warm, int col)
{
    return warm->value[col];
}
