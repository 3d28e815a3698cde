/* plan_solve.c - a problem file in, a plan file out, four numbers told. */
#include "client/plan/plan_solve.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "daemon/plan/child.h"
#include "daemon/plan/plan_file.h"
#include "daemon/plan/problem_file.h"

enum {
    EFFORT_MOST = 100
};

struct asked {
    const char *problem, *out;
    const char *solver; /* another optimiser than the one beside this program */
    int effort;
    bool help, json;
};

static const char usage[] =
    "usage: knockbox plan solve PROBLEM.json --out PLAN.json [--effort N]\n"
    "\n"
    "Finds a plan for the problem and writes it. Prints what the plan is worth\n"
    "(objective_cents), what no plan can exceed (bound_cents), the distance between them\n"
    "(gap_pct) and the seconds it took.\n"
    "  --out FILE     where the plan goes\n"
    "  --effort N     0: the quick constructive plan; 1 to 100: how long to look for a better\n"
    "                 one (default 1). The same problem and effort give the same plan.\n"
    "  --solver FILE  the optimiser to run, instead of knockbox-solve beside this program\n"
    "\n"
    "Example: knockbox plan solve saltmere.json --out plan.json --json\n";

static enum err
misuse(struct err_text *why, const char *what, const char *arg)
{
    return err_set(ERR_USAGE, why, "%s%s%s; see: knockbox plan solve --help", what,
                   arg != NULL ? " " : "", arg != NULL ? arg : "");
}

static enum err
get_effort(const char *text, int *out, struct err_text *why)
{
    char *end = NULL;
    long n = strtol(text, &end, 10);
    if (end == text || *end != '\0' || n < 0 || n > EFFORT_MOST)
        return misuse(why, "--effort must be 0 to 100, not", text);
    *out = (int)n;
    return ERR_OK;
}

/* The value of `--name VALUE` or `--name=VALUE` at argv[*i]; NULL: it is not that option. */
static const char *
value_of(int argc, char **argv, int *i, const char *name)
{
    size_t len = strlen(name);
    if (strncmp(argv[*i], name, len) != 0)
        return NULL;
    if (argv[*i][len] == '=')
        return argv[*i] + len + 1;
    if (argv[*i][len] != '\0' || *i + 1 >= argc)
        return NULL;
    return argv[++*i];
}

static enum err
get_argument(int argc, char **argv, int *i, struct asked *a, struct err_text *why)
{
    const char *value;
    if (strcmp(argv[*i], "--help") == 0)
        a->help = true;
    else if (strcmp(argv[*i], "--json") == 0)
        a->json = true;
    else if ((value = value_of(argc, argv, i, "--out")) != NULL)
        a->out = value;
    else if ((value = value_of(argc, argv, i, "--solver")) != NULL)
        a->solver = value;
    else if ((value = value_of(argc, argv, i, "--effort")) != NULL)
        return get_effort(value, &a->effort, why);
    else if (strncmp(argv[*i], "--", 2) == 0)
        return misuse(why, "unknown option, or one without its value:", argv[*i]);
    else if (a->problem != NULL)
        return misuse(why, "one problem at a time, not also", argv[*i]);
    else
        a->problem = argv[*i];
    return ERR_OK;
}

static enum err
get_arguments(int argc, char **argv, struct asked *a, struct err_text *why)
{
    for (int i = 0; i < argc && argv[i] != NULL; i++) {
        enum err e = get_argument(argc, argv, &i, a, why);
        if (e != ERR_OK)
            return e;
    }
    if (a->help)
        return ERR_OK;
    if (a->problem == NULL)
        return misuse(why, "which problem? a file is missing", NULL);
    return a->out == NULL ? misuse(why, "where to? --out FILE is missing", NULL) : ERR_OK;
}

static double
seconds_since(const struct timespec *start)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)(now.tv_sec - start->tv_sec) + (double)(now.tv_nsec - start->tv_nsec) / 1e9;
}

/* The distance to the bound in per cent of it. */
static double
gap_pct(const struct child_result *r)
{
    double bound = check_cents(r->bound);
    double size = bound < 0 ? -bound : bound;
    return size > 0 ? 100 * check_cents(r->bound - r->worth) / size : 0;
}

/* Numbers as plain JSON numbers; what is not known is null. */
static void
print_result(const struct child_result *r, double seconds, bool json, FILE *out)
{
    char worth[CHECK_TEXT_SIZE];
    char bound[CHECK_TEXT_SIZE] = "null";
    char gap[32] = "null";
    check_text(r->worth, worth);
    if (r->bound_known) {
        check_text(r->bound, bound);
        (void)snprintf(gap, sizeof gap, "%.4f", gap_pct(r));
    }
    const char *done = r->how == CHILD_DONE ? "true" : "false";
    if (json)
        (void)fprintf(out,
                      "{\"objective_cents\": %s, \"bound_cents\": %s, \"gap_pct\": %s, "
                      "\"seconds\": %.2f, \"optimised\": %s}\n",
                      worth, bound, gap, seconds, done);
    else
        (void)fprintf(out,
                      "objective_cents  %s\nbound_cents      %s\ngap_pct          %s\n"
                      "seconds          %.2f\noptimised        %s\n",
                      worth, bound, gap, seconds, done);
}

static enum err
solve(const struct asked *a, bool json, FILE *out, FILE *err, struct err_text *why)
{
    struct timespec start;
    struct problem *p = NULL;
    struct child_result r = {.plan = NULL};
    struct child_options options = {.program = a->solver, .effort = a->effort};
    (void)clock_gettime(CLOCK_MONOTONIC, &start);
    enum err e = problem_read(a->problem, &p, why);
    if (e == ERR_OK)
        e = child_best_plan(p, &options, &r, why);
    if (e == ERR_OK)
        e = plan_write(r.plan, p, a->out, why);
    if (e == ERR_OK && (r.how == CHILD_FAILED || r.how == CHILD_CUT_SHORT))
        (void)fprintf(err, "%s: %s\n", r.remark,
                      r.how == CHILD_FAILED ? "the constructive plan stands"
                                            : "the best plan until then stands");
    if (e == ERR_OK)
        print_result(&r, seconds_since(&start), json, out);
    plan_free(r.plan);
    problem_free(p);
    return e;
}

/* The contract's error object. */
static void
print_error(enum err e, const struct err_text *why, bool json, FILE *err)
{
    if (!json) {
        (void)fprintf(err, "knockbox plan solve: %s\n", why->s);
        return;
    }
    json_t *o = json_pack("{s:{s:s, s:s, s:s, s:s, s:s}}", "error", "code", err_word(e), "field",
                          why->field, "got", why->got, "want", why->want, "message", why->s);
    char *text = o != NULL ? json_dumps(o, JSON_COMPACT) : NULL;
    (void)fprintf(err, "%s\n", text != NULL ? text : "{\"error\": {\"code\": \"memory\"}}");
    free(text);
    json_decref(o);
}

int
plan_solve_command(int argc, char **argv, bool json, FILE *out, FILE *err)
{
    struct asked a = {.effort = 1, .json = json};
    struct err_text why = {.s = ""};
    enum err e = get_arguments(argc, argv, &a, &why);
    if (e == ERR_OK && a.help) {
        (void)fputs(usage, out);
        return 0;
    }
    if (e == ERR_OK)
        e = solve(&a, a.json, out, err, &why);
    if (e == ERR_FORMAT)
        e = ERR_INPUT; /* a file of another form is refused input as well */
    if (e != ERR_OK)
        print_error(e, &why, a.json, err);
    return err_exit_status(e);
}
