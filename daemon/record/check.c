/* check.c - the checks of kinds that sites write. */
#include "daemon/record/check.h"

#include <inttypes.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include <jansson.h>

#include "daemon/record/record.h"
#include "proto/json.h"
#include "proto/text.h"
#include "proto/when.h"

/* "tare_g: 700: expected less than gross_g (650)". */
static enum err
refuse_number(struct err_text *why, const char *field, int64_t got, const char *want, int64_t limit)
{
    char got_text[32];
    char want_text[96];
    (void)snprintf(got_text, sizeof got_text, "%" PRId64, got);
    (void)snprintf(want_text, sizeof want_text, "%s (%" PRId64 ")", want, limit);
    return err_input(why, field, got_text, want_text);
}

static enum err
refuse_instant(struct err_text *why, const char *field, int64_t got_ms, const char *want,
               int64_t limit_ms)
{
    char got[WHEN_TEXT];
    char limit[WHEN_TEXT];
    char want_text[96];
    (void)snprintf(want_text, sizeof want_text, "%s (%s)", want, when_print(limit_ms, 0, limit));
    return err_input(why, field, when_print(got_ms, 0, got), want_text);
}

enum err
check_close(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Close *close = record->close;
    if (close->has_uncaptured_g && close->uncaptured_g > 0 && !close->has_uncaptured_method)
        return err_input(why, "uncaptured_method", NULL,
                         "weighed, counted, sampled or estimated, because uncaptured_g is over 0");
    return ERR_OK;
}

enum err
check_tub(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Tub *tub = record->tub;
    if (tub->tare_g >= tub->gross_g)
        return refuse_number(why, "tare_g", tub->tare_g, "less than gross_g", tub->gross_g);
    if (tub->frozen_ms < tub->first_knock_ms)
        return refuse_instant(why, "frozen", tub->frozen_ms, "no earlier than first_knock",
                              tub->first_knock_ms);
    if (tub->method == KNOCKBOX__METHOD__METHOD_SAMPLED)
        return err_input(why, "method", "sampled", "weighed, counted or estimated");
    return ERR_OK;
}

enum err
check_shift(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Shift *shift = record->shift;
    if (shift->to_ms < shift->from_ms)
        return refuse_instant(why, "to", shift->to_ms, "no earlier than from", shift->from_ms);
    return ERR_OK;
}

enum err
check_discard(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Discard *discard = record->discard;
    bool batch = discard->what == KNOCKBOX__DISCARD_WHAT__DISCARD_WHAT_BATCH;
    if (!discard->has_mass_g && (batch || !discard->has_count))
        return err_input(why, "mass_g", NULL, batch ? "the mass in grams" : "mass_g, or count");
    if (batch && discard->has_count)
        return err_input(why, "count", "a count", "none: a batch has a mass only");
    return ERR_OK;
}

enum err
check_supply(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Supply *supply = record->supply;
    if (!supply->has_mass_g && !supply->has_volume_ml)
        return err_input(why, "mass_g", NULL, "mass_g, or volume_ml");
    if (supply->has_cost_minor && supply->currency == NULL)
        return err_input(why, "currency", NULL, "the currency of cost_minor, such as GBP");
    return ERR_OK;
}

enum err
check_thaw(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Thaw *thaw = record->thaw;
    if (thaw->has_ended_ms && thaw->ended_ms < thaw->started_ms)
        return refuse_instant(why, "ended", thaw->ended_ms, "no earlier than started",
                              thaw->started_ms);
    return ERR_OK;
}

/* Exactly one of the two, both codes. */
static enum err
check_one_of(struct err_text *why, const char *field, const char *a, const char *b,
             const char *want)
{
    if ((a == NULL) == (b == NULL))
        return err_input(why, field, a != NULL ? a : NULL, want);
    return ERR_OK;
}

enum err
check_mix(const Knockbox__Record *record, struct err_text *why)
{
    for (size_t i = 0; i < record->mix->n_inputs; i++) {
        const Knockbox__MixInput *input = record->mix->inputs[i];
        char field[48];
        (void)snprintf(field, sizeof field, "inputs[%zu].tub", i);
        enum err e = check_one_of(why, field, input->tub, input->lot, "either tub or lot");
        if (e != ERR_OK)
            return e;
        (void)snprintf(field, sizeof field, "inputs[%zu].empty", i);
        if (input->has_empty && input->empty && input->tub == NULL)
            return err_input(why, field, "true", "only with a tub");
    }
    return ERR_OK;
}

