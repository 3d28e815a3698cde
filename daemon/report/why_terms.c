/* why_terms.c - see why_terms.h. */
#include "daemon/report/why_terms.h"

#include <string.h>

/* Measures that stand together, each with its sign. */
enum group {
    STOCK = 1000,  /* all that moves a balance of tubs, S1 */
    MOVES = 1001,  /* of it what is explained */
    GAPS = 1002,   /* of it what is not */
    WAITING = 1003 /* begun and not ended */
};

struct member {
    enum measure measure;
    int sign;
};

static const struct member stock[] = {
    {MEASURE_FILLED, 1},
    {MEASURE_RECEIVED, 1},
    {MEASURE_SENT, -1},
    {MEASURE_REJECTED, -1},
    {MEASURE_USED, -1},
    {MEASURE_UNEXPLAINED_RECEIPT, 1},
    {MEASURE_UNEXPLAINED_COUNT, 1},
    {MEASURE_UNEXPLAINED_OVERDRAW, 1},
    {MEASURE_UNEXPLAINED_EMPTY, 1},
};

static const struct member waiting[] = {
    {MEASURE_WASTE_BEGUN, 1},
    {MEASURE_WASTE_GAP, 1},
    {MEASURE_WASTE_TO, -1},
};

static const struct {
    int group;
    const struct member *members;
    size_t n;
} groups[] = {
    {STOCK, stock, 9},
    {MOVES, stock, 5},
    {GAPS, stock + 5, 4},
    {WAITING, waiting, 3},
};

enum basis {
    ANY,
    BY_PRODUCT,
    WASTE
};

struct part {
    int of; /* a measure or a group; 0: no more */
    int sign;
    enum why_when when;
    enum why_pick pick;
    const char *word;
};

