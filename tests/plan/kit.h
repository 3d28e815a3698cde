/* kit.h - reading the stored problems, and small things all tests of plans need. */
#ifndef TESTS_PLAN_KIT_H
#define TESTS_PLAN_KIT_H

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/plan/check.h"
#include "daemon/plan/greedy.h"
#include "daemon/plan/plan_file.h"
#include "daemon/plan/problem_file.h"

static inline struct problem *
kit_problem(const char *name)
{
    char path[512];
    struct problem *p = NULL;
    struct err_text why = {.s = ""};
    snprintf(path, sizeof path, TEST_DATA "/planner/%s.json", name);
    cr_assert(problem_read(path, &p, &why) == ERR_OK, "%s: %s", name, why.s);
    return p;
}

static inline struct plan *
kit_plan(const struct problem *p, const char *name)
{
    char path[512];
    struct plan *plan = NULL;
    struct err_text why = {.s = ""};
    snprintf(path, sizeof path, TEST_DATA "/planner/%s.plan.json", name);
    cr_assert(plan_read(path, p, &plan, &why) == ERR_OK, "%s: %s", name, why.s);
    return plan;
}

static inline struct check_result
kit_check(const struct problem *p, const struct plan *plan)
{
    struct check_result r;
    cr_assert(check_plan(p, plan, &r, NULL) == ERR_OK);
    return r;
}

/* A column of baselines.tsv: 1 empty, 2 by hand, 3 best known, 4 bound. */
static inline long long
kit_baseline(const char *name, int column)
{
    char line[1024];
    FILE *f = fopen(TEST_DATA "/planner/baselines.tsv", "r");
    cr_assert(f != NULL);
    while (fgets(line, sizeof line, f) != NULL) {
        char *field = strtok(line, "\t");
        if (strcmp(field, name) != 0)
            continue;
        for (int i = 0; i < column; i++)
            field = strtok(NULL, "\t");
        fclose(f);
        return atoll(field);
    }
    fclose(f);
    cr_assert(0, "no baseline for %s", name);
    return 0;
}

/* A plan or a problem as text, to compare. Yours: free(). */
static inline char *
kit_text(const struct problem *p, const struct plan *plan)
{
    char *text = NULL;
    size_t len = 0;
    FILE *f = open_memstream(&text, &len);
    cr_assert(f != NULL);
    if (plan != NULL)
        plan_print(plan, p, f);
    else {
        problem_print(p, "x.tubs.csv", f);
        problem_print_tubs(p, f);
    }
    fclose(f);
    return text;
}

/* splitmix64: the tests' own chance, the same everywhere. */
static inline uint64_t
kit_next(uint64_t *state)
{
    uint64_t z = (*state += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

static inline int
kit_span(uint64_t *state, int least, int most)
{
    return least + (int)(kit_next(state) % (uint64_t)(most - least + 1));
}

#endif
