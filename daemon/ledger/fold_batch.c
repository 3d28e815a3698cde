/* fold_batch.c - one batch: what went in, what came out, what was measured.
 *
 * Report rules B1, B2 (the masses; strength is worked out by the report), W11 and the discrepancies
 * unknown-batch, unknown-recipe, batch-gap. All lines of a batch stand in one month, its home: that
 * of its last strain `end`, else of its last record. Lines of BATCH_IN have the keys
 *   grounds - BATCH          tubs
 *   spirit ABV BATCH         supplies with alcohol; "-": nobody said how strong
 *   coffee TDS BATCH         brewed coffee; "-": its dissolved solids are not in the catalogue
 *   sugar|water|other - BATCH
 *   bottles FROM BATCH       bottles of the batch FROM taken back
 *   unknown - BATCH          a lot that nobody recorded
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/batch_cost.h"
#include "daemon/ledger/fold.h"
#include "daemon/ledger/grow.h"
#include "daemon/ledger/lineage.h"
#include "proto/decimal.h"
#include "proto/fields.h"
#include "proto/ledger.pb-c.h"

struct input_sum {
    const char *tub, *lot; /* one of them */
    int64_t mass_g;
};

struct batch {
    const struct fold_input *input;
    struct outcome *outcome;
    struct err_text *why;
    const struct fact *mix;    /* the first, NULL: nobody mixed it */
    const struct fact *strain; /* the first */
    const struct fact *end;    /* the last strain `end` */
    const struct fact *home;
    struct input_sum *inputs;
    size_t n_inputs, cap_inputs;
    const char **lots;
    size_t n_lots, cap_lots;
    int64_t grounds_g, in_g, product_g, product_ml, residue_g, loss_g, bottled_g;
    const Knockbox__Measure *abv;
    const struct fact *dry_grounds, *dry_residue; /* the last measure of each, as of `abv` */
};

static enum err
out_of_memory(const struct batch *b)
{
    return err_set(ERR_MEM, b->why, "out of memory for batch %s", b->input->code);
}

static bool
same(const char *a, const char *b)
{
    return a == b || (a != NULL && b != NULL && strcmp(a, b) == 0);
}

/* ---- reading the facts */

static struct input_sum
input_of(const Knockbox__MixInput *in)
{
    const char *tub = in->tub != NULL && in->tub[0] != '\0' ? in->tub : NULL;
    return (struct input_sum){tub, tub == NULL ? in->lot : NULL, in->mass_g};
}

static enum err
add_input(struct batch *b, const Knockbox__MixInput *in)
{
    struct input_sum sum = input_of(in);
    b->in_g += in->mass_g;
    if (sum.tub != NULL)
        b->grounds_g += in->mass_g;
    for (size_t i = 0; i < b->n_inputs; i++) {
        if (same(b->inputs[i].tub, sum.tub) && same(b->inputs[i].lot, sum.lot)) {
            b->inputs[i].mass_g += in->mass_g;
            return ERR_OK;
        }
    }
    void *room = grow_room(b->inputs, b->n_inputs, &b->cap_inputs, sizeof *b->inputs);
    if (room == NULL)
        return out_of_memory(b);
    b->inputs = room;
    b->inputs[b->n_inputs++] = sum;
    return ERR_OK;
}

static enum err
on_mix(struct batch *b, const struct fact *fact)
{
    const Knockbox__Mix *mix = fact->record->mix;
    enum err e = ERR_OK;
    if (b->mix == NULL)
        b->mix = fact;
    for (size_t i = 0; e == ERR_OK && i < mix->n_inputs; i++)
        e = add_input(b, mix->inputs[i]);
    if (e == ERR_OK && catalogue_get(b->input->catalogue, KNOCKBOX__RECORD__BODY_RECIPE,
                                     mix->recipe, fact->day) == NULL)
        e = outcome_flag(b->outcome, fact, "unknown-recipe", mix->recipe);
    return e;
}

