/* check.h - says whether a plan keeps all rules and what it is worth, to the last fraction.
 *
 * Written apart from every planner and shares no code with one: it only reads the problem and the
 * plan. All arithmetic is exact. The rules have the numbers of docs/planning.md, section 3.
 */
#ifndef DAEMON_PLAN_CHECK_H
#define DAEMON_PLAN_CHECK_H

#include <stdio.h>

#include "daemon/plan/plan.h"

/* Worth is counted in parts of a cent so small that every amount is whole: 1/18 000 000 cent. */
enum {
    CHECK_UNITS_PER_CENT = 18000000
};
typedef __int128 check_units;

enum check_part {
    CHECK_REVENUE,
    CHECK_END_VALUE,
    CHECK_INGREDIENTS, /* costs are negative */
    CHECK_LABOUR,
    CHECK_COLLECTION,
    CHECK_ORDER_PENALTY,
    CHECK_UNUSED,
    CHECK_CHANGE,
    CHECK_PARTS,
};

enum {
    CHECK_BROKEN_KEPT = 50
};

struct check_broken {
    char rule[4];   /* "2b" */
    char text[252]; /* what is wrong, in words */
};

struct check_result {
    int broken_n; /* 0: feasible. The first CHECK_BROKEN_KEPT are in `broken` */
    struct check_broken broken[CHECK_BROKEN_KEPT];
    check_units part[CHECK_PARTS];
    check_units worth; /* the sum of the parts */
    /* Reported, not counted: */
    int batches, tubs_used;
    int64_t used_g, lost_g; /* lost: unused and past the date within the plan */
    int64_t changes;        /* batches more or less than in the last published plan */
    int64_t passed_over_g; /* left behind on a thaw day although one with a date three days later or
                             * more was used */
    int64_t expired_ul;
    int64_t ordered_ml, delivered_ml;
};

/* Checks `plan` against `p` (settled). ERR_MEM only; broken rules are in *out_result. */
enum err check_plan(const struct problem *p, const struct plan *plan,
                    struct check_result *out_result, struct err_text *why);

const char *check_part_name(enum check_part part); /* "revenue", ... */

double check_cents(check_units units); /* to the nearest double: for printing */

/* Units in cents with four decimals, rounded half away from zero: "-12.3400". */
enum {
    CHECK_TEXT_SIZE = 48
};
void check_text(check_units units, char out[CHECK_TEXT_SIZE]);

#endif
