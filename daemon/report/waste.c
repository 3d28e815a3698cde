/* waste.c - what became waste, where it ended, what waits (W6, W7, W10). */
#include <string.h>
#include "daemon/calc/destinations.h"
#include "daemon/report/part.h"

static const struct column waste_columns[] = {
    {"generated_kg", "generated, drain apart", "kg", true},
    {"diverted_kg", "diverted from disposal", "kg", true},
    {"disposed_kg", "disposed of", "kg", true},
    {"diverted_pct", "diverted", "%", true},
    {"waiting_kg", "waiting at the month's end", "kg", true},
    {"waiting_opening_kg", "waiting at its beginning", "kg", true},
    {"late_kg", "late from closed months", "kg", true},
    {"gap_kg", "put or collected over the books", "kg", true},
    {"taken_up_kg", "taken up in batches", "kg", true},
    {"unknown_kg", "end not known (part of disposed)", "kg", true},
    {"drain_kg", "to the drain", "kg", true},
    {"onsite_kg", "treated on our sites", "kg", true},
    {"offsite_kg", "treated elsewhere", "kg", true},
};

static const struct column destination_columns[] = {
    {"destination", "destination", "", false},
    {"kg", "mass", "kg", true},
    {"flw", "FLW", "", false},
    {"gri", "GRI", "", false},
    {"esrs", "ESRS", "", false},
    {"sdg_12_3_1b", "SDG 12.3.1(b)", "", false},
};

static const struct column recycled_columns[] = {
    {"non_recycled_kg", "not recycled", "kg", true},
    {"non_recycled_pct", "not recycled", "%", true},
    {"hazardous_kg", "hazardous", "kg", true},
};

struct sums {
    int64_t diverted_g, disposed_g, unknown_g, drain_g, onsite_g, offsite_g, recycled_g;
    int64_t product_g; /* stays with people: it never was waste */
};

bool
ending_recycled(const struct ending *ending)
{
    return ending_is(ending, "animal_feed") || ending_is(ending, "biomaterial") ||
           ending_is(ending, "anaerobic_digestion") || ending_is(ending, "composting");
}

static void
add(struct sums *sums, const struct ending *ending)
{
    int64_t g = ending->mass_g;
    if (ending_is(ending, "sewer")) {
        sums->drain_g += g;
        return;
    }
    if (ending_is(ending, "product")) {
        sums->product_g += g;
        return;
    }
    if (calc_destination_diverted(calc_destination_at(ending->destination)))
        sums->diverted_g += g;
    else
        sums->disposed_g += g;
    sums->unknown_g += ending_is(ending, "unknown") ? g : 0;
    sums->recycled_g += ending_recycled(ending) ? g : 0;
    sums->onsite_g += ending->onsite ? g : 0;
    sums->offsite_g += ending->onsite ? 0 : g;
}

/* Begun and not ended until the end of a month. */
static int64_t
waiting_until(const struct books *books, int32_t month)
{
    return books_sum(books, MEASURE_WASTE_BEGUN, INT32_MIN, month, NULL) +
           books_sum(books, MEASURE_WASTE_GAP, INT32_MIN, month, NULL) -
           books_sum(books, MEASURE_WASTE_TO, INT32_MIN, month, NULL);
}

/* Opening as printed, late, and closing of what waits; W10 adds the tubs. */
static void
fill_waiting(struct build *b)
{
    const struct stock_row *all = &b->stock_all;
    int64_t tubs = build_is_waste_basis(b) ? 1 : 0;
    int64_t before_g = waiting_until(b->in->books, b->in->month - 1);
    int64_t opening_g =
        b->in->before != NULL ? waiting_until(b->in->before, b->in->month - 1) : before_g;
    int64_t tubs_closing_g = stock_expected(all) + stock_unexplained(all);
    build_kg(b, "waiting_kg", waiting_until(b->in->books, b->in->month) + tubs * tubs_closing_g);
    build_kg(b, "waiting_opening_kg", opening_g + tubs * all->opening_g);
    build_kg(b, "late_kg", before_g - opening_g + tubs * all->late_g);
}

