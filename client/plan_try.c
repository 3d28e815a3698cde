/* plan_try.c - `knockbox plan try`. */
#include "client/plan_try.h"

#include <stdio.h>
#include <string.h>
#include "client/plan/whatif.h"
#include "client/plan_posed.h"
#include "client/show.h"
#include "client/writer.h"
#include "daemon/plan/change.h"

enum {
    CHANGES_MOST = OPTIONS_MOST,
    FEW_TUBS = 100, /* two solves with effort 1 are a few seconds */
};

struct trying {
    const struct given *given;
    struct plan_posed posed;
    struct change changes[CHANGES_MOST];
    char said[CHANGES_MOST][CHANGE_SAID];
    size_t n;
    struct problem *changed;
    struct whatif_side now, then;
};

/* ---- what there is to compare */

static int64_t
worth_minor(const struct whatif_side *side)
{
    check_units half = CHECK_UNITS_PER_CENT / 2, units = side->check.worth;
    return (int64_t)((units + (units < 0 ? -half : half)) / CHECK_UNITS_PER_CENT);
}

static int64_t
delivered_ml(const struct whatif_side *side)
{
    return side->check.delivered_ml;
}

static int64_t
short_ml(const struct whatif_side *side)
{
    return side->check.ordered_ml - side->check.delivered_ml;
}

static int64_t
used_g(const struct whatif_side *side)
{
    return side->check.used_g;
}

static int64_t
lost_g(const struct whatif_side *side)
{
    return side->check.lost_g;
}

static int64_t
batches(const struct whatif_side *side)
{
    return side->check.batches;
}

enum unit {
    MONEY,
    LITRES,
    KILOGRAMS,
    COUNT
};

static const struct {
    const char *key, *words;
    enum unit unit;
    int64_t (*of)(const struct whatif_side *side);
} figures[] = {
    {"worth_minor", "worth of the plan", MONEY, worth_minor},
    {"made_ml", "product made", LITRES, whatif_made_ml},
    {"delivered_ml", "orders served", LITRES, delivered_ml},
    {"short_ml", "orders short", LITRES, short_ml},
    {"used_g", "grounds used", KILOGRAMS, used_g},
    {"lost_g", "grounds lost", KILOGRAMS, lost_g},
    {"batches", "batches", COUNT, batches},
};

enum {
    FIGURES = sizeof figures / sizeof figures[0]
};

/* ---- reading the options */

static enum err
read_changes(struct trying *t, struct err_text *why)
{
    for (size_t i = 0; i < t->given->n_options; i++) {
        const struct given_option *option = &t->given->options[i];
        const struct change_kind *kind = change_find(option->name + 2);
        if (kind != NULL)
            t->changes[t->n++] = (struct change){kind, option->value};
    }
    return t->n > 0
               ? ERR_OK
               : err_set(ERR_USAGE, why, "try what? For example: knockbox plan try --station +1");
}

static enum err
solve_both(struct trying *t, struct err_text *why)
{
    struct whatif_how how = {given_value(t->given, "--solver"), FEW_TUBS};
    enum err e = change_problem(t->posed.problem, t->posed.today, t->changes, t->n, &t->changed,
                                t->said, why);
    if (e == ERR_OK)
        e = whatif_solve(t->posed.problem, t->posed.start, &how, &t->now, why);
    return e == ERR_OK ? whatif_compare(&t->now, t->changed, &how, &t->then, why) : e;
}

/* ---- telling */

static json_t *
side_json(const struct whatif_side *side)
{
    char bound[CHECK_TEXT_SIZE];
    json_t *json = json_object();
    for (size_t i = 0; i < FIGURES; i++)
        (void)json_object_set_new(json, figures[i].key, json_integer(figures[i].of(side)));
    check_text(side->bound, bound);
    (void)json_object_set_new(json, "bound_cents",
                              side->bound_known ? json_string(bound) : json_null());
    (void)json_object_set_new(json, "proven", json_boolean(whatif_proven(side)));
    return json;
}

static json_t *
difference_json(const struct trying *t)
{
    json_t *json = json_object();
    for (size_t i = 0; i < FIGURES; i++)
        (void)json_object_set_new(json, figures[i].key,
                                  json_integer(figures[i].of(&t->then) - figures[i].of(&t->now)));
    return json;
}

