/* why_look.h - what a plan leaves of each resource, and which of them bind; for why_*.c only. */
#ifndef DAEMON_PLAN_WHY_LOOK_H
#define DAEMON_PLAN_WHY_LOOK_H

#include "daemon/plan/left.h"
#include "daemon/plan/why.h"

enum {
    WHY_NONE = -1
};

struct why_look {
    const struct problem *p;
    const struct plan *plan;
    int32_t today;
    struct left left;
    int *batch_of;   /* by tub: place in the plan's batches, or WHY_NONE */
    int *run_of;     /* by tub: the run that brings it, or WHY_NONE */
    int64_t *load_g; /* by run */
    struct why_answer *out;
};

enum err why_look_init(struct why_look *look, const struct problem *p, const struct plan *plan,
                       int32_t today, struct why_answer *out, struct err_text *why);
void why_look_done(struct why_look *look);

void why_say(struct why_look *look, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* A rule that binds, once. */
void why_ask_for(struct why_look *look, const char *kind, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* The first evening on which the tub can be in the kitchen, by run *out_run (WHY_NONE: it is there);
 * WHY_NONE: no run can bring it. */
int why_first_evening(const struct problem *p, int tub, int *out_run);

/* What keeps one more batch of the recipe from starting on that day: asked for, and told in words
 * (the first of them only). True: something does. */
bool why_bind(struct why_look *look, int recipe, int day);

/* The cold store, when the plan fills it. */
bool why_bind_fridge(struct why_look *look);

int64_t why_batch_g(const struct why_look *look, int batch);

#endif
