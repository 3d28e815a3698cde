/* avoided.c - avoided emissions, only by one comparison family that the house has chosen (E4). */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include "daemon/calc/factors.h"
#include "daemon/report/part.h"
#include "proto/fields.h"

static const struct column columns[] = {
    {"kg_co2e", "avoided, apart from the inventory", "kg CO2e", true},
    {"baseline", "compared with", "", false},
    {"family", "comparison family", "", false},
    {"why_not", "why there is no figure", "", false},
    {"warning", "its publishers say", "", false},
};

/* What the publishers of inventory factors say; notes of daemon/calc/data/emission-factors.csv. */
static const char publishers_warning[] =
    "UK factors other than landfill cover only collection and delivery, cannot be used to compare "
    "waste options and are for scope 3 reporting only (methodology 2025, 12.3 and 12.29); US EPA: "
    "Hub factors are for inventories, its WARM model is for comparisons, and the two are not "
    "interchangeable";

/* Does the house count its inventory with it, or do its publishers say that it is for that? */
static bool
is_inventory_family(const struct build *b, const char *family)
{
    if (strcasestr(family, "inventory") != NULL)
        return true;
    if (catalogue_get(b->in->catalogue, KNOCKBOX__RECORD__BODY_FACTORS, family, b->last_day) !=
        NULL)
        return true;
    const struct calc_factor_edition *edition = calc_factor_edition(family);
    for (size_t i = 0; calc_factor_at(i) != NULL; i++) {
        const struct calc_factor *row = calc_factor_at(i);
        if (strcmp(row->purpose, "inventory") != 0)
            continue;
        if (strcmp(row->source_set, family) == 0 || strcmp(row->edition, family) == 0 ||
            (edition != NULL && strncmp(row->id, edition->head, strlen(edition->head)) == 0))
            return true;
    }
    return false;
}

/* The family's value of a destination; false: it has none. */
static bool
value_of(const Knockbox__Avoided *avoided, const char *destination, struct decimal *out_value)
{
    const Knockbox__DestinationFactors *values = avoided->kg_co2e_per_t;
    for (size_t i = 0; values != NULL && i < values->n_v; i++) {
        const char *word =
            enum_word(&knockbox__destination__descriptor, (int)values->v[i]->destination);
        if (word != NULL && strcmp(word, destination) == 0)
            return decimal_parse(values->v[i]->kg_co2e_per_t, out_value, NULL) == ERR_OK;
    }
    return false;
}

/* A number in kg CO2e per t, or a destination of the family. */
static bool
baseline_of(const Knockbox__Avoided *avoided, struct decimal *out_value)
{
    if (avoided->baseline == NULL)
        return false;
    return decimal_parse(avoided->baseline, out_value, NULL) == ERR_OK ||
           value_of(avoided, avoided->baseline, out_value);
}

static int64_t
mass_of(const struct tally *tally, const char *class, const char *batch)
{
    char key[128];
    (void)snprintf(key, sizeof key, "%s %s", class, batch);
    const struct tally_line *line = tally_find(tally, key);
    return line != NULL ? line->amount : 0;
}

/* mass x grounds x (baseline - value) / (residue x 10^6), to 18 decimals; *exact goes false where
 * it does not end. */
static enum err
add_term(const struct avoided_sum *masses, const char *batch, int64_t mass_g,
         const struct decimal *saved, struct decimal *sum, bool *exact, struct err_text *why)
{
    int64_t grounds_g = mass_of(&masses->in, "grounds -", batch);
    int64_t residue_g = mass_of(&masses->out, "residue", batch);
    struct decimal mass = decimal_of(mass_g, 6), grounds = decimal_of(grounds_g, 0);
    struct decimal residue = decimal_of(residue_g, 0), product, term, back;
    if (residue_g <= 0)
        return ERR_OK;
    enum err e = decimal_multiply(&mass, &grounds, &product, why);
    if (e == ERR_OK)
        e = decimal_multiply(&product, saved, &product, why);
    if (e == ERR_OK)
        e = decimal_divide(&product, &residue, 18, &term, why);
    if (e != ERR_OK)
        return e;
    if (decimal_multiply(&term, &residue, &back, NULL) != ERR_OK ||
        decimal_compare(&back, &product) != 0)
        *exact = false;
    return decimal_add(sum, &term, sum, why);
}

