/* The tables in the program are the tables of tests/data/reference, row for row. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "daemon/calc/destinations.h"
#include "daemon/calc/factors.h"
#include "proto/decimal.h"
#include "tests/calc/csv.h"

static void
expect_same_file(const char *name)
{
    char path[256];
    snprintf(path, sizeof path, "daemon/calc/data/%s", name);
    struct csv *ours = csv_read(path);
    struct csv *reference = csv_reference(name);
    cr_assert(eq(int, ours->rows, reference->rows));
    for (int r = 0; r < ours->rows; r++)
        for (int c = 0; c < ours->columns; c++)
            cr_assert(eq(str, ours->cell[r][c], reference->cell[r][c]), "%s row %d", name, r);
}

Test(tables, data_files_equal_the_reference_tables)
{
    expect_same_file("emission-factors.csv");
    expect_same_file("uk-refuse-factors.csv");
    expect_same_file("waste-destinations.csv");
    expect_same_file("gwp100.csv");
    expect_same_file("alcohol-rules.csv");
    expect_same_file("food-safety-limits.csv");
    expect_same_file("tcs-interaction.csv");
}

Test(tables, every_factor_row_is_in_the_program_with_every_cell)
{
    struct csv *t = csv_reference("emission-factors.csv");
    for (int r = 0; r < t->rows; r++) {
        const struct calc_factor *f = calc_factor_at((size_t)r);
        cr_assert(f != NULL);
        const char *const members[] = {
            f->id,        f->source_set, f->edition,          f->material,   f->treatment,
            f->value,     f->unit,       f->kgco2e_per_tonne, f->boundary,   f->purpose,
            f->gwp_basis, f->status,     f->ship_default,     f->where_seen, f->note};
        for (int c = 0; c < t->columns; c++)
            cr_assert(eq(str, (char *)members[c], t->cell[r][c]), "row %d", r);
        cr_assert(calc_factor_by_id(f->id) == f);
    }
    cr_assert(calc_factor_at((size_t)t->rows) == NULL);
}

Test(tables, factors_are_found_by_edition_material_and_treatment)
{
    static const char *const rows[][4] = {
        {"UK-2025", "organic: food and drink waste", "landfill", "700.30886"},
        {"UK-2024", "organic: food and drink waste", "landfill", "700.20961"},
        {"UK-2023", "organic: food and drink waste", "landfill", "700.2098817534277"},
        {"UK-2025", "commercial and industrial waste (mixed)", "landfill", "520.5327"},
        {"US-HUB2025", "food waste (non-meat)", "composting", "0.11"},
        {"IPCC-AR5", "organic waste, wet weight", "composting", "175.60"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct calc_factor *f = calc_factor_find(rows[i][0], rows[i][1], rows[i][2]);
        cr_assert(f != NULL, "%s", rows[i][0]);
        cr_assert(eq(str, (char *)f->value, (char *)rows[i][3]));
    }
    const char *food = calc_factor_edition("UK-2025")->food_waste;
    cr_assert(calc_factor_find("UK-2025", food, "sewer") == NULL);
    cr_assert(calc_factor_find("UK-OLD1", food, "landfill") == NULL);
    cr_assert(calc_factor_edition("US-WARM") == NULL);
    cr_assert(calc_factor_treatment_known("sewer"));
    cr_assert(calc_factor_treatment_known("open_loop"));
    cr_assert(not(calc_factor_treatment_known("Landfill")));
    cr_assert(not(calc_factor_material_known("coffee")));
}

Test(tables, a_default_build_counts_only_with_rows_that_may_ship)
{
    cr_assert(calc_factor_ships(calc_factor_by_id("UK-2025-FD-landfill")));
    cr_assert(not(calc_factor_ships(calc_factor_by_id("US-HUB2025-FWNM-landfill"))));
    cr_assert(not(calc_factor_ships(calc_factor_by_id("IPCC-AD-WET-AR5"))));
    cr_assert(not(calc_factor_ships(calc_factor_by_id("NONE-sewer"))));
}

/* uk-refuse-factors.csv and emission-factors.csv come from the same sheets. */
Test(tables, the_refuse_block_agrees_with_the_factor_rows_and_keeps_its_blanks)
{
    struct csv *t = csv_reference("uk-refuse-factors.csv");
    int blanks = 0;
    int same = 0;
    for (int r = 0; r < t->rows; r++) {
        const struct calc_refuse_factor *f = calc_refuse_factor_at((size_t)r);
        cr_assert(eq(str, (char *)f->factor, (char *)csv_text(t, r, "factor")));
        blanks += f->factor[0] == '\0';
        if (strcmp(f->waste_type, "Organic: food and drink waste") != 0 || f->factor[0] == '\0')
            continue;
        char edition[32];
        snprintf(edition, sizeof edition, "UK-%s", f->edition);
        const struct calc_factor *row =
            calc_factor_find(edition, "organic: food and drink waste", f->treatment);
        cr_assert(row != NULL);
        cr_assert(eq(str, (char *)row->value, (char *)f->factor));
        same++;
    }
    cr_assert(calc_refuse_factor_at((size_t)t->rows) == NULL);
    cr_assert(eq(int, same, 8));
    cr_assert(blanks > 0);
}

/* unit-conversions.csv: 1 short ton = 0.90718474 t exactly. */
Test(tables, per_tonne_values_of_the_us_rows_are_value_over_short_ton)
{
    struct decimal ton;
    struct decimal thousand = decimal_of(1000, 0);
    cr_assert(decimal_parse("0.90718474", &ton, NULL) == ERR_OK);
    for (size_t i = 0; calc_factor_at(i) != NULL; i++) {
        const struct calc_factor *f = calc_factor_at(i);
        if (strcmp(f->unit, "tCO2e/short_ton") != 0)
            continue;
        struct decimal v, kg;
        char text[DECIMAL_TEXT_MAX];
        cr_assert(decimal_parse(f->value, &v, NULL) == ERR_OK);
        cr_assert(decimal_multiply(&v, &thousand, &v, NULL) == ERR_OK);
        cr_assert(decimal_divide(&v, &ton, 6, &kg, NULL) == ERR_OK);
        cr_assert(eq(str, (char *)decimal_print_places(&kg, 6, text), (char *)f->kgco2e_per_tonne),
                  "%s", f->id);
    }
}

Test(tables, destinations_keep_their_order_and_say_what_is_diverted)
{
    struct csv *t = csv_reference("waste-destinations.csv");
    for (int r = 0; r < t->rows; r++) {
        const struct calc_destination *d = calc_destination_at((size_t)r);
        cr_assert(d != NULL);
        cr_assert(calc_destination_find(d->code) == d);
        const char *const members[] = {d->code,        d->label,     d->flw_destination,
                                       d->gri_306,     d->esrs_e5_5, d->wfd_step,
                                       d->sdg_12_3_1b, d->diverted,  d->published_factor};
        for (int c = 0; c < t->columns; c++)
            cr_assert(eq(str, (char *)members[c], t->cell[r][c]));
    }
    cr_assert(calc_destination_at((size_t)t->rows) == NULL);
    cr_assert(calc_destination_find("moon") == NULL);
    cr_assert(calc_destination_diverted(calc_destination_find("composting")));
    cr_assert(not(calc_destination_diverted(calc_destination_find("landfill"))));
    cr_assert(not(calc_destination_diverted(calc_destination_find("product"))));
}
