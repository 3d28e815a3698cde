/* emissions.c - inventory emissions by what really happened (E1 to E3). Avoided ones are apart,
 * in avoided.c, and never netted.
 */
#include <stdlib.h>
#include <string.h>
#include "daemon/calc/destinations.h"
#include "daemon/calc/factors.h"
#include "daemon/report/part.h"
#include "proto/fields.h"

static const struct column total_columns[] = {
    {"inventory_kg_co2e", "inventory, scope 3 category 5", "kg CO2e", true},
    {"not_quantified_kg", "mass without a figure", "kg", true},
};

static const struct column line_columns[] = {
    {"destination", "destination", "", false},
    {"material", "material", "", false},
    {"onsite", "on site", "", false},
    {"kg", "mass", "kg", true},
    {"scope", "scope", "", false},
    {"edition", "edition", "", false},
    {"factor", "factor", "", false},
    {"kg_co2e_per_t", "factor", "kg CO2e/t", true},
    {"gwp_basis", "GWP", "", false},
    {"kg_co2e", "emissions", "kg CO2e", true},
};

/* A factor as found: of the edition's own rows, or of the rows that ship. */
struct factor {
    const char *id, *value, *gwp_basis;
    enum emission_unit unit;
    const char *low, *high; /* ends of its range, NULL: none is given */
    /* As published. */
    const char *class, *treatment, *unit_text, *purpose, *boundary, *source;
};

/* What lines of one GWP basis come to. */
struct basis_sum {
    const char *gwp_basis;
    int64_t mass_g;
    struct emission_sum sum;
};

struct inventory {
    struct emission_sum sum, low, high;
    struct basis_sum *bases; /* room for one a line; several are never added */
    size_t n_bases;
    bool ranges;            /* a line has one */
    struct factor *factors; /* room for one a line; each once */
    size_t n_factors;
    int64_t not_quantified_g;
};

