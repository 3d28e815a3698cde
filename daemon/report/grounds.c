/* grounds.c - what was generated and captured (G1 to G3), first used (S7), kept in product (W11),
 * and the residue that it became (W8). */
#include <stdlib.h>
#include <string.h>
#include "daemon/report/part.h"

static const struct column grounds_columns[] = {
    {"captured_kg", "captured in tubs", "kg", true},
    {"uncaptured_kg", "not captured", "kg", true},
    {"generated_kg", "generated", "kg", true},
    {"capture_rate_pct", "capture rate", "%", true},
    {"by_method.weighed_kg", "weighed", "kg", true},
    {"by_method.counted_kg", "counted", "kg", true},
    {"by_method.sampled_kg", "sampled", "kg", true},
    {"by_method.estimated_kg", "estimated", "kg", true},
};

static const struct column use_columns[] = {
    {"first_use_kg", "first used in batches", "kg", true},
    {"in_product_kg", "dry matter that stays in product", "kg", true},
};

static const struct column residue_columns[] = {
    {"made_kg", "residue made", "kg", true},
    {"waiting_kg", "residue waiting at the month's end", "kg", true},
};

/* Tubs and uncaptured grounds of one method, grams; keys begin with the word. */
static int64_t
by_method(const struct tally *tubs, const struct tally *uncaptured, const char *word)
{
    const struct tally_line *tub = tally_find(tubs, word);
    const struct tally_line *rest = tally_find(uncaptured, word);
    return (tub != NULL ? tub->amount : 0) + (rest != NULL ? rest->amount : 0);
}

static void
caution_days(struct build *b, const struct tally_line *line)
{
    build_caution(b, table_text(b->model, "%s: uncaptured not stated on %lld days", line->site,
                                (long long)line->amount));
}

/* F7: one caution a site. */
static enum err
caution_unknown(struct build *b)
{
    struct tally days;
    enum err e = tally_of(b->in->books, MEASURE_UNCAPTURED_DAYS_UNKNOWN, b->in->month, b->in->month,
                          true, &days, b->why);
    for (size_t i = 0; e == ERR_OK && i < days.n; i++)
        if (days.lines[i].amount > 0)
            caution_days(b, &days.lines[i]);
    tally_done(&days);
    return e;
}

static void
fill(struct build *b, const struct tally *tubs, const struct tally *uncaptured)
{
    static const struct {
        const char *key, *word;
    } methods[] = {
        {"by_method.weighed_kg", "weighed"},
        {"by_method.counted_kg", "counted"},
        {"by_method.sampled_kg", "sampled"},
        {"by_method.estimated_kg", "estimated"},
    };
    int64_t captured_g = build_sum(b, MEASURE_FILLED, NULL);
    int64_t uncaptured_g = build_sum(b, MEASURE_UNCAPTURED, NULL);
    TABLE_SECTION(b->model, "grounds", "Grounds", SHAPE_FIELDS, grounds_columns);
    build_kg(b, "captured_kg", captured_g);
    build_kg(b, "uncaptured_kg", uncaptured_g);
    build_kg(b, "generated_kg", captured_g + uncaptured_g);
    build_pct(b, "capture_rate_pct", captured_g, captured_g + uncaptured_g);
    b->generated_g = captured_g + uncaptured_g;
    b->weighed_g = by_method(tubs, uncaptured, "weighed");
    for (size_t i = 0; i < sizeof methods / sizeof methods[0]; i++)
        build_kg(b, methods[i].key, by_method(tubs, uncaptured, methods[i].word));
}

enum err
part_grounds(struct build *b)
{
    struct tally tubs = {NULL, 0, 0, ERR_OK}, uncaptured = {NULL, 0, 0, ERR_OK};
    int32_t month = b->in->month;
    enum err e = tally_of(b->in->books, MEASURE_FILLED_BY, month, month, false, &tubs, b->why);
    if (e == ERR_OK)
        e = tally_of(b->in->books, MEASURE_UNCAPTURED, month, month, false, &uncaptured, b->why);
    if (e == ERR_OK) {
        fill(b, &tubs, &uncaptured);
        e = caution_unknown(b);
    }
    tally_done(&tubs);
    tally_done(&uncaptured);
    return e;
}

enum err
part_uses(struct build *b)
{
    char room[NUMBER_TEXT];
    struct decimal in_product = decimal_of(build_sum(b, MEASURE_BATCH_DRY_USED, NULL), 9);
    TABLE_SECTION(b->model, "", "Use", SHAPE_FIELDS, use_columns);
    build_kg(b, "first_use_kg", b->stock_all.used_g);
    table_set(b->model, "in_product_kg", number_exact(&in_product, room));
    TABLE_SECTION(b->model, "residue", "Residue of batches", SHAPE_FIELDS, residue_columns);
    build_kg(b, "made_kg", build_sum(b, MEASURE_RESIDUE_MADE, NULL));
    build_kg(b, "waiting_kg",
             books_sum(b->in->books, MEASURE_RESIDUE_MADE, INT32_MIN, b->in->month, NULL) -
                 books_sum(b->in->books, MEASURE_RESIDUE_SETTLED, INT32_MIN, b->in->month, NULL));
    return ERR_OK;
}