/* What a scale can show, whatever the sample. */
static const struct {
    Knockbox__MeasureWhat what;
    const char *unit_begins; /* the range holds in such units only */
    const char *most;
} scales[] = {
    {KNOCKBOX__MEASURE_WHAT__MEASURE_WHAT_ABV, "%", "100"},
    {KNOCKBOX__MEASURE_WHAT__MEASURE_WHAT_BRIX, "", "100"},
    {KNOCKBOX__MEASURE_WHAT__MEASURE_WHAT_PH, "", "14"},
    {KNOCKBOX__MEASURE_WHAT__MEASURE_WHAT_WATER_ACTIVITY, "", "1"},
    {KNOCKBOX__MEASURE_WHAT__MEASURE_WHAT_DRY_MATTER, "%", "100"},
};

static enum err
check_scale(const Knockbox__Measure *measure, struct err_text *why)
{
    char want[32];
    for (size_t i = 0; i < sizeof scales / sizeof scales[0]; i++) {
        size_t n = strlen(scales[i].unit_begins);
        if (measure->what != scales[i].what ||
            strncmp(measure->unit, scales[i].unit_begins, n) != 0)
            continue;
        (void)snprintf(want, sizeof want, "0 to %s", scales[i].most);
        if (decimal_text_compare(measure->value, "0") < 0 ||
            decimal_text_compare(measure->value, scales[i].most) > 0)
            return err_input(why, "value", measure->value, want);
    }
    return ERR_OK;
}

enum err
check_measure(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Measure *measure = record->measure;
    enum err e = check_one_of(why, "batch", measure->batch, measure->lot, "either batch or lot");
    if (e != ERR_OK)
        return e;
    bool dry = measure->what == KNOCKBOX__MEASURE_WHAT__MEASURE_WHAT_DRY_MATTER;
    if (dry && strcmp(measure->unit, "%") != 0 && strcmp(measure->unit, "g") != 0)
        return err_input(why, "unit", measure->unit, "% or g");
    return check_scale(measure, why);
}

enum err
check_accept(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Accept *accept = record->accept;
    if (accept->has_broken && accept->broken > accept->count)
        return refuse_number(why, "broken", accept->broken, "at most count", accept->count);
    return ERR_OK;
}

enum err
check_sale(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Sale *sale = record->sale;
    enum err e = check_one_of(why, "lot", sale->lot, sale->product, "either lot or product");
    if (e == ERR_OK && sale->product != NULL && !sale->has_bottle_ml)
        e = err_input(why, "bottle_ml", NULL,
                      "the size of the bottle, because the lot is not given");
    return e;
}

enum err
check_order(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Order *order = record->order;
    if (order->has_ml == order->has_count)
        return err_input(why, "count", order->has_count ? "both" : NULL, "either count or ml");
    return ERR_OK;
}

enum err
check_purchase(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Purchase *purchase = record->purchase;
    if (purchase->has_mass_g == purchase->has_volume_ml)
        return err_input(why, "mass_g", purchase->has_mass_g ? "both" : NULL,
                         "either mass_g or volume_ml");
    return ERR_OK;
}

/* Is the name one of the envelope's, which a new body cannot change? `at` it may. */
static bool
is_fixed_name(const char *name)
{
    for (const char *const *fixed = record_envelope_names(); *fixed != NULL; fixed++)
        if (strcmp(*fixed, name) == 0)
            return strcmp(name, "at") != 0;
    return false;
}

static enum err
check_body(const char *body, struct err_text *why)
{
    json_t *object = NULL;
    enum err e = json_parse(body, strlen(body), &object, why);
    if (e != ERR_OK) {
        err_prefix(why, "body: ");
        return e;
    }
    const char *name = NULL;
    json_t *value = NULL;
    json_object_foreach(object, name, value)
    {
        if (!is_fixed_name(name))
            continue;
        e = err_input(why, "body", name, "the fields of its kind; of the envelope only `at`");
        break;
    }
    json_decref(object);
    return e;
}

enum err
check_correct(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Correct *correct = record->correct;
    bool removed = correct->has_void_ && correct->void_;
    if ((correct->body != NULL) == removed)
        return err_input(why, "body", correct->body != NULL ? "with void" : NULL,
                         "either a whole new body, or void: true");
    return correct->body != NULL ? check_body(correct->body, why) : ERR_OK;
}
