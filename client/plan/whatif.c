/* whatif.c - two problems that differ in one thing, solved alike. */
#include "client/plan/whatif.h"

#include <stdio.h>
#include <string.h>

#include "daemon/plan/carry.h"

static enum err
take(struct whatif_side *side, struct child_result *result, struct err_text *why)
{
    side->plan = result->plan;
    side->bound = result->bound;
    side->bound_known = result->bound_known;
    bool failed = result->how == CHILD_FAILED || result->how == CHILD_CUT_SHORT;
    (void)snprintf(side->remark, sizeof side->remark, "%s", failed ? result->remark : "");
    return check_plan(side->problem, side->plan, &side->check, why);
}

enum err
whatif_solve(const struct problem *p, const struct plan *start, const struct whatif_how *how,
             struct whatif_side *out_side, struct err_text *why)
{
    struct child_options options = {
        .program = how->program, .effort = 1, .soon = p->tubs_n > how->few_tubs, .start = start};
    struct child_result result = {.plan = NULL};
    *out_side = (struct whatif_side){.problem = p};
    enum err e = child_best_plan(p, &options, &result, why);
    return e == ERR_OK ? take(out_side, &result, why) : e;
}

/* Takes the other side's plan when it is worth more here. */
static enum err
learn(struct whatif_side *side, const struct whatif_side *other, struct err_text *why)
{
    struct plan *carried = NULL;
    struct check_result check;
    enum err e = carry_plan(other->problem, other->plan, 0, side->problem, &carried, why);
    if (e != ERR_OK || carried == NULL)
        return e;
    e = check_plan(side->problem, carried, &check, why);
    if (e != ERR_OK || check.worth <= side->check.worth) {
        plan_free(carried);
        return e;
    }
    plan_free(side->plan);
    side->plan = carried;
    side->check = check;
    return ERR_OK;
}

enum err
whatif_compare(struct whatif_side *now, const struct problem *then, const struct whatif_how *how,
               struct whatif_side *out_then, struct err_text *why)
{
    struct plan *start = NULL;
    enum err e = carry_plan(now->problem, now->plan, 0, then, &start, why);
    if (e == ERR_OK)
        e = whatif_solve(then, start, how, out_then, why);
    if (e == ERR_OK)
        e = learn(now, out_then, why);
    plan_free(start);
    return e;
}

void
whatif_done(struct whatif_side *side)
{
    plan_free(side->plan);
    side->plan = NULL;
}

double
whatif_gap_cents(const struct whatif_side *side)
{
    if (!side->bound_known || side->bound < side->check.worth)
        return -1;
    return check_cents(side->bound - side->check.worth);
}

bool
whatif_proven(const struct whatif_side *side)
{
    double gap = whatif_gap_cents(side);
    return gap >= 0 && gap < 1;
}

char *
whatif_money(check_units units, char out[48])
{
    check_units half = CHECK_UNITS_PER_CENT / 2;
    int64_t cents = (int64_t)((units + (units < 0 ? -half : half)) / CHECK_UNITS_PER_CENT);
    (void)snprintf(out, 48, "%s%lld.%02lld", cents < 0 ? "-" : "",
                   (long long)((cents < 0 ? -cents : cents) / 100),
                   (long long)((cents < 0 ? -cents : cents) % 100));
    return out;
}

int64_t
whatif_made_ml(const struct whatif_side *side)
{
    int64_t ul = 0;
    for (int i = 0; i < side->plan->batches_n; i++) {
        const struct plan_batch *batch = &side->plan->batches[i];
        for (int k = 0; k < batch->tubs_n; k++)
            ul += side->problem->tubs[batch->tubs[k]].g *
                  side->problem->recipes[batch->recipe].yield_ml_per_kg;
    }
    return ul / 1000;
}
