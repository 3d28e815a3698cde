/* recipe_steps.c - the steps of the work with usual times, or the kitchen's own. */
#include <math.h>
#include <stdio.h>
#include "daemon/serve/recipe.h"

enum {
    TIME_TEXT = 64
};

static const char no_source[] = "common practice, no source";

struct step_time {
    char text[TIME_TEXT];
    const char *source;
    size_t batches;
};

/* "45 s", "12 min", "33 h": rounded for reading. */
static void
span(double seconds, char text[TIME_TEXT])
{
    if (seconds < 90)
        (void)snprintf(text, TIME_TEXT, "%.0f s", seconds);
    else if (seconds < 5400)
        (void)snprintf(text, TIME_TEXT, "%.0f min", seconds / 60);
    else
        (void)snprintf(text, TIME_TEXT, "%.0f h", seconds / 3600);
}

/* The mean of own records takes the place of what is usual. */
static void
take_mean(struct step_time *time, double sum_s, size_t n)
{
    if (n == 0)
        return;
    span(sum_s / (double)n, time->text);
    time->source = "own records, mean";
    time->batches = n;
}

static void
take_papers(struct step_time *time, const struct recipe_records *own)
{
    if (own->n_papers == 0)
        return;
    (void)snprintf(time->text, TIME_TEXT, "%.1f changes a batch",
                   own->papers / (double)own->n_papers);
    time->source = "own records, mean";
    time->batches = own->n_papers;
}

static void
take_recipe(struct step_time *time, bool said, int64_t value, const char *unit)
{
    if (!said)
        return;
    (void)snprintf(time->text, TIME_TEXT, "%lld %s", (long long)value, unit);
    time->source = "the recipe";
}

static struct step_time
time_of(const struct recipe_ask *ask, enum calc_step_id id)
{
    const struct recipe_records *own = &ask->records;
    const Knockbox__Recipe *r = ask->recipe;
    struct step_time time = {.source = no_source};
    (void)snprintf(time.text, TIME_TEXT, "%s", calc_step_at(id)->usual);
    if (id == CALC_STEP_DISSOLVE) {
        take_mean(&time, own->dissolved_s, own->n_dissolved);
    } else if (id == CALC_STEP_STEEP) {
        take_recipe(&time, r->has_steep_h, r->steep_h, "h");
    } else if (id == CALC_STEP_STRAIN) {
        take_recipe(&time, r->has_strain_days, r->strain_days,
                    r->strain_days == 1 ? "day" : "days");
        take_mean(&time, own->strain_s, own->n_strain);
    } else if (id == CALC_STEP_PAPER) {
        take_papers(&time, own);
    }
    return time;
}

json_t *
recipe_steps(const struct recipe_ask *ask)
{
    json_t *steps = json_array();
    struct calc_recipe recipe = {.lines = ask->lines, .count = ask->n};
    bool grounds = calc_recipe_has(&recipe, CALC_GROUNDS);
    for (int i = 0; i < CALC_STEPS; i++) {
        const struct calc_step *step = calc_step_at((enum calc_step_id)i);
        struct step_time time = time_of(ask, (enum calc_step_id)i);
        if (i == CALC_STEP_THAW && !grounds)
            continue;
        (void)json_array_append_new(steps,
                                    json_pack("{s:s, s:s, s:s, s:s, s:I}", "step", step->word,
                                              "text", step->text, "time", time.text, "source",
                                              time.source, "batches", (json_int_t)time.batches));
    }
    return steps;
}
