/* test_child.c - the optimiser as a program: its plans, and what is left when it fails. */
#include "kit.h"

#include <sys/stat.h>

#include "daemon/plan/child.h"

#define SOLVER TEST_BIN "/knockbox-solve"

static struct child_result
best(const struct problem *p, const struct child_options *o)
{
    struct child_result r = {.plan = NULL};
    struct err_text why = {.s = ""};
    cr_assert(child_best_plan(p, o, &r, &why) == ERR_OK, "%s", why.s);
    struct check_result c = kit_check(p, r.plan);
    cr_assert(c.broken_n == 0, "rule %s: %s", c.broken[0].rule, c.broken[0].text);
    cr_assert(c.worth == r.worth);
    return r;
}

/* baselines.tsv: the best plan known of these two is the best there is. */
Test(child, tiny_kitchens_get_the_best_plan_there_is)
{
    static const char *const names[] = {"micro-1", "micro-2"};
    for (int i = 0; i < 2; i++) {
        struct problem *p = kit_problem(names[i]);
        struct child_options o = {.program = SOLVER, .effort = 1};
        struct child_result r = best(p, &o);
        cr_expect(r.how == CHILD_DONE, "%s: %s", names[i], r.remark);
        cr_expect(r.bound_known);
        cr_expect(r.bound >= r.worth);
        cr_expect(check_cents(r.worth) > (double)kit_baseline(names[i], 3) - 1, "%s: %.2f",
                  names[i], check_cents(r.worth));
        cr_expect(check_cents(r.bound) < (double)kit_baseline(names[i], 4) + 1, "%s: %.2f",
                  names[i], check_cents(r.bound));
        plan_free(r.plan);
        problem_free(p);
    }
}

/* The goal for a town's kitchen: within 1.6 % of the proven bound of baselines.tsv. */
Test(child, a_town_gets_a_plan_near_the_proven_bound_and_the_same_again)
{
    struct problem *p = kit_problem("medium-2");
    struct child_options o = {.program = SOLVER, .effort = 1};
    struct child_result a = best(p, &o);
    double bound = (double)kit_baseline("medium-2", 4);
    cr_expect(a.how == CHILD_DONE, "%s", a.remark);
    cr_expect(check_cents(a.worth) > bound * (1 - 0.016), "%.2f", check_cents(a.worth));
    cr_expect(check_cents(a.bound) >= (double)kit_baseline("medium-2", 3), "%.2f",
              check_cents(a.bound));
    plan_free(a.plan);
    problem_free(p);
}

/* A plan made again soon is better than the constructive one and still has its bound. */
Test(child, an_answer_soon_is_better_than_the_constructive_plan)
{
    struct problem *p = kit_problem("medium-2");
    struct child_options plain = {.effort = 0};
    struct child_options soon = {.program = SOLVER, .effort = 1, .soon = true};
    struct child_result a = best(p, &plain);
    struct child_result b = best(p, &soon);
    cr_expect(b.how == CHILD_DONE, "%s", b.remark);
    cr_expect(b.worth > a.worth, "%.2f and %.2f", check_cents(a.worth), check_cents(b.worth));
    cr_expect(b.bound_known);
    plan_free(a.plan);
    plan_free(b.plan);
    problem_free(p);
}

Test(child, the_same_problem_gives_the_same_bytes)
{
    struct problem *p = kit_problem("micro-2");
    struct child_options o = {.program = SOLVER, .effort = 1};
    struct child_result a = best(p, &o);
    struct child_result b = best(p, &o);
    char *x = kit_text(p, a.plan);
    char *y = kit_text(p, b.plan);
    cr_expect(strcmp(x, y) == 0);
    cr_expect(a.bound == b.bound);
    free(x);
    free(y);
    plan_free(a.plan);
    plan_free(b.plan);
    problem_free(p);
}

/* ---- an optimiser that misbehaves: shell scripts in its place ---- */

struct bad {
    const char *name, *script;
    enum child_how how;
    const char *says;
};

static const struct bad bads[] = {
    {"dies at once", "exit 3", CHILD_FAILED, "died"},
    {"is killed", "kill -9 $$", CHILD_FAILED, "died"},
    {"hangs without a word", "exec sleep 60", CHILD_FAILED, "took too long"},
    {"never reads", "exec sleep 60 < /dev/null", CHILD_FAILED, "took too long"},
    {"talks nonsense", "cat > /dev/null; echo hello; echo world", CHILD_FAILED, "died"},
    {"sends binary", "cat > /dev/null; head -c 100000 /dev/urandom", CHILD_FAILED, "died"},
    {"promises more than it sends", "cat > /dev/null; echo plan 1 2 999999", CHILD_FAILED, "died"},
    {"sends no plan", "cat > /dev/null; printf 'plan 1 2 5\\nhello''end\\n'", CHILD_FAILED,
     "cannot be read"},
    {"sends a plan that breaks a rule",
     "cat > /dev/null; p='{\"orders\":[{\"order\":\"O003\",\"ml\":9999}]}'; "
     "printf 'plan 1 2 %d\\n%send\\n' ${#p} \"$p\"",
     CHILD_FAILED, "breaks a rule"},
    {"sends a plan that is no better", "cat > /dev/null; printf 'plan 1 2 2\\n{}end\\n'",
     CHILD_FAILED, "no better"},
    {"talks without end", "cat > /dev/null; exec yes plan", CHILD_FAILED, ""},
};