/* E1; NULL: nobody published one. */
static const char *
treatment_of(const struct ending *ending)
{
    static const struct {
        const char *destination, *treatment;
    } table[] = {
        {"composting", "composting"},
        {"anaerobic_digestion", "anaerobic_digestion"},
        {"landfill", "landfill"},
        {"combustion_energy", "incineration_energy_recovery"},
        {"combustion_none", "incineration_energy_recovery"},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (ending_is(ending, table[i].destination))
            return table[i].treatment;
    return NULL;
}

static enum emission_unit
unit_of(Knockbox__FactorUnit unit)
{
    return unit == KNOCKBOX__FACTOR_UNIT__FACTOR_UNIT_T_SHORT_TON  ? EMISSION_PER_SHORT_TON
           : unit == KNOCKBOX__FACTOR_UNIT__FACTOR_UNIT_T_LONG_TON ? EMISSION_PER_LONG_TON
                                                                   : EMISSION_PER_T;
}

/* Both ends are there and the value lies between them. */
static bool
has_range(const Knockbox__FactorRow *row)
{
    struct decimal low, value, high;
    return row->low != NULL && row->high != NULL && decimal_parse(row->low, &low, NULL) == ERR_OK &&
           decimal_parse(row->value, &value, NULL) == ERR_OK &&
           decimal_parse(row->high, &high, NULL) == ERR_OK && decimal_compare(&low, &value) <= 0 &&
           decimal_compare(&value, &high) <= 0;
}

/* E4: what is published for comparing is in no inventory (since version 4 of the tables). */
static bool
is_for_inventory(const struct build *b, const Knockbox__FactorRow *row)
{
    return !build_has_tables(b, 4) || strcmp(row->purpose, "comparison") != 0;
}

static bool
own_factor(const struct build *b, const Knockbox__Factors *factors, const struct ending *ending,
           const char *treatment, struct factor *out_factor)
{
    for (size_t i = 0; i < factors->rows->n_v; i++) {
        const Knockbox__FactorRow *row = factors->rows->v[i];
        const char *material = enum_word(&knockbox__material__descriptor, (int)row->material);
        if (material == NULL || strcmp(material, ending->material) != 0 ||
            strcmp(row->treatment, treatment) != 0 || !is_for_inventory(b, row))
            continue;
        bool range = build_has_tables(b, 4) && has_range(row);
        *out_factor = (struct factor){
            .id = row->id,
            .value = row->value,
            .gwp_basis = row->gwp_basis,
            .unit = unit_of(row->unit),
            .low = range ? row->low : NULL,
            .high = range ? row->high : NULL,
            .class = row->class_,
            .treatment = row->treatment,
            .unit_text = enum_word(&knockbox__factor_unit__descriptor, (int)row->unit),
            .purpose = row->purpose,
            .boundary = row->boundary,
            .source = row->source,
        };
        return true;
    }
    return false;
}

static bool
shipped_factor(const char *edition, const struct ending *ending, const char *treatment,
               struct factor *out_factor)
{
    bool food = strcmp(ending->material, "food") == 0;
    const char *class =
        food ? "organic: food and drink waste" : "commercial and industrial waste (mixed)";
    const struct calc_factor_edition *known = calc_factor_edition(edition);
    if (food && known != NULL) /* the edition's own name for food waste */
        class = known->food_waste;
    const struct calc_factor *row = calc_factor_find(edition, class, treatment);
    if (row == NULL || !calc_factor_ships(row) || strcmp(row->purpose, "inventory") != 0)
        return false;
    bool short_ton = strcmp(row->unit, "tCO2e/short_ton") == 0;
    *out_factor = (struct factor){
        .id = row->id,
        .value = row->value,
        .gwp_basis = row->gwp_basis,
        .unit = short_ton ? EMISSION_PER_SHORT_TON : EMISSION_PER_T,
        .class = row->material,
        .treatment = row->treatment,
        .unit_text = row->unit,
        .purpose = row->purpose,
        .boundary = row->boundary,
        .source = row->source_set,
    };
    return true;
}

static bool
find_factor(const struct build *b, const struct ending *ending, struct factor *out_factor)
{
    const char *treatment = treatment_of(ending);
    if (b->edition == NULL || treatment == NULL || ending->onsite || ending->material[0] == '\0')
        return false;
    const Knockbox__Factors *factors = (const Knockbox__Factors *)catalogue_get(
        b->in->catalogue, KNOCKBOX__RECORD__BODY_FACTORS, b->edition, b->last_day);
    if (factors == NULL) /* a close may pin an edition that is in force only later */
        factors = (const Knockbox__Factors *)catalogue_get(
            b->in->catalogue, KNOCKBOX__RECORD__BODY_FACTORS, b->edition, INT32_MAX);
    if (factors != NULL && factors->rows != NULL)
        return own_factor(b, factors, ending, treatment, out_factor);
    return shipped_factor(b->edition, ending, treatment, out_factor);
}

enum err
emission_add(struct build *b, const struct ending *ending, struct emission_sum *sum,
             bool *out_quantified)
{
    struct factor factor;
    *out_quantified = find_factor(b, ending, &factor);
    return *out_quantified
               ? emission_sum_add(sum, ending->mass_g, factor.value, factor.unit, b->why)
               : ERR_OK;
}

/* One value times the mass: printed under `key`. */
static enum err
fill_figure(struct build *b, const char *key, int64_t mass_g, const char *value,
            enum emission_unit unit)
{
    char room[NUMBER_TEXT];
    struct emission_sum line = {.any = {false}};
    enum err e = emission_sum_add(&line, mass_g, value, unit, b->why);
    if (e == ERR_OK)
        e = emission_print(&line, room, b->why);
    if (e == ERR_OK)
        table_set(b->model, key, room);
    return e;
}

static struct basis_sum *
basis_of(struct inventory *sum, const char *gwp_basis)
{
    for (size_t i = 0; i < sum->n_bases; i++)
        if (strcmp(sum->bases[i].gwp_basis, gwp_basis) == 0)
            return &sum->bases[i];
    sum->bases[sum->n_bases].gwp_basis = gwp_basis;
    return &sum->bases[sum->n_bases++];
}

static void
note_factor(struct inventory *sum, const struct factor *factor)
{
    size_t i = 0;
    while (i < sum->n_factors && strcmp(sum->factors[i].id, factor->id) < 0)
        i++;
    if (i < sum->n_factors && strcmp(sum->factors[i].id, factor->id) == 0)
        return;
    memmove(&sum->factors[i + 1], &sum->factors[i], (sum->n_factors - i) * sizeof *factor);
    sum->factors[i] = *factor;
    sum->n_factors++;
}

/* Into the inventory, its range and the sum of its GWP basis. */
static enum err
add_line(struct build *b, const struct ending *ending, const struct factor *f,
         struct inventory *sum)
{
    int64_t mass_g = ending->mass_g;
    struct basis_sum *basis = basis_of(sum, f->gwp_basis);
    basis->mass_g += mass_g;
    note_factor(sum, f);
    sum->ranges = sum->ranges || f->low != NULL;
    enum err e = emission_sum_add(&sum->sum, mass_g, f->value, f->unit, b->why);
    if (e == ERR_OK)
        e = emission_sum_add(&basis->sum, mass_g, f->value, f->unit, b->why);
    if (e == ERR_OK)
        e = emission_sum_add(&sum->low, mass_g, f->low != NULL ? f->low : f->value, f->unit,
                             b->why);
    if (e == ERR_OK)
        e = emission_sum_add(&sum->high, mass_g, f->high != NULL ? f->high : f->value, f->unit,
                             b->why);
    return e;
}

static enum err
fill_factor(struct build *b, const struct factor *factor)
{
    char room[NUMBER_TEXT];
    enum err e = emission_per_t(factor->value, factor->unit, room, b->why);
    if (e != ERR_OK)
        return e;
    table_set(b->model, "factor", factor->id);
    table_set(b->model, "kg_co2e_per_t", room);
    table_set(b->model, "gwp_basis", factor->gwp_basis);
    return ERR_OK;
}

static enum err
fill_line(struct build *b, const struct ending *ending, struct inventory *sum)
{
    struct factor factor;
    table_row(b->model);
    table_set(b->model, "destination", calc_destination_at(ending->destination)->code);
    table_set(b->model, "material", ending->material[0] != '\0' ? ending->material : NULL);
    table_set_bool(b->model, "onsite", ending->onsite);
    build_kg(b, "kg", ending->mass_g);
    table_set(b->model, "scope", ending->onsite ? "1-2" : "3.5");
    table_set(b->model, "edition", b->edition);
    if (!find_factor(b, ending, &factor)) {
        table_set(b->model, "factor", NULL);
        table_set(b->model, "kg_co2e_per_t", NULL);
        table_set(b->model, "gwp_basis", NULL);
        table_set(b->model, "kg_co2e", "not quantified");
        sum->not_quantified_g += ending->mass_g;
        return ERR_OK;
    }
    if (ending_is(ending, "combustion_none"))
        build_caution(b, "incineration without energy recovery counts with the published figure "
                         "for incineration with it, which is too low");
    enum err e = fill_factor(b, &factor);
    if (e == ERR_OK)
        e = fill_figure(b, "kg_co2e", ending->mass_g, factor.value, factor.unit);
    return e == ERR_OK ? add_line(b, ending, &factor, sum) : e;
}

/* ---- several GWP bases */

static const struct column basis_columns[] = {
    {"gwp_basis", "GWP", "", false},
    {"kg", "mass", "kg", true},
    {"kg_co2e", "emissions", "kg CO2e", true},
};

static enum err
fill_bases(struct build *b, const struct inventory *sum)
{
    char room[NUMBER_TEXT];
    enum err e = ERR_OK;
    TABLE_SECTION(b->model, "emissions.by_gwp_basis", "Emissions by GWP basis", SHAPE_ROWS,
                  basis_columns);
    for (size_t i = 0; e == ERR_OK && i < sum->n_bases; i++) {
        table_row(b->model);
        table_set(b->model, "gwp_basis", sum->bases[i].gwp_basis);
        build_kg(b, "kg", sum->bases[i].mass_g);
        e = emission_print(&sum->bases[i].sum, room, b->why);
        if (e == ERR_OK)
            table_set(b->model, "kg_co2e", room);
    }
    return e;
}

/* ---- ranges, where factors have one */

static const struct column range_columns[] = {
    {"destination", "destination", "", false},
    {"material", "material", "", false},
    {"low_kg_co2e", "emissions from", "kg CO2e", true},
    {"high_kg_co2e", "to", "kg CO2e", true},
};

static const struct column range_total_columns[] = {
    {"inventory_low_kg_co2e", "inventory from", "kg CO2e", true},
    {"inventory_high_kg_co2e", "inventory to", "kg CO2e", true},
};

static enum err
fill_range(struct build *b, const struct ending *ending)
{
    struct factor f;
    if (!find_factor(b, ending, &f) || f.low == NULL)
        return ERR_OK;
    table_row(b->model);
    table_set(b->model, "destination", calc_destination_at(ending->destination)->code);
    table_set(b->model, "material", ending->material);
    enum err e = fill_figure(b, "low_kg_co2e", ending->mass_g, f.low, f.unit);
    return e == ERR_OK ? fill_figure(b, "high_kg_co2e", ending->mass_g, f.high, f.unit) : e;
}

/* Of the inventory only when it is one figure. */
static enum err
fill_ranges(struct build *b, const struct inventory *sum)
{
    char low[NUMBER_TEXT], high[NUMBER_TEXT];
    enum err e = ERR_OK;
    TABLE_SECTION(b->model, "emissions.ranges", "Ranges of emissions", SHAPE_ROWS, range_columns);
    for (size_t i = 0; e == ERR_OK && i < b->n_endings; i++)
        e = fill_range(b, &b->endings[i]);
    if (e == ERR_OK)
        e = emission_print(&sum->low, low, b->why);
    if (e == ERR_OK)
        e = emission_print(&sum->high, high, b->why);
    if (e != ERR_OK || sum->n_bases > 1)
        return e;
    TABLE_SECTION(b->model, "emissions", "Range of the inventory", SHAPE_FIELDS,
                  range_total_columns);
    table_set(b->model, "inventory_low_kg_co2e", low);
    table_set(b->model, "inventory_high_kg_co2e", high);
    return ERR_OK;
}

/* ---- what was published */

static const struct column factor_columns[] = {
    {"factor", "factor", "", false},
    {"class", "published for", "", false},
    {"treatment", "treatment", "", false},
    {"value", "value", "", false},
    {"unit", "in", "", false},
    {"gwp_basis", "GWP", "", false},
    {"purpose", "purpose", "", false},
    {"boundary", "boundary", "", false},
    {"source", "publisher", "", false},
};

/* Of the factors that lines are counted with: an auditor asks which class of waste they are for and
 * what they cover. */
static void
fill_factors(struct build *b, const struct inventory *sum)
{
    TABLE_SECTION(b->model, "emissions.factors", "Emission factors as published", SHAPE_ROWS,
                  factor_columns);
    for (size_t i = 0; i < sum->n_factors; i++) {
        const struct factor *f = &sum->factors[i];
        table_row(b->model);
        table_set(b->model, "factor", f->id);
        table_set(b->model, "class", f->class);
        table_set(b->model, "treatment", f->treatment);
        table_set(b->model, "value", f->value);
        table_set(b->model, "unit", f->unit_text);
        table_set(b->model, "gwp_basis", f->gwp_basis);
        table_set(b->model, "purpose", f->purpose);
        table_set(b->model, "boundary", f->boundary);
        table_set(b->model, "source", f->source);
    }
}

/* ---- the whole */

static enum err
fill_total(struct build *b, const struct inventory *sum)
{
    char room[NUMBER_TEXT], brief[NUMBER_TEXT];
    bool mixed = sum->n_bases > 1, apart = mixed && build_has_tables(b, 4);
    enum err e = emission_print(&sum->sum, room, b->why);
    if (e == ERR_OK)
        e = emission_brief(&sum->sum, brief, b->why);
    if (e != ERR_OK)
        return e;
    if (apart)
        build_caution(b, "lines of different GWP bases are not added: see emissions.by_gwp_basis");
    else if (mixed)
        build_caution(b, "the inventory adds lines of different GWP bases: see its lines");
    TABLE_SECTION(b->model, "emissions", "Emissions", SHAPE_FIELDS, total_columns);
    table_set(b->model, "inventory_kg_co2e", apart ? NULL : room);
    if (!apart)
        table_brief(b->model, "inventory_kg_co2e", brief);
    build_kg(b, "not_quantified_kg", sum->not_quantified_g);
    if (apart)
        e = fill_bases(b, sum);
    return e == ERR_OK && sum->ranges ? fill_ranges(b, sum) : e;
}

enum err
part_emissions(struct build *b)
{
    struct inventory sum;
    memset(&sum, 0, sizeof sum);
    sum.bases = calloc(b->n_endings + 1, sizeof *sum.bases);
    sum.factors = calloc(b->n_endings + 1, sizeof *sum.factors);
    enum err e = sum.bases != NULL && sum.factors != NULL
                     ? ERR_OK
                     : err_set(ERR_MEM, b->why, "out of memory for the report");
    TABLE_SECTION(b->model, "emissions.lines", "Emissions by destination", SHAPE_ROWS,
                  line_columns);
    for (size_t i = 0; e == ERR_OK && i < b->n_endings; i++)
        e = fill_line(b, &b->endings[i], &sum);
    if (e == ERR_OK)
        e = fill_total(b, &sum);
    if (e == ERR_OK && build_has_tables(b, 5))
        fill_factors(b, &sum);
    free(sum.bases);
    free(sum.factors);
    return e == ERR_OK ? part_avoided(b) : e;
}