static enum err
on_strain(struct batch *b, const struct fact *fact)
{
    const Knockbox__Strain *strain = fact->record->strain;
    if (b->strain == NULL)
        b->strain = fact;
    if (strain->event == KNOCKBOX__STRAIN_EVENT__STRAIN_EVENT_END)
        b->end = fact;
    b->product_g += strain->product_g;
    b->product_ml += strain->product_ml;
    b->residue_g += strain->residue_g;
    b->loss_g += strain->loss_g;
    return ERR_OK;
}

static enum err
on_measure(struct batch *b, const struct fact *fact)
{
    const Knockbox__Measure *m = fact->record->measure;
    Knockbox__MeasureOf of = m->has_of ? m->of : KNOCKBOX__MEASURE_OF__MEASURE_OF_PRODUCT;
    bool is_dry = m->what == KNOCKBOX__MEASURE_WHAT__MEASURE_WHAT_DRY_MATTER &&
                  (m->unit[0] == '%' || strcmp(m->unit, "g") == 0);
    if (m->what == KNOCKBOX__MEASURE_WHAT__MEASURE_WHAT_ABV &&
        of == KNOCKBOX__MEASURE_OF__MEASURE_OF_PRODUCT)
        b->abv = m;
    else if (is_dry && of == KNOCKBOX__MEASURE_OF__MEASURE_OF_GROUNDS)
        b->dry_grounds = fact;
    else if (is_dry && of == KNOCKBOX__MEASURE_OF__MEASURE_OF_RESIDUE)
        b->dry_residue = fact;
    return ERR_OK;
}

static enum err
on_bottle(struct batch *b, const struct fact *fact)
{
    const Knockbox__Bottle *bottle = fact->record->bottle;
    b->bottled_g += bottle->product_g;
    for (size_t i = 0; i < b->n_lots; i++)
        if (strcmp(b->lots[i], bottle->lot) == 0)
            return ERR_OK;
    void *room = grow_room(b->lots, b->n_lots, &b->cap_lots, sizeof *b->lots);
    if (room == NULL)
        return out_of_memory(b);
    b->lots = room;
    b->lots[b->n_lots++] = bottle->lot;
    return ERR_OK;
}

static const struct {
    uint32_t kind;
    enum err (*on)(struct batch *b, const struct fact *fact);
} table[] = {
    {KNOCKBOX__RECORD__BODY_MIX, on_mix},
    {KNOCKBOX__RECORD__BODY_STRAIN, on_strain},
    {KNOCKBOX__RECORD__BODY_MEASURE, on_measure},
    {KNOCKBOX__RECORD__BODY_BOTTLE, on_bottle},
};

static enum err
take_in(struct batch *b, const struct fact *fact)
{
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (table[i].kind == fact->kind->number)
            return table[i].on(b, fact);
    return ERR_OK; /* residue, discard: only their batch has to be there */
}

/* ---- discrepancies */

static enum err
flag_unknown(struct batch *b)
{
    enum err e = ERR_OK;
    for (size_t i = 0; b->mix == NULL && e == ERR_OK && i < b->input->n; i++)
        e = outcome_flag(b->outcome, &b->input->facts[i], "unknown-batch", b->input->code);
    return e;
}

static bool
holds(const struct decimal *a, Knockbox__Comparator comparator, const struct decimal *b)
{
    int order = decimal_compare(a, b);
    switch (comparator) {
    case KNOCKBOX__COMPARATOR__COMPARATOR_LESS:
        return order < 0;
    case KNOCKBOX__COMPARATOR__COMPARATOR_MORE:
        return order > 0;
    case KNOCKBOX__COMPARATOR__COMPARATOR_AT_LEAST:
        return order >= 0;
    default:
        return order <= 0;
    }
}