static void
write_script(const char *path, const char *script)
{
    FILE *f = fopen(path, "w");
    cr_assert(f != NULL);
    fprintf(f, "#!/bin/sh\nPATH=/usr/bin:/bin\n%s\n", script);
    fclose(f);
    cr_assert(chmod(path, 0700) == 0);
}

Test(child, whatever_the_optimiser_does_the_constructive_plan_stands)
{
    char folder[] = "/tmp/knockbox-child-XXXXXX";
    char path[128];
    cr_assert(mkdtemp(folder) != NULL);
    snprintf(path, sizeof path, "%s/solver", folder);
    struct problem *p = kit_problem("micro-1");
    struct child_options none = {.program = "/nowhere/solver", .effort = 0};
    struct child_result plain = best(p, &none);
    cr_expect(plain.how == CHILD_NOT_RUN);
    for (size_t i = 0; i < sizeof bads / sizeof bads[0]; i++) {
        write_script(path, bads[i].script);
        struct child_options o = {.program = path, .effort = 1, .wall_s = 2};
        struct child_result r = best(p, &o);
        cr_expect(r.how == bads[i].how, "%s: %d %s", bads[i].name, r.how, r.remark);
        cr_expect(strstr(r.remark, bads[i].says) != NULL, "%s: %s", bads[i].name, r.remark);
        cr_expect(r.worth == plain.worth, "%s", bads[i].name);
        plan_free(r.plan);
        unlink(path);
    }
    struct child_options gone = {.program = path, .effort = 1};
    struct child_result r = best(p, &gone);
    cr_expect(r.how == CHILD_FAILED);
    cr_expect(r.remark[0] != '\0');
    plan_free(r.plan);
    plan_free(plain.plan);
    problem_free(p);
    rmdir(folder);
}

/* A plan that came before the end was cut off is used, and the result says so. */
Test(child, a_good_plan_sent_before_dying_is_used)
{
    char folder[] = "/tmp/knockbox-child-XXXXXX";
    char path[128];
    char script[4096];
    cr_assert(mkdtemp(folder) != NULL);
    snprintf(path, sizeof path, "%s/solver", folder);
    struct problem *p = kit_problem("micro-1");
    struct child_options o = {.program = SOLVER, .effort = 1};
    struct child_result full = best(p, &o);
    char *text = kit_text(p, full.plan);
    snprintf(script, sizeof script,
             "cat > /dev/null\nprintf 'plan 1 999999999999999999999999 %zu\\n'\ncat <<'X'\n%sX\n"
             "exec sleep 60",
             strlen(text), text);
    write_script(path, script);
    struct child_options cut = {.program = path, .effort = 1, .wall_s = 2};
    struct child_result r = best(p, &cut);
    cr_expect(r.how == CHILD_CUT_SHORT, "%d %s", r.how, r.remark);
    cr_expect(r.worth == full.worth);
    plan_free(r.plan);
    plan_free(full.plan);
    free(text);
    problem_free(p);
    unlink(path);
    rmdir(folder);
}

/* Ten batches straining in one station: rule 5 is broken whatever is planned. */
Test(child, a_problem_that_no_plan_can_keep_is_refused_in_words)
{
    struct problem *p = kit_problem("micro-1");
    free(p->straining);
    p->straining_n = 10;
    cr_assert(problem_list(10, sizeof *p->straining, &p->straining, NULL) == ERR_OK);
    for (int i = 0; i < 10; i++)
        p->straining[i] = (struct problem_straining){0, 2, 100};
    cr_assert(problem_settle(p, NULL) == ERR_OK);
    struct child_options o = {.program = SOLVER, .effort = 0};
    struct child_result r = {.plan = NULL};
    struct err_text why = {.s = ""};
    cr_expect(child_best_plan(p, &o, &r, &why) == ERR_INPUT);
    cr_expect(strstr(why.s, "no plan can keep the rules") == why.s, "%s", why.s);
    problem_free(p);
}

#ifndef __SANITIZE_ADDRESS__
Test(child, without_memory_or_time_the_constructive_plan_stands)
{
    struct problem *p = kit_problem("medium-2");
    struct child_options small = {.program = SOLVER, .effort = 1, .memory_mib = 8};
    struct child_result a = best(p, &small);
    cr_expect(a.how == CHILD_FAILED || a.how == CHILD_CUT_SHORT);
    struct child_options brief = {.program = SOLVER, .effort = 100, .cpu_s = 1};
    struct child_result b = best(p, &brief);
    cr_expect(b.how == CHILD_FAILED || b.how == CHILD_CUT_SHORT);
    plan_free(a.plan);
    plan_free(b.plan);
    problem_free(p);
}
#endif