/* NULL in *out_why_not when there is a figure. */
static enum err
add_all(const struct avoided_sum *avoided, const struct tally *masses, struct decimal *sum,
        bool *exact, const char **out_why_not, struct err_text *why)
{
    enum err e = ERR_OK;
    *out_why_not = NULL;
    for (size_t i = 0; e == ERR_OK && i < masses->n; i++) {
        const struct tally_line *line = &masses->lines[i];
        const char *bar = strrchr(line->key, '|');
        char batch[96];
        struct decimal value, saved;
        (void)snprintf(batch, sizeof batch, "%.*s", (int)(bar - line->key), line->key);
        if (!value_of(avoided->family, bar + 1, &value)) {
            *out_why_not = "no-factor";
            break;
        }
        e = decimal_subtract(&avoided->baseline, &value, &saved, why);
        if (e == ERR_OK)
            e = add_term(avoided, batch, line->amount, &saved, sum, exact, why);
    }
    return e;
}

enum err
avoided_begin(const struct build *b, struct avoided_sum *out_sum, const char **out_why_not)
{
    memset(out_sum, 0, sizeof *out_sum);
    out_sum->family = b->basis != NULL ? b->basis->avoided : NULL;
    *out_why_not = out_sum->family == NULL || out_sum->family->baseline == NULL ? "no-baseline"
                   : is_inventory_family(b, out_sum->family->family)   ? "inventory-factors"
                   : !baseline_of(out_sum->family, &out_sum->baseline) ? "no-factor"
                                                                       : NULL;
    if (*out_why_not != NULL)
        return ERR_OK;
    enum err e =
        tally_of(b->in->books, MEASURE_BATCH_IN, INT32_MIN, INT32_MAX, false, &out_sum->in, b->why);
    return e == ERR_OK ? tally_of(b->in->books, MEASURE_BATCH_OUT, INT32_MIN, INT32_MAX, false,
                                  &out_sum->out, b->why)
                       : e;
}

enum err
avoided_print(const struct avoided_sum *sum, const struct tally *masses, char room[NUMBER_TEXT],
              const char **out_why_not, struct err_text *why)
{
    struct decimal all = {0, 0};
    bool exact = true;
    enum err e = add_all(sum, masses, &all, &exact, out_why_not, why);
    (void)(exact ? decimal_print(&all, room) : decimal_print_places(&all, 6, room));
    return e;
}

void
avoided_done(struct avoided_sum *sum)
{
    tally_done(&sum->in);
    tally_done(&sum->out);
}

static enum err
work_out(struct build *b, char room[NUMBER_TEXT], const char **out_why_not)
{
    struct avoided_sum sum;
    struct tally to = {NULL, 0, 0, ERR_OK};
    enum err e = avoided_begin(b, &sum, out_why_not);
    if (e == ERR_OK && *out_why_not == NULL)
        e = tally_of(b->in->books, MEASURE_RESIDUE_TO, b->in->month, b->in->month, false, &to,
                     b->why);
    if (e == ERR_OK && *out_why_not == NULL)
        e = avoided_print(&sum, &to, room, out_why_not, b->why);
    tally_done(&to);
    avoided_done(&sum);
    return e;
}

enum err
part_avoided(struct build *b)
{
    char room[NUMBER_TEXT];
    const Knockbox__Avoided *avoided = b->basis != NULL ? b->basis->avoided : NULL;
    const char *why_not = NULL;
    enum err e = work_out(b, room, &why_not);
    if (e != ERR_OK)
        return e;
    TABLE_SECTION(b->model, "emissions.avoided", "Avoided emissions", SHAPE_FIELDS, columns);
    table_set(b->model, "kg_co2e", why_not == NULL ? room : NULL);
    table_set(b->model, "baseline", avoided != NULL ? avoided->baseline : NULL);
    table_set(b->model, "family", avoided != NULL ? avoided->family : NULL);
    table_set(b->model, "why_not", why_not);
    if (why_not != NULL && strcmp(why_not, "inventory-factors") == 0)
        table_set(b->model, "warning", publishers_warning);
    return ERR_OK;
}