/* |gap| x 100 against limit x in: exact, no division. */
static enum err
gap_is_fine(const struct batch *b, bool *out_fine)
{
    const Knockbox__Limits *limit =
        catalogue_limit(b->input->catalogue, "batch-gap", b->end->site, b->end->day);
    int64_t gap_g = b->in_g - b->product_g - b->residue_g - b->loss_g;
    struct decimal gap = decimal_of((gap_g < 0 ? -gap_g : gap_g) * 100, 0);
    struct decimal in = decimal_of(b->in_g, 0), most = decimal_of(2, 0), bound;
    enum err e = ERR_OK;
    if (limit != NULL)
        e = decimal_parse(limit->value, &most, b->why);
    if (e == ERR_OK)
        e = decimal_multiply(&in, &most, &bound, b->why);
    if (e == ERR_OK)
        *out_fine = holds(
            &gap, limit != NULL ? limit->comparator : KNOCKBOX__COMPARATOR__COMPARATOR_AT_MOST,
            &bound);
    return e;
}

static enum err
flag_gap(struct batch *b)
{
    bool fine = true;
    if (b->end == NULL || b->mix == NULL)
        return ERR_OK;
    enum err e = gap_is_fine(b, &fine);
    return e == ERR_OK && !fine ? outcome_flag(b->outcome, b->end, "batch-gap", b->input->code) : e;
}

/* ---- lines */

static enum err
post(struct batch *b, enum measure measure, const char *key, int64_t amount)
{
    return outcome_post(b->outcome, measure, b->home->month,
                        b->mix != NULL ? b->mix->site : b->home->site, key, amount);
}

/* "40.0" as "40", so that equal strengths meet in one line; "-" for none or nonsense. At most 12
 * decimals, so that a key stays short whatever somebody typed. */
static const char *
plain(const char *text, char room[DECIMAL_TEXT_MAX])
{
    struct decimal value;
    if (text == NULL || decimal_parse(text, &value, NULL) != ERR_OK)
        return "-";
    value = decimal_round(&value, 12);
    return strlen(decimal_print(&value, room)) < 40 ? room : "-";
}

struct sort_of_input {
    const char *class, *detail;
};

static struct sort_of_input
sort_of_supply(const struct batch *b, const struct fact *fact, char room[DECIMAL_TEXT_MAX])
{
    const Knockbox__Supply *supply = fact->record->supply;
    const Knockbox__Item *item = (const Knockbox__Item *)catalogue_get(
        b->input->catalogue, KNOCKBOX__RECORD__BODY_ITEM, supply->item, b->home->day);
    const char *abv = supply->abv_pct != NULL ? supply->abv_pct
                      : item != NULL          ? item->abv_pct
                                              : NULL;
    const char *strength = plain(abv, room);
    if (strcmp(strength, "-") != 0 && strcmp(strength, "0") != 0)
        return (struct sort_of_input){"spirit", strength};
    if (item == NULL)
        return (struct sort_of_input){"unknown", "-"};
    switch (item->class_) {
    case KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SPIRIT:
        return (struct sort_of_input){"spirit", strength};
    case KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SUGAR:
        return (struct sort_of_input){"sugar", "-"};
    case KNOCKBOX__ITEM_CLASS__ITEM_CLASS_WATER:
        return (struct sort_of_input){"water", "-"};
    case KNOCKBOX__ITEM_CLASS__ITEM_CLASS_COFFEE:
        return (struct sort_of_input){"coffee", plain(item->tds_pct, room)};
    default:
        return (struct sort_of_input){"other", "-"};
    }
}

static struct sort_of_input
sort_of(const struct batch *b, const struct input_sum *in, char room[DECIMAL_TEXT_MAX])
{
    if (in->tub != NULL)
        return (struct sort_of_input){"grounds", "-"};
    const struct fact *supply = lineage_supply(b->input, in->lot);
    if (supply != NULL)
        return sort_of_supply(b, supply, room);
    const struct fact *bottle =
        b->input->first_fact(b->input->owner, SUBJECT_LOT, in->lot, KNOCKBOX__RECORD__BODY_BOTTLE);
    if (bottle != NULL)
        return (struct sort_of_input){"bottles", bottle->record->bottle->batch};
    return (struct sort_of_input){"unknown", "-"};
}

/* What one mix put in of one tub or lot. */
static int64_t
mixed_g(const Knockbox__Mix *mix, const struct input_sum *of)
{
    int64_t mass_g = 0;
    for (size_t i = 0; i < mix->n_inputs; i++) {
        struct input_sum in = input_of(mix->inputs[i]);
        if (same(in.tub, of->tub) && same(in.lot, of->lot))
            mass_g += in.mass_g;
    }
    return mass_g;
}