static json_t *
answer_json(const struct trying *t)
{
    json_t *said = json_array();
    for (size_t i = 0; i < t->n; i++)
        (void)json_array_append_new(said, json_string(t->said[i]));
    return json_pack("{s:o, s:o, s:o, s:o}", "changes", said, "now", side_json(&t->now), "then",
                     side_json(&t->then), "difference", difference_json(t));
}

static char *
print_amount(enum unit unit, int64_t n, bool with_sign, char out[48])
{
    const char *sign = n < 0 ? "-" : with_sign && n > 0 ? "+" : "";
    long long size = n < 0 ? -(long long)n : (long long)n;
    char text[32];
    switch (unit) {
    case MONEY:
        (void)snprintf(out, 48, "%s%lld.%02lld", sign, size / 100, size % 100);
        break;
    case LITRES:
        (void)snprintf(out, 48, "%s%s", sign, show_volume(size, text));
        break;
    case KILOGRAMS:
        (void)snprintf(out, 48, "%s%s", sign, size == 0 ? "0 kg" : show_mass(size, text));
        break;
    case COUNT:
        (void)snprintf(out, 48, "%s%lld", sign, size);
        break;
    }
    return out;
}

static json_t *
table_json(const struct trying *t)
{
    json_t *rows = json_array();
    for (size_t i = 0; i < FIGURES; i++) {
        int64_t now = figures[i].of(&t->now), then = figures[i].of(&t->then);
        char a[48], b[48], d[48];
        (void)json_array_append_new(
            rows,
            json_pack("{s:s, s:s, s:s, s:s}", "figure", figures[i].words, "now",
                      print_amount(figures[i].unit, now, false, a), "then",
                      print_amount(figures[i].unit, then, false, b), "difference",
                      now == then ? "-" : print_amount(figures[i].unit, then - now, true, d)));
    }
    return rows;
}

/* How sure the difference is: a plan that may still be bettered makes it an estimate. */
static void
print_gap(struct writer *writer, const struct trying *t)
{
    double now = whatif_gap_cents(&t->now), then = whatif_gap_cents(&t->then);
    if (whatif_proven(&t->now) && whatif_proven(&t->then))
        writer_line(writer, "Both plans are proven to be the best there is.");
    else if (now >= 0 && then >= 0)
        writer_line(writer, "About: now is within %.2f of the best plan, then within %.2f.",
                    now / 100, then / 100);
    else
        writer_line(writer, "About: how far the plans are from the best is not known.");
}

static void
print_text(struct writer *writer, const struct trying *t)
{
    static const struct column columns[] = {
        {"figure", "", CELL_TEXT, 0},
        {"now", "now", CELL_TEXT, 0},
        {"then", "then", CELL_TEXT, 0},
        {"difference", "difference", CELL_TEXT, 0},
    };
    json_t *rows = table_json(t);
    writer_title(writer, "What if", "nothing is written");
    for (size_t i = 0; i < t->n; i++)
        writer_line(writer, "- %s", t->said[i]);
    writer_table(writer, columns, sizeof columns / sizeof columns[0], rows);
    print_gap(writer, t);
    json_decref(rows);
}

static void
tell(const struct trying *t)
{
    struct writer writer;
    json_t *answer = answer_json(t);
    writer_init(&writer, t->given->output, stdout);
    if (t->given->output == OUTPUT_JSON)
        writer_answer(&writer, answer);
    else
        print_text(&writer, t);
    json_decref(answer);
    const char *remark = t->now.remark[0] != '\0' ? t->now.remark : t->then.remark;
    if (remark[0] != '\0' && !t->given->quiet)
        (void)fprintf(stderr, "knockbox: %s\n", remark);
}

enum err
plan_try(const struct given *given, struct err_text *why)
{
    struct trying t = {.given = given};
    enum err e = read_changes(&t, why);
    if (e == ERR_OK)
        e = plan_posed_ask(given, &t.posed, why);
    if (e == ERR_OK)
        e = solve_both(&t, why);
    if (e == ERR_OK)
        tell(&t);
    whatif_done(&t.now);
    whatif_done(&t.then);
    problem_free(t.changed);
    plan_posed_done(&t.posed);
    return e;
}
