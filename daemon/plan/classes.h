/* classes.h - tubs that the rules cannot tell apart, in classes.
 *
 * Two tubs are alike when they have the same profile, stand on the same route (or in the kitchen),
 * can come with the same runs, can go out to thaw until the same batch day and cost the same when
 * unused. What is used of a class is one number in the optimiser's model.
 */
#ifndef DAEMON_PLAN_CLASSES_H
#define DAEMON_PLAN_CLASSES_H

#include "daemon/plan/problem.h"

enum {
    CLASSES_KITCHEN = -1
};

struct tub_class {
    int profile;
    int route;            /* CLASSES_KITCHEN: is there already */
    int last;             /* place in `days` of the last batch it can be in */
    int run_from, run_to; /* in `runs`: those that can bring it */
    int64_t rate;         /* cents per kg when unused */
    int64_t g;            /* of all its tubs */
    int tub_from, tub_to; /* in `tubs` */
};

struct classes {
    int *days; /* days on which a batch can start, by thaw day */
    int days_n;
    int *runs;              /* runs by route, then day */
    int *tubs;              /* usable tubs by class; in a class oldest first */
    int *class_of;          /* by tub; -1: no batch can ever have it */
    struct tub_class *list; /* by profile, last, route ... */
    int list_n;
};

/* Yours: classes_done(). ERR_MEM. */
enum err classes_init(struct classes *c, const struct problem *p, struct err_text *why);
void classes_done(struct classes *c);

/* Whether the run is one of those that can bring tubs of the class. */
bool classes_has_run(const struct classes *c, int at, int run);
/* The place of the day in `days`; 0: no batch starts then. */
int classes_place(const struct classes *c, int day);

#endif