static enum err
post_input(struct batch *b, const struct input_sum *in)
{
    char room[DECIMAL_TEXT_MAX], key[640];
    enum err e = ERR_OK;
    struct sort_of_input sort = sort_of(b, in, room);
    (void)snprintf(key, sizeof key, "%s %s %s", sort.class, sort.detail, b->input->code);
    for (size_t i = 0; e == ERR_OK && i < b->input->n; i++) {
        const struct fact *fact = &b->input->facts[i];
        if (fact->kind->number != KNOCKBOX__RECORD__BODY_MIX)
            continue;
        outcome_by(b->outcome, fact);
        e = post(b, MEASURE_BATCH_IN, key, mixed_g(fact->record->mix, in));
    }
    return e;
}

static enum err
post_inputs(struct batch *b)
{
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < b->n_inputs; i++)
        e = post_input(b, &b->inputs[i]);
    return e;
}

static enum err
post_out(struct batch *b, const char *what, int64_t mass_g)
{
    char key[96];
    (void)snprintf(key, sizeof key, "%s %s", what, b->input->code);
    return post(b, MEASURE_BATCH_OUT, key, mass_g);
}

static enum err
post_strain(struct batch *b, const struct fact *fact)
{
    const Knockbox__Strain *strain = fact->record->strain;
    outcome_by(b->outcome, fact);
    enum err e = post_out(b, "product", strain->product_g);
    if (e == ERR_OK)
        e = post_out(b, "residue", strain->residue_g);
    if (e == ERR_OK)
        e = post_out(b, "loss", strain->loss_g);
    return e == ERR_OK ? post(b, MEASURE_BATCH_ML, b->input->code, strain->product_ml) : e;
}

static enum err
post_strains(struct batch *b)
{
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < b->input->n; i++)
        if (b->input->facts[i].kind->number == KNOCKBOX__RECORD__BODY_STRAIN)
            e = post_strain(b, &b->input->facts[i]);
    return e;
}

/* Dry matter in micrograms: a percentage of `of_g`, or grams as weighed. */
static enum err
dry_ug(const char *value, bool is_pct, int64_t of_g, int64_t *out_ug, struct err_text *why)
{
    struct decimal number, factor = decimal_of(is_pct ? of_g * 10000 : 1000000, 0), product;
    enum err e = decimal_parse(value, &number, why);
    if (e == ERR_OK)
        e = decimal_multiply(&number, &factor, &product, why);
    if (e != ERR_OK)
        return e;
    product = decimal_round(&product, 0);
    decimal_int whole = product.mantissa;
    for (int i = product.scale; i < 0; i++) {
        whole *= 10;
        if (whole > INT64_MAX || whole < INT64_MIN)
            return err_input(why, "dry-matter", value, "no more than there is");
    }
    *out_ug = (int64_t)whole;
    return ERR_OK;
}

static enum err
dry_of(const struct fact *fact, int64_t of_g, int64_t *out_ug)
{
    const Knockbox__Measure *measure = fact->record->measure;
    *out_ug = 0;
    return dry_ug(measure->value, measure->unit[0] == '%', of_g, out_ug, NULL);
}

/* B2: measured, else the house's figure, else 40 %. */
static int64_t
dry_grounds_ug(const struct batch *b)
{
    int64_t ug = 0;
    if (b->dry_grounds != NULL && dry_of(b->dry_grounds, b->grounds_g, &ug) == ERR_OK)
        return ug;
    const Knockbox__Limits *limit =
        catalogue_limit(b->input->catalogue, "grounds-dry", b->home->site, b->home->day);
    if (limit == NULL || dry_ug(limit->value, true, b->grounds_g, &ug, NULL) != ERR_OK)
        (void)dry_ug("40", true, b->grounds_g, &ug, NULL);
    return ug;
}

