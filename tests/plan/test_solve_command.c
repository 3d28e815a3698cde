/* test_solve_command.c - `knockbox plan solve` as scripts see it. */
#include "kit.h"

#include "client/plan/plan_solve.h"

#define SOLVER "--solver=" TEST_BIN "/knockbox-solve"
#define MICRO TEST_DATA "/planner/micro-1.json"

struct said {
    int status;
    char *out, *err;
};

static struct said
run(bool json, int argc, const char **args)
{
    struct said s = {0};
    size_t out_len = 0;
    size_t err_len = 0;
    FILE *out = open_memstream(&s.out, &out_len);
    FILE *err = open_memstream(&s.err, &err_len);
    s.status = plan_solve_command(argc, (char **)args, json, out, err);
    fclose(out);
    fclose(err);
    return s;
}

#define RUN(json, ...)                                                       \
    run(json, (int)(sizeof((const char *[]){__VA_ARGS__}) / sizeof(char *)), \
        (const char *[]){__VA_ARGS__})

static void
done(struct said *s)
{
    free(s->out);
    free(s->err);
}

Test(solve_command, writes_a_plan_and_tells_four_numbers)
{
    char path[] = "/tmp/knockbox-plan-XXXXXX";
    int fd = mkstemp(path);
    cr_assert(fd >= 0);
    close(fd);
    struct said s = RUN(true, MICRO, "--out", path, SOLVER);
    cr_expect(s.status == 0, "%s", s.err);
    cr_expect(s.err[0] == '\0', "%s", s.err);
    cr_expect(strstr(s.out, "{\"objective_cents\": 10540.3182, \"bound_cents\": 1054") == s.out,
              "%s", s.out);
    cr_expect(strstr(s.out, "\"gap_pct\": 0.000") != NULL, "%s", s.out);
    cr_expect(strstr(s.out, "\"seconds\": ") != NULL);
    struct problem *p = kit_problem("micro-1");
    struct plan *plan = NULL;
    cr_assert(plan_read(path, p, &plan, NULL) == ERR_OK);
    cr_expect(kit_check(p, plan).broken_n == 0);
    plan_free(plan);
    problem_free(p);
    unlink(path);
    done(&s);
}

Test(solve_command, without_its_optimiser_writes_the_constructive_plan_and_says_so)
{
    char path[] = "/tmp/knockbox-plan-XXXXXX";
    int fd = mkstemp(path);
    cr_assert(fd >= 0);
    close(fd);
    struct said s = RUN(false, MICRO, "--out", path, "--solver", "/nowhere/knockbox-solve");
    cr_expect(s.status == 0);
    cr_expect(strstr(s.err, "the constructive plan stands") != NULL, "%s", s.err);
    cr_expect(strstr(s.out, "bound_cents      null") != NULL, "%s", s.out);
    done(&s);
    unlink(path);
}

Test(solve_command, misuse_and_bad_input_have_their_exit_status)
{
    struct said s = RUN(false, "--out", "/tmp/x");
    cr_expect(s.status == 2);
    done(&s);
    s = RUN(false, MICRO);
    cr_expect(s.status == 2);
    done(&s);
    s = RUN(false, MICRO, "--out", "/tmp/x", "--effort", "much");
    cr_expect(s.status == 2);
    done(&s);
    s = RUN(false, MICRO, "--out", "/tmp/x", "--fast");
    cr_expect(s.status == 2);
    done(&s);
    s = RUN(false, "/nowhere.json", "--out", "/tmp/x");
    cr_expect(s.status == 1);
    done(&s);
    s = RUN(true, TEST_DATA "/planner/micro-1.plan.json", "--out", "/tmp/x");
    cr_expect(s.status == 3);
    cr_expect(strstr(s.err, "{\"error\":{\"code\":\"input\"") == s.err, "%s", s.err);
    done(&s);
    s = RUN(false, MICRO, "--out", "/nowhere/x.json", "--effort=0");
    cr_expect(s.status == 1);
    done(&s);
    s = RUN(false, "--help");
    cr_expect(s.status == 0);
    cr_expect(strstr(s.out, "usage: knockbox plan solve") == s.out);
    done(&s);
}