static void
fill(struct build *b, const struct sums *sums)
{
    int64_t ended_g = sums->diverted_g + sums->disposed_g;
    TABLE_SECTION(b->model, "waste", "Waste", SHAPE_FIELDS, waste_columns);
    int64_t begun_g = build_sum(b, MEASURE_WASTE_BEGUN, NULL);
    build_kg(b, "generated_kg",
             build_is_waste_basis(b) ? b->generated_g : begun_g - sums->drain_g - sums->product_g);
    build_kg(b, "diverted_kg", sums->diverted_g);
    build_kg(b, "disposed_kg", sums->disposed_g);
    build_pct(b, "diverted_pct", sums->diverted_g, ended_g);
    fill_waiting(b);
    build_kg(b, "gap_kg", build_sum(b, MEASURE_WASTE_GAP, NULL));
    if (build_is_waste_basis(b))
        build_kg(b, "taken_up_kg", build_sum(b, MEASURE_RESIDUE_MADE, NULL) - b->stock_all.used_g);
    build_kg(b, "unknown_kg", sums->unknown_g);
    build_kg(b, "drain_kg", sums->drain_g);
    build_kg(b, "onsite_kg", sums->onsite_g);
    build_kg(b, "offsite_kg", sums->offsite_g);
}

/* W10's check says nothing of batches and lots thrown away: they are waste, but no grounds. */
static void
caution_unbalanced(struct build *b, const struct sums *sums)
{
    const struct stock_row *all = &b->stock_all;
    char room[NUMBER_TEXT];
    int64_t in_g = b->generated_g + build_sum(b, MEASURE_WASTE_GAP, NULL) +
                   build_sum(b, MEASURE_RESIDUE_MADE, NULL) - all->used_g + stock_unexplained(all) -
                   sums->drain_g - sums->product_g;
    int64_t wait_g = waiting_until(b->in->books, b->in->month) -
                     waiting_until(b->in->books, b->in->month - 1) + stock_expected(all) +
                     stock_unexplained(all) - all->opening_g - all->late_g;
    int64_t rest_g = sums->diverted_g + sums->disposed_g + wait_g - in_g;
    if (build_is_waste_basis(b) && rest_g != 0)
        build_caution(b, table_text(b->model,
                                    "%s kg of batches and lots thrown away are waste but no "
                                    "grounds: they are in no generated figure",
                                    number_kg(rest_g, room)));
}

/* One row a destination, whatever the material. */
static void
fill_destinations(struct build *b)
{
    TABLE_SECTION(b->model, "waste.by_destination", "Where it ended", SHAPE_ROWS,
                  destination_columns);
    for (size_t i = 0; i < b->n_endings;) {
        size_t row = b->endings[i].destination;
        const struct calc_destination *destination = calc_destination_at(row);
        int64_t mass_g = 0;
        for (; i < b->n_endings && b->endings[i].destination == row; i++)
            mass_g += b->endings[i].mass_g;
        if (mass_g == 0)
            continue;
        table_row(b->model);
        table_set(b->model, "destination", destination->code);
        build_kg(b, "kg", mass_g);
        table_set(b->model, "flw", destination->flw_destination);
        table_set(b->model, "gri", destination->gri_306);
        table_set(b->model, "esrs", destination->esrs_e5_5);
        table_set(b->model, "sdg_12_3_1b", destination->sdg_12_3_1b);
    }
}

enum err
part_waste(struct build *b)
{
    struct sums sums = {.diverted_g = 0};
    for (size_t i = 0; i < b->n_endings; i++)
        add(&sums, &b->endings[i]);
    int64_t ended_g = sums.diverted_g + sums.disposed_g;
    fill(b, &sums);
    caution_unbalanced(b, &sums);
    fill_destinations(b);
    TABLE_SECTION(b->model, "waste", "Recycling", SHAPE_FIELDS, recycled_columns);
    build_kg(b, "non_recycled_kg", ended_g - sums.recycled_g);
    build_pct(b, "non_recycled_pct", ended_g - sums.recycled_g, ended_g);
    build_kg(b, "hazardous_kg", 0); /* W7 */
    return ERR_OK;
}