static const struct row {
    const char *path, *column;
    enum basis basis;
    enum why_scale scale;
    struct part parts[4];
} rows[] = {
    {"grounds", "captured_kg", ANY, WHY_KG, {{MEASURE_FILLED, 1, WHY_IN, WHY_ALL, NULL}}},
    {"grounds", "uncaptured_kg", ANY, WHY_KG, {{MEASURE_UNCAPTURED, 1, WHY_IN, WHY_ALL, NULL}}},
    {"grounds",
     "generated_kg",
     ANY,
     WHY_KG,
     {{MEASURE_FILLED, 1, WHY_IN, WHY_ALL, NULL}, {MEASURE_UNCAPTURED, 1, WHY_IN, WHY_ALL, NULL}}},
#define BY_METHOD(word)                                       \
    {                                                         \
        "grounds", "by_method." word "_kg", ANY, WHY_KG,      \
        {                                                     \
            {MEASURE_FILLED_BY, 1, WHY_IN, WHY_WORD, word},   \
            {                                                 \
                MEASURE_UNCAPTURED, 1, WHY_IN, WHY_WORD, word \
            }                                                 \
        }                                                     \
    }
    BY_METHOD("weighed"),
    BY_METHOD("counted"),
    BY_METHOD("sampled"),
    BY_METHOD("estimated"),

    {"stock", "opening_kg", ANY, WHY_KG, {{STOCK, 1, WHY_PRINTED, WHY_ALL, NULL}}},
    {"stock",
     "late_kg",
     ANY,
     WHY_KG,
     {{STOCK, 1, WHY_BEFORE, WHY_ALL, NULL}, {STOCK, -1, WHY_PRINTED, WHY_ALL, NULL}}},
    {"stock", "filled_kg", ANY, WHY_KG, {{MEASURE_FILLED, 1, WHY_IN, WHY_ALL, NULL}}},
    {"stock", "received_kg", ANY, WHY_KG, {{MEASURE_RECEIVED, 1, WHY_IN, WHY_ALL, NULL}}},
    {"stock", "sent_kg", ANY, WHY_KG, {{MEASURE_SENT, 1, WHY_IN, WHY_ALL, NULL}}},
    {"stock", "rejected_kg", ANY, WHY_KG, {{MEASURE_REJECTED, 1, WHY_IN, WHY_ALL, NULL}}},
    {"stock", "used_kg", ANY, WHY_KG, {{MEASURE_USED, 1, WHY_IN, WHY_ALL, NULL}}},
    {"stock",
     "expected_kg",
     ANY,
     WHY_KG,
     {{STOCK, 1, WHY_BEFORE, WHY_ALL, NULL}, {MOVES, 1, WHY_IN, WHY_ALL, NULL}}},
    {"stock", "closing_kg", ANY, WHY_KG, {{STOCK, 1, WHY_UNTIL, WHY_ALL, NULL}}},
    {"stock", "counted_kg", ANY, WHY_KG, {{STOCK, 1, WHY_UNTIL, WHY_ALL, NULL}}},
    {"stock", "unexplained_kg", ANY, WHY_KG, {{GAPS, 1, WHY_IN, WHY_ALL, NULL}}},
#define UNEXPLAINED(word, NAME)                                      \
    {                                                                \
        "stock", "unexplained_by." word "_kg", ANY, WHY_KG,          \
        {                                                            \
            {                                                        \
                MEASURE_UNEXPLAINED_##NAME, 1, WHY_IN, WHY_ALL, NULL \
            }                                                        \
        }                                                            \
    }
    UNEXPLAINED("receipt", RECEIPT),
    UNEXPLAINED("count", COUNT),
    UNEXPLAINED("overdraw", OVERDRAW),
    UNEXPLAINED("empty", EMPTY),

    {"", "first_use_kg", ANY, WHY_KG, {{MEASURE_USED, 1, WHY_IN, WHY_ALL, NULL}}},
    {"", "in_product_kg", ANY, WHY_DRY, {{MEASURE_BATCH_DRY_USED, 1, WHY_IN, WHY_ALL, NULL}}},
    {"residue", "made_kg", ANY, WHY_KG, {{MEASURE_RESIDUE_MADE, 1, WHY_IN, WHY_ALL, NULL}}},
    {"residue",
     "waiting_kg",
     ANY,
     WHY_KG,
     {{MEASURE_RESIDUE_MADE, 1, WHY_UNTIL, WHY_ALL, NULL},
      {MEASURE_RESIDUE_SETTLED, -1, WHY_UNTIL, WHY_ALL, NULL}}},

    {"waste",
     "generated_kg",
     BY_PRODUCT,
     WHY_KG,
     {{MEASURE_WASTE_BEGUN, 1, WHY_IN, WHY_ALL, NULL},
      {MEASURE_WASTE_TO, -1, WHY_IN, WHY_DESTINATION, "sewer"},
      {MEASURE_WASTE_TO, -1, WHY_IN, WHY_DESTINATION, "product"}}},
    {"waste",
     "generated_kg",
     WASTE,
     WHY_KG,
     {{MEASURE_FILLED, 1, WHY_IN, WHY_ALL, NULL}, {MEASURE_UNCAPTURED, 1, WHY_IN, WHY_ALL, NULL}}},
#define ENDED(column, pick, word)                       \
    {                                                   \
        "waste", column, ANY, WHY_KG,                   \
        {                                               \
            {                                           \
                MEASURE_WASTE_TO, 1, WHY_IN, pick, word \
            }                                           \
        }                                               \
    }
    ENDED("diverted_kg", WHY_DIVERTED, NULL),
    ENDED("disposed_kg", WHY_DISPOSED, NULL),
    ENDED("unknown_kg", WHY_DESTINATION, "unknown"),
    ENDED("drain_kg", WHY_DESTINATION, "sewer"),
    ENDED("onsite_kg", WHY_ONSITE, NULL),
    ENDED("offsite_kg", WHY_OFFSITE, NULL),
    ENDED("non_recycled_kg", WHY_NOT_RECYCLED, NULL),
    {"waste", "gap_kg", ANY, WHY_KG, {{MEASURE_WASTE_GAP, 1, WHY_IN, WHY_ALL, NULL}}},
    {"waste", "waiting_kg", BY_PRODUCT, WHY_KG, {{WAITING, 1, WHY_UNTIL, WHY_ALL, NULL}}},
    {"waste",
     "waiting_kg",
     WASTE,
     WHY_KG,
     {{WAITING, 1, WHY_UNTIL, WHY_ALL, NULL}, {STOCK, 1, WHY_UNTIL, WHY_ALL, NULL}}},
    {"waste", "waiting_opening_kg", BY_PRODUCT, WHY_KG, {{WAITING, 1, WHY_PRINTED, WHY_ALL, NULL}}},
    {"waste",
     "waiting_opening_kg",
     WASTE,
     WHY_KG,
     {{WAITING, 1, WHY_PRINTED, WHY_ALL, NULL}, {STOCK, 1, WHY_PRINTED, WHY_ALL, NULL}}},
    {"waste",
     "late_kg",
     BY_PRODUCT,
     WHY_KG,
     {{WAITING, 1, WHY_BEFORE, WHY_ALL, NULL}, {WAITING, -1, WHY_PRINTED, WHY_ALL, NULL}}},
    {"waste",
     "late_kg",
     WASTE,
     WHY_KG,
     {{WAITING, 1, WHY_BEFORE, WHY_ALL, NULL},
      {WAITING, -1, WHY_PRINTED, WHY_ALL, NULL},
      {STOCK, 1, WHY_BEFORE, WHY_ALL, NULL},
      {STOCK, -1, WHY_PRINTED, WHY_ALL, NULL}}},
    {"waste",
     "taken_up_kg",
     WASTE,
     WHY_KG,
     {{MEASURE_RESIDUE_MADE, 1, WHY_IN, WHY_ALL, NULL}, {MEASURE_USED, -1, WHY_IN, WHY_ALL, NULL}}},
    {"waste.by_destination",
     "kg",
     ANY,
     WHY_KG,
     {{MEASURE_WASTE_TO, 1, WHY_IN, WHY_DESTINATION, NULL}}},

    {"emissions",
     "inventory_kg_co2e",
     ANY,
     WHY_CO2E,
     {{MEASURE_WASTE_TO, 1, WHY_IN, WHY_ALL, NULL}}},
    {"emissions",
     "not_quantified_kg",
     ANY,
     WHY_KG,
     {{MEASURE_WASTE_TO, 1, WHY_IN, WHY_UNQUANTIFIED, NULL}}},
    {"emissions.lines", "kg", ANY, WHY_KG, {{MEASURE_WASTE_TO, 1, WHY_IN, WHY_LINE, NULL}}},
    {"emissions.lines", "kg_co2e", ANY, WHY_CO2E, {{MEASURE_WASTE_TO, 1, WHY_IN, WHY_LINE, NULL}}},
    {"emissions.avoided",
     "kg_co2e",
     ANY,
     WHY_AVOIDED,
     {{MEASURE_RESIDUE_TO, 1, WHY_IN, WHY_ALL, NULL}}},

#define PRODUCT(column, NAME, pick)                   \
    {                                                 \
        "product", column, ANY, WHY_WHOLE,            \
        {                                             \
            {                                         \
                MEASURE_##NAME, 1, WHY_IN, pick, NULL \
            }                                         \
        }                                             \
    }
    PRODUCT("made_g", BOTTLED_G, WHY_PRODUCT),
    PRODUCT("made_ml", BOTTLED_ML, WHY_PRODUCT),
    PRODUCT("bottles", BOTTLED, WHY_PRODUCT),
    PRODUCT("at_list_minor", AT_LIST, WHY_CURRENCY),
    PRODUCT("delivered_minor", DELIVERED, WHY_CURRENCY),
    PRODUCT("sold_minor", SOLD, WHY_CURRENCY),
    PRODUCT("lost_minor", LOST, WHY_CURRENCY),

#define BATCH(column, NAME, word)                                \
    {                                                            \
        "batches", column, ANY, WHY_WHOLE,                       \
        {                                                        \
            {                                                    \
                MEASURE_BATCH_##NAME, 1, WHY_IN, WHY_BATCH, word \
            }                                                    \
        }                                                        \
    }
    BATCH("grounds_g", IN, "grounds"),
    BATCH("in_g", IN, NULL),
    BATCH("product_g", OUT, "product"),
    BATCH("residue_g", OUT, "residue"),
    BATCH("loss_g", OUT, "loss"),
    {"batches",
     "gap_g",
     ANY,
     WHY_WHOLE,
     {{MEASURE_BATCH_IN, 1, WHY_IN, WHY_BATCH, NULL},
      {MEASURE_BATCH_OUT, -1, WHY_IN, WHY_BATCH, NULL}}},
};

