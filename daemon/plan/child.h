/* child.h - the optimiser as a program of its own: started, fed, watched, and its plan taken.
 *
 * Solvers may hang, print, eat memory or die; so they run in `knockbox-solve`, spoken to over one
 * socket, with limits on processor time and memory from the system and on wall time from here.
 * Whatever happens there, the caller has a checked plan: the last one that came, else the
 * constructive one it sent. No plan is passed on unchecked.
 */
#ifndef DAEMON_PLAN_CHILD_H
#define DAEMON_PLAN_CHILD_H

#include "daemon/plan/check.h"

struct child_options {
    const char *program; /* NULL: knockbox-solve beside this program, or in ../libexec/knockbox */
    int effort;          /* 1 and more: how hard to try; 0: the constructive plan only */
    const struct plan *start; /* feasible, lent; NULL: none. Gives way only to what is worth more */
    bool soon;                /* an answer soon, for a plan made again after news; effort 1 then */
    int wall_s;               /* 0: six times cpu_s, for a busy machine */
    int cpu_s;                /* 0: 300 for each effort */
    int memory_mib;           /* 0: 1024 */
};

enum child_how {
    CHILD_DONE,      /* the optimiser came to its end */
    CHILD_CUT_SHORT, /* it was stopped or died after it had sent a plan: that one stands */
    CHILD_FAILED,    /* nothing usable came: the constructive plan stands */
    CHILD_NOT_RUN,   /* effort 0 */
};

struct child_result {
    struct plan *plan; /* yours; feasible */
    check_units worth;
    check_units bound; /* no plan is worth more; not known: bound_known is false */
    bool bound_known;
    enum child_how how;
    char remark[200]; /* what went wrong, for people; "" when CHILD_DONE */
};

/* The constructive plan (or options->start, if it is worth as much), then the optimiser, waited for. ERR_MEM; ERR_INPUT: what is straining
 * now breaks a rule whatever is planned; ERR_DAMAGED: our own constructive plan breaks a rule (a
 * bug, to be reported). A failing optimiser is no error. */
enum err child_best_plan(const struct problem *p, const struct child_options *options,
                         struct child_result *out_result, struct err_text *why);

/* The same in steps, for a loop that must not wait. `p` and `first` (feasible) are lent until
 * child_finish(). Fails only for lack of memory: a program that cannot be started shows at the
 * end. */
struct child;
enum err child_start(const struct problem *p, const struct plan *first,
                     const struct child_options *options, struct child **out_child,
                     struct err_text *why);
int child_fd(const struct child *child); /* to poll for reading; -1: it is over */

/* Moves bytes for at most `timeout_ms`; *out_over: call child_finish() now. */
void child_step(struct child *child, int timeout_ms, bool *out_over);

/* Ends it (also before its time) and frees it. Writes *out_result as above. */
enum err child_finish(struct child *child, struct child_result *out_result, struct err_text *why);

#endif
