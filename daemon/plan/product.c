/* product.c - who gets the product of settled batches. */
#include "daemon/plan/product.h"

#include <math.h>
#include <stdlib.h>

#include "daemon/plan/model.h"

/* Litres of each want of the programme, to whole millilitres of its demands in turn. */
static void
read_wants(const struct model *m, const struct lp_warm *warm, int64_t *out_ml)
{
    int n = 0;
    const struct share_demand *d = share_demands(m->share, &n);
    for (int i = 0; i < m->wants_n; i++) {
        const struct model_want *w = &m->wants[i];
        int64_t ml = (int64_t)floor(lp_warm_value(warm, w->col) * 1000 + 1e-4);
        for (int k = w->first; k < w->first + w->n; k++) {
            out_ml[k] = ml < d[k].ml ? ml : d[k].ml;
            out_ml[k] = out_ml[k] > 0 ? out_ml[k] : 0;
            ml -= out_ml[k];
        }
    }
}

static enum err
solve_product(const struct draft *d, const struct classes *classes, const struct share *share,
              int64_t *out_ml, struct err_text *why)
{
    struct model m;
    struct lp_warm *warm = NULL;
    double worth = 0;
    enum err e = model_init(&m, d->p, classes, share, why);
    for (int i = 0; e == ERR_OK && i < d->batches_n; i++)
        e = model_add_slot(&m, d->batches[i].recipe, classes_place(classes, d->batches[i].day), 1,
                           (double)d->batches[i].g, why);
    if (e == ERR_OK)
        e = model_add_kitchen(&m, NULL, 0, why);
    if (e == ERR_OK)
        e = lp_warm_new(&m.lp, &warm, why);
    if (e == ERR_OK)
        e = lp_warm_solve(warm, &worth, why);
    if (e == ERR_OK)
        read_wants(&m, warm, out_ml);
    lp_warm_free(warm);
    model_done(&m);
    return e;
}

/* The draft's plan with so much of each demand, checked. */
static enum err
finish(const struct draft *d, struct share *share, const int64_t *supply, const int64_t *ml,
       struct plan **out_plan, check_units *out_worth, struct err_text *why)
{
    struct plan *plan = NULL;
    struct check_result r;
    enum err e = draft_plan(d, &plan, why);
    if (e == ERR_OK)
        e = share_write(share, supply, ml, plan, why);
    if (e == ERR_OK)
        e = check_plan(d->p, plan, &r, why);
    if (e == ERR_OK && r.broken_n > 0)
        e = err_set(ERR_DAMAGED, why, "the plan breaks rule %s: %s", r.broken[0].rule,
                    r.broken[0].text);
    if (e != ERR_OK) {
        plan_free(plan);
        return e;
    }
    plan_sort(plan);
    *out_plan = plan;
    *out_worth = r.worth;
    return ERR_OK;
}

/* Both ways; the better plan stays. */
static enum err
finish_both(const struct draft *d, const struct classes *classes, struct share *share,
            const int64_t *supply, int64_t *ml, struct plan **out_plan, check_units *out_worth,
            struct err_text *why)
{
    struct plan *other = NULL;
    check_units worth = 0;
    share_choose(share, supply, ml);
    enum err e = finish(d, share, supply, ml, out_plan, out_worth, why);
    if (e != ERR_OK)
        return e;
    e = solve_product(d, classes, share, ml, why);
    if (e == ERR_OK)
        e = finish(d, share, supply, ml, &other, &worth, why);
    if (e != ERR_OK)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    if (worth > *out_worth) {
        plan_free(*out_plan);
        *out_plan = other;
        *out_worth = worth;
    } else
        plan_free(other);
    return ERR_OK;
}

enum err
product_finish(const struct draft *d, const struct classes *classes, struct share *share,
               struct plan **out_plan, check_units *out_worth, struct err_text *why)
{
    int n = 0;
    int64_t *supply = NULL;
    int64_t *ml = NULL;
    struct plan *plan = NULL;
    (void)share_demands(share, &n);
    enum err e = problem_list(share_supply_n(d->p), sizeof *supply, &supply, why);
    if (e == ERR_OK)
        e = problem_list(n, sizeof *ml, &ml, why);
    if (e == ERR_OK) {
        draft_supply(d, supply);
        e = finish_both(d, classes, share, supply, ml, &plan, out_worth, why);
    }
    free(supply);
    free(ml);
    if (e != ERR_OK) {
        plan_free(plan);
        return e;
    }
    *out_plan = plan;
    return ERR_OK;
}