static void
add_term(struct why_sum *out, const struct part *part, enum measure measure, int sign)
{
    out->terms[out->n++] =
        (struct why_term){measure, part->sign * sign, part->when, part->pick, part->word};
    out->balance = out->balance || part->when != WHY_IN;
}

static void
add_part(struct why_sum *out, const struct part *part)
{
    for (size_t i = 0; i < sizeof groups / sizeof groups[0]; i++)
        for (size_t j = 0; groups[i].group == part->of && j < groups[i].n; j++)
            add_term(out, part, groups[i].members[j].measure, groups[i].members[j].sign);
    if (part->of < STOCK)
        add_term(out, part, (enum measure)part->of, 1);
}

/* A row of a site is summed like the whole. */
static const char *
plain(const char *path)
{
    return strcmp(path, "stock.sites") == 0 ? "stock" : path;
}

bool
why_sum_of(const char *path, const char *column, bool waste_basis, struct why_sum *out)
{
    *out = (struct why_sum){.n = 0};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct row *row = &rows[i];
        if (strcmp(row->path, plain(path)) != 0 || strcmp(row->column, column) != 0 ||
            (row->basis != ANY && (row->basis == WASTE) != waste_basis))
            continue;
        out->scale = row->scale;
        for (size_t j = 0; j < sizeof row->parts / sizeof row->parts[0]; j++)
            if (row->parts[j].of != 0)
                add_part(out, &row->parts[j]);
        return true;
    }
    return false;
}

