/* recipe_records.c - what the kitchen's own batches of a recipe gave and took. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/recipe.h"

struct own_batch {
    char batch[RECIPE_CODE];
    int64_t mixed_ms;
    double yield, strain_s; /* NAN: not known yet */
};

/* The newest batches so far, oldest first. */
struct own_batches {
    const char *recipe;
    struct own_batch at[RECIPE_BATCHES_MOST];
    size_t n;
};

static bool
is_before(const struct own_batch *a, const struct own_batch *b)
{
    return a->mixed_ms != b->mixed_ms ? a->mixed_ms < b->mixed_ms : strcmp(a->batch, b->batch) < 0;
}

/* Keeps the order; a full list drops its oldest. */
static void
insert(struct own_batches *own, const struct own_batch *one)
{
    if (own->n == RECIPE_BATCHES_MOST) {
        if (is_before(one, &own->at[0]))
            return;
        memmove(own->at, own->at + 1, --own->n * sizeof own->at[0]);
    }
    size_t at = own->n++;
    for (; at > 0 && is_before(one, &own->at[at - 1]); at--)
        own->at[at] = own->at[at - 1];
    own->at[at] = *one;
}

static bool
add_batch(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct own_batches *own = owner;
    const Knockbox__BatchRow *batch = (const Knockbox__BatchRow *)row;
    struct own_batch one = {.mixed_ms = batch->mixed_ms, .yield = NAN, .strain_s = NAN};
    if (batch->recipe == NULL || strcmp(batch->recipe, own->recipe) != 0 || !batch->has_mixed_ms)
        return true;
    (void)snprintf(one.batch, sizeof one.batch, "%s", code);
    if (batch->has_ended_ms && batch->product_g > 0 && batch->grounds_g > 0)
        one.yield = (double)batch->product_g / (double)batch->grounds_g;
    if (batch->has_ended_ms && batch->has_started_ms && batch->ended_ms > batch->started_ms)
        one.strain_s = (double)(batch->ended_ms - batch->started_ms) / 1000;
    insert(own, &one);
    return true;
}

/* What the rows do not hold. */
struct details {
    struct recipe_records *to;
    size_t papers;
};

static void
see_measure(struct recipe_records *to, const Knockbox__Measure *measure)
{
    bool grounds = measure->has_of && measure->of == KNOCKBOX__MEASURE_OF__MEASURE_OF_GROUNDS;
    double value = recipe_number(measure->value);
    if (!grounds || measure->what != KNOCKBOX__MEASURE_WHAT__MEASURE_WHAT_DRY_MATTER ||
        !(value >= 0 && value <= 100))
        return;
    double moisture = 100 - value;
    to->moisture += moisture;
    to->moisture_low =
        to->n_moisture == 0 || moisture < to->moisture_low ? moisture : to->moisture_low;
    to->moisture_high =
        to->n_moisture == 0 || moisture > to->moisture_high ? moisture : to->moisture_high;
    to->n_moisture++;
}

static bool
see_fact(void *owner, const struct fact *fact)
{
    struct details *d = owner;
    const Knockbox__Record *record = fact->record;
    if (fact->kind->number == KNOCKBOX__RECORD__BODY_MIX && record->mix->has_dissolved_s) {
        d->to->dissolved_s += (double)record->mix->dissolved_s;
        d->to->n_dissolved++;
    } else if (fact->kind->number == KNOCKBOX__RECORD__BODY_STRAIN) {
        d->papers += record->strain->event == KNOCKBOX__STRAIN_EVENT__STRAIN_EVENT_PAPER_CHANGE;
    } else if (fact->kind->number == KNOCKBOX__RECORD__BODY_MEASURE) {
        see_measure(d->to, record->measure);
    }
    return true;
}

static enum err
take_batch(struct recipe_ask *ask, const struct own_batch *batch, struct err_text *why)
{
    struct recipe_records *to = &ask->records;
    struct details details = {.to = to};
    enum err e =
        ledger_facts(ask->ledger, SUBJECT_BATCH, batch->batch, INT64_MAX, see_fact, &details, why);
    if (!isnan(batch->yield))
        to->yields[to->n_yields++] = batch->yield;
    if (!isnan(batch->strain_s)) {
        to->strain_s += batch->strain_s;
        to->n_strain++;
        to->papers += (double)details.papers;
        to->n_papers++;
    }
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

enum err
recipe_records_load(struct recipe_ask *ask, struct err_text *why)
{
    struct own_batches *own = calloc(1, sizeof *own);
    if (own == NULL)
        return err_set(ERR_MEM, why, "no memory for the batches of a recipe");
    own->recipe = ask->recipe->code;
    enum err e = ledger_rows(ask->ledger, SUBJECT_BATCH, add_batch, own, why);
    for (size_t i = 0; i < own->n && e == ERR_OK; i++)
        e = take_batch(ask, &own->at[i], why);
    free(own);
    return e;
}
