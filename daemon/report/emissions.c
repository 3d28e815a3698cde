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
    bool per_short_ton; /* t CO2e per short ton, else kg CO2e per t */
};

struct inventory {
    struct emission_sum sum;
    const char *gwp_basis; /* of the first line; they may not be mixed unsaid */
    bool mixed_bases;
    int64_t not_quantified_g;
};

/* 1 short ton in t, exactly (UCUM). */
static struct decimal
short_ton_t(void)
{
    return decimal_of(90718474, 8);
}

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

static bool
own_factor(const Knockbox__Factors *factors, const struct ending *ending, const char *treatment,
           struct factor *out_factor)
{
    for (size_t i = 0; i < factors->rows->n_v; i++) {
        const Knockbox__FactorRow *row = factors->rows->v[i];
        const char *material = enum_word(&knockbox__material__descriptor, (int)row->material);
        if (material == NULL || strcmp(material, ending->material) != 0 ||
            strcmp(row->treatment, treatment) != 0)
            continue;
        *out_factor = (struct factor){row->id, row->value, row->gwp_basis,
                                      row->unit == KNOCKBOX__FACTOR_UNIT__FACTOR_UNIT_T_SHORT_TON};
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
    *out_factor = (struct factor){row->id, row->value, row->gwp_basis,
                                  strcmp(row->unit, "tCO2e/short_ton") == 0};
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
        return own_factor(factors, ending, treatment, out_factor);
    return shipped_factor(b->edition, ending, treatment, out_factor);
}

/* kg x value of a line: kg CO2e x 1000 for a value per t, kg CO2e x short ton in t for the other. */
static enum err
add_figure(const struct ending *ending, const struct factor *factor, struct emission_sum *sum,
           struct err_text *why)
{
    struct decimal value, kg = decimal_of(ending->mass_g, 3), product;
    enum err e = decimal_parse(factor->value, &value, why);
    if (e == ERR_OK)
        e = decimal_multiply(&kg, &value, &product, why);
    if (e != ERR_OK)
        return e;
    struct decimal *total = factor->per_short_ton ? &sum->per_short_ton : &sum->per_t;
    sum->any_short_ton = sum->any_short_ton || factor->per_short_ton;
    return decimal_add(total, &product, total, why);
}

static enum err
fill_figure(struct build *b, const struct ending *ending, const struct factor *factor,
            struct inventory *sum)
{
    char room[NUMBER_TEXT];
    struct emission_sum line = {.any_short_ton = false};
    enum err e = add_figure(ending, factor, &line, b->why);
    if (e == ERR_OK)
        e = emission_print(&line, room, b->why);
    if (e != ERR_OK)
        return e;
    table_set(b->model, "kg_co2e", room);
    return add_figure(ending, factor, &sum->sum, b->why);
}

enum err
emission_add(struct build *b, const struct ending *ending, struct emission_sum *sum,
             bool *out_quantified)
{
    struct factor factor;
    *out_quantified = find_factor(b, ending, &factor);
    return *out_quantified ? add_figure(ending, &factor, sum, b->why) : ERR_OK;
}

static enum err
fill_factor(struct build *b, const struct factor *factor)
{
    char room[NUMBER_TEXT];
    struct decimal value, thousand = decimal_of(1000, 0), ton = short_ton_t(), kg;
    enum err e = decimal_parse(factor->value, &value, b->why);
    if (e == ERR_OK && factor->per_short_ton) {
        e = decimal_multiply(&value, &thousand, &kg, b->why);
        if (e == ERR_OK)
            e = number_quotient(&kg, &ton, room, b->why);
    } else if (e == ERR_OK) {
        (void)number_exact(&value, room);
    }
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
    if (sum->gwp_basis != NULL && strcmp(sum->gwp_basis, factor.gwp_basis) != 0)
        sum->mixed_bases = true;
    sum->gwp_basis = factor.gwp_basis;
    enum err e = fill_factor(b, &factor);
    return e == ERR_OK ? fill_figure(b, ending, &factor, sum) : e;
}

/* E3: one rounding for the sum of all lines. */
enum err
emission_print(const struct emission_sum *sum, char room[NUMBER_TEXT], struct err_text *why)
{
    struct decimal thousand = decimal_of(1000, 0), ton = short_ton_t(), both, left, divisor;
    if (!sum->any_short_ton)
        return number_quotient(&sum->per_t, &thousand, room, why);
    if (sum->per_t.mantissa == 0) /* fewer digits on the way */
        return number_quotient(&sum->per_short_ton, &ton, room, why);
    enum err e = decimal_multiply(&sum->per_t, &ton, &left, why);
    if (e == ERR_OK)
        e = decimal_multiply(&sum->per_short_ton, &thousand, &both, why);
    if (e == ERR_OK)
        e = decimal_add(&left, &both, &both, why);
    if (e == ERR_OK)
        e = decimal_multiply(&ton, &thousand, &divisor, why);
    return e == ERR_OK ? number_quotient(&both, &divisor, room, why) : e;
}

enum err
part_emissions(struct build *b)
{
    char room[NUMBER_TEXT];
    struct inventory sum;
    memset(&sum, 0, sizeof sum);
    enum err e = ERR_OK;
    TABLE_SECTION(b->model, "emissions.lines", "Emissions by destination", SHAPE_ROWS,
                  line_columns);
    for (size_t i = 0; e == ERR_OK && i < b->n_endings; i++)
        e = fill_line(b, &b->endings[i], &sum);
    if (e == ERR_OK)
        e = emission_print(&sum.sum, room, b->why);
    if (e != ERR_OK)
        return e;
    if (sum.mixed_bases)
        build_caution(b, "the inventory adds lines of different GWP bases: see its lines");
    TABLE_SECTION(b->model, "emissions", "Emissions", SHAPE_FIELDS, total_columns);
    table_set(b->model, "inventory_kg_co2e", room);
    build_kg(b, "not_quantified_kg", sum.not_quantified_g);
    return part_avoided(b);
}