/* ---- shares */

static const struct why_share shares[] = {
    {"grounds", "capture_rate_pct", "grounds.captured_kg", "grounds.generated_kg"},
    {"stock", "unexplained_pct", "stock.unexplained_kg",
     "stock.opening_kg + stock.late_kg + stock.filled_kg"},
    {"stock.sites", "unexplained_pct", ".unexplained_kg",
     ".opening_kg + .late_kg + .filled_kg + .received_kg"},
    {"waste", "diverted_pct", "waste.diverted_kg", "waste.diverted_kg + waste.disposed_kg"},
    {"waste", "non_recycled_pct", "waste.non_recycled_kg", "waste.diverted_kg + waste.disposed_kg"},
    {"quality", "estimated_share_pct",
     "grounds.by_method.counted_kg + grounds.by_method.sampled_kg + grounds.by_method.estimated_kg",
     "grounds.generated_kg"},
};

const struct why_share *
why_share_of(const char *path, const char *column, bool one_site)
{
    static const struct why_share of_site = {
        "stock", "unexplained_pct", "stock.unexplained_kg",
        "stock.opening_kg + stock.late_kg + stock.filled_kg + stock.received_kg"};
    if (one_site && strcmp(path, of_site.path) == 0 && strcmp(column, of_site.column) == 0)
        return &of_site;
    for (size_t i = 0; i < sizeof shares / sizeof shares[0]; i++)
        if (strcmp(shares[i].path, path) == 0 && strcmp(shares[i].column, column) == 0)
            return &shares[i];
    return NULL;
}

/* ---- words */

static const struct {
    const char *path, *column; /* column "": all others of the path */
    const char *words;
} words[] = {
    {"waste", "hazardous_kg",
     "Coffee grounds are no hazardous waste: always 0, whatever is written (W7)."},
    {"emissions.lines", "kg_co2e_per_t",
     "A published factor, no sum over records: its id is in `factor`, its publisher in the "
     "edition."},
    {"emissions.by_gwp_basis", "",
     "The sum of the lines of that GWP basis: ask for each of emissions.lines."},
    {"emissions.ranges", "",
     "The mass of its line times the ends of the factor's range: ask for emissions.lines."},
    {"emissions", "inventory_low_kg_co2e",
     "The inventory with the lower ends of its factors' ranges: ask for inventory_kg_co2e."},
    {"emissions", "inventory_high_kg_co2e",
     "The inventory with the upper ends of its factors' ranges: ask for inventory_kg_co2e."},
    {"emissions.avoided", "", "As the house has decided it in its basis (E4)."},
    {"batches", "abv_pct",
     "A strength as measured, or estimated from all that went in (B2): no sum over records."},
    {"batches", "",
     "Worked out of masses and a strength (B2), which do not add up by record: ask for in_g, "
     "product_g, residue_g and loss_g of the batch."},
    {"costs", "", "Shares of money rounded once (K1 to K5), which do not add up by record."},
    {"bottle_costs", "", "Shares of money rounded once (K1 to K5), which do not add up by record."},
    {"base_year", "", "As the house has decided it in its basis."},
    {"base_year.figures", "", "Sums of what closes and restatements printed, month by month."},
    {"base_year.sites", "",
     "That site's grounds / all grounds, of the base year or of this month."},
    {"costs_missing", "",
     "Of the batch's inputs those without a price or a run: ask for batches[BATCH].in_g."},
    {"heads", "", "Where a log stands: its last record, no sum."},
    {"restatement", "", "Written in the restatement: no sum over records."},
    {"quality.late_arrivals", "", "What the one record states that the row names."},
    {"quality.samples", "", "What the close of that site and day states."},
    {"safety.warm_time_over", "", "Minutes between the times of one tub (T7): see knockbox trace."},
    {"safety.readings_failed", "", "What the one reading states that the row names."},
};

const char *
why_words_of(const char *path, const char *column)
{
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcmp(words[i].path, path) == 0 &&
            (words[i].column[0] == '\0' || strcmp(words[i].column, column) == 0))
            return words[i].words;
    return "Not a sum over records: it is written in one, or follows from the catalogue.";
}