static enum err
post_dry(struct batch *b)
{
    int64_t grounds_ug = 0, residue_ug = 0;
    outcome_by(b->outcome, b->home);
    enum err e = post(b, MEASURE_BATCH_DRY, b->input->code, dry_grounds_ug(b));
    if (e != ERR_OK || b->end == NULL || b->dry_grounds == NULL || b->dry_residue == NULL ||
        dry_of(b->dry_grounds, b->grounds_g, &grounds_ug) != ERR_OK ||
        dry_of(b->dry_residue, b->residue_g, &residue_ug) != ERR_OK)
        return e;
    outcome_by(b->outcome, b->dry_grounds); /* W11 */
    e = post(b, MEASURE_BATCH_DRY_USED, b->input->code, grounds_ug);
    outcome_by(b->outcome, b->dry_residue);
    return e == ERR_OK ? post(b, MEASURE_BATCH_DRY_USED, b->input->code, -residue_ug) : e;
}

/* The last strength of a lot; NULL: not measured. */
static enum err
abv_of_lot(const struct batch *b, const char *lot, const char **out_value)
{
    const struct fact *facts = NULL;
    size_t n = 0;
    enum err e = b->input->facts_of(b->input->owner, SUBJECT_LOT, lot, &facts, &n);
    *out_value = NULL;
    for (size_t i = 0; e == ERR_OK && i < n; i++) {
        const Knockbox__Measure *m = facts[i].kind->number == KNOCKBOX__RECORD__BODY_MEASURE
                                         ? facts[i].record->measure
                                         : NULL;
        if (m != NULL && m->what == KNOCKBOX__MEASURE_WHAT__MEASURE_WHAT_ABV &&
            (!m->has_of || m->of == KNOCKBOX__MEASURE_OF__MEASURE_OF_PRODUCT))
            *out_value = m->value;
    }
    return e;
}

/* B2: the batch's last strength, else that of its lots when they agree; "-": only an estimate. */
static enum err
measured_abv(const struct batch *b, char room[DECIMAL_TEXT_MAX], const char **out_text)
{
    *out_text = "-";
    if (b->abv != NULL) {
        *out_text = plain(b->abv->value, room);
        return ERR_OK;
    }
    for (size_t i = 0; i < b->n_lots; i++) {
        const char *value = NULL;
        char other[DECIMAL_TEXT_MAX];
        enum err e = abv_of_lot(b, b->lots[i], &value);
        if (e != ERR_OK)
            return e;
        if (value == NULL)
            continue;
        const char *text = plain(value, other);
        if (strcmp(*out_text, "-") != 0 && strcmp(*out_text, text) != 0) {
            *out_text = "-";
            return ERR_OK;
        }
        memcpy(room, text, strlen(text) + 1);
        *out_text = room;
    }
    return ERR_OK;
}

/* What it costs and how it was bottled, K1 to K5. */
static enum err
post_cost(struct batch *b)
{
    struct cost_batch cost = {b->input, b->outcome, b->input->code,
                              b->mix != NULL ? b->mix->site : b->home->site, b->home->month};
    enum err e = b->mix != NULL ? cost_post_made(&cost, b->mix) : ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < b->n_inputs; i++)
        if (b->inputs[i].lot != NULL)
            e = cost_post_input(&cost, b->inputs[i].lot, b->inputs[i].mass_g);
    for (size_t i = 0; e == ERR_OK && i < b->input->n; i++)
        if (b->input->facts[i].kind->number == KNOCKBOX__RECORD__BODY_BOTTLE)
            e = cost_post_bottles(&cost, b->input->facts[i].record->bottle);
    return e;
}

static enum err
post_lines(struct batch *b, const char *abv)
{
    char key[640];
    enum err e = post_inputs(b);
    if (e == ERR_OK)
        e = post_strains(b);
    if (e == ERR_OK)
        e = post_dry(b);
    if (e == ERR_OK && strcmp(abv, "-") != 0) {
        outcome_by(b->outcome, b->home);
        (void)snprintf(key, sizeof key, "%s %s", abv, b->input->code);
        e = post(b, MEASURE_BATCH_ABV, key, 1);
    }
    outcome_by(b->outcome, b->end);
    if (e == ERR_OK && b->end != NULL)
        e = post(b, MEASURE_BATCH_ENDED, b->input->code, 1);
    return e;
}

/* ---- the row */

static void
fill_times(const struct batch *b, Knockbox__BatchRow *row)
{
    if (b->mix != NULL) {
        const Knockbox__Mix *mix = b->mix->record->mix;
        row->recipe = mix->recipe;
        row->vessel = mix->vessel;
        row->has_mixed_ms = true;
        row->mixed_ms = mix->started_ms;
    }
    if (b->strain != NULL) {
        row->has_started_ms = true;
        row->started_ms = b->strain->at_ms;
    }
    if (b->end != NULL) {
        row->has_ended_ms = true;
        row->ended_ms = b->end->at_ms;
    }
    row->has_offset_min = true;
    row->offset_min = b->home->offset_min;
}

static void
fill_masses(const struct batch *b, Knockbox__BatchRow *row)
{
    row->has_grounds_g = row->has_in_g = row->has_product_g = row->has_product_ml = true;
    row->has_residue_g = row->has_loss_g = row->has_bottled_g = true;
    row->grounds_g = b->grounds_g;
    row->in_g = b->in_g;
    row->product_g = b->product_g;
    row->product_ml = b->product_ml;
    row->residue_g = b->residue_g;
    row->loss_g = b->loss_g;
    row->bottled_g = b->bottled_g;
}

static enum err
give_row(struct batch *b, const char *abv)
{
    Knockbox__BatchRow row;
    knockbox__batch_row__init(&row);
    Knockbox__BatchInput *inputs = calloc(b->n_inputs + 1, sizeof *inputs);
    row.inputs = calloc(b->n_inputs + 1, sizeof(Knockbox__BatchInput *));
    if (inputs == NULL || row.inputs == NULL) {
        free(inputs);
        free(row.inputs);
        return out_of_memory(b);
    }
    for (size_t i = 0; i < b->n_inputs; i++) {
        knockbox__batch_input__init(&inputs[i]);
        inputs[i].tub = (char *)(uintptr_t)b->inputs[i].tub; /* only packed */
        inputs[i].lot = (char *)(uintptr_t)b->inputs[i].lot;
        inputs[i].has_mass_g = true;
        inputs[i].mass_g = b->inputs[i].mass_g;
        row.inputs[i] = &inputs[i];
    }
    row.n_inputs = b->n_inputs;
    row.lots = (char **)(uintptr_t)b->lots;
    row.n_lots = b->n_lots;
    row.batch = (char *)(uintptr_t)b->input->code;
    row.site = (char *)(uintptr_t)(b->mix != NULL ? b->mix->site : b->home->site);
    row.product = (char *)(uintptr_t)lineage_product(b->input, b->input->code);
    row.abv_pct = strcmp(abv, "-") != 0 ? (char *)(uintptr_t)abv : NULL;
    fill_times(b, &row);
    fill_masses(b, &row);
    enum err e = outcome_row(b->outcome, &row.base);
    free(inputs);
    free(row.inputs);
    return e;
}

enum err
fold_batch(const struct fold_input *input, struct outcome *outcome, struct err_text *why)
{
    struct batch b = {.input = input, .outcome = outcome, .why = why};
    char room[DECIMAL_TEXT_MAX];
    const char *abv = "-";
    enum err e = ERR_OK;
    if (input->n == 0)
        return ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < input->n; i++)
        e = take_in(&b, &input->facts[i]);
    b.home = b.end != NULL ? b.end : &input->facts[input->n - 1];
    if (e == ERR_OK)
        e = flag_unknown(&b);
    if (e == ERR_OK)
        e = flag_gap(&b);
    if (e == ERR_OK)
        e = measured_abv(&b, room, &abv);
    if (e == ERR_OK)
        e = post_lines(&b, abv);
    if (e == ERR_OK)
        e = post_cost(&b);
    if (e == ERR_OK)
        e = give_row(&b, abv);
    free(b.inputs);
    free(b.lots);
    return e;
}
