/* batches.c - the batches that were finished in the month, with their balances (B1, B2).
 *
 * Masses come out of the books; strength where nobody measured it is the estimate of
 * daemon/calc/blend.h, and all volumes of ethanol are at 20 Cel.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/calc/blend.h"
#include "daemon/calc/ethanol.h"
#include "daemon/report/part.h"

enum {
    REWORK_DEPTH = 8 /* bottles of bottles of ...; deeper is not known */
};

/* Common practice, no source: a filter brew. Used where the item says no `tds_pct`. */
static const double brew_tds_pct = 1.3;

static const struct column columns[] = {
    {"batch", "batch", "", false},
    {"grounds_g", "grounds", "g", true},
    {"in_g", "in", "g", true},
    {"product_g", "product", "g", true},
    {"residue_g", "residue", "g", true},
    {"loss_g", "loss", "g", true},
    {"gap_g", "gap", "g", true},
    {"ethanol_in_ml", "ethanol in", "mL", true},
    {"ethanol_product_ml", "in product", "mL", true},
    {"ethanol_residue_ml", "in residue", "mL", true},
    {"ethanol_loss_ml", "in loss", "mL", true},
    {"ethanol_gap_ml", "gap", "mL", true},
    {"abv_pct", "strength", "% vol", true},
    {"abv_is", "strength is", "", false},
};

/* Lines of batches, sorted by batch: "what rest" of the key before it. */
struct line {
    const char *batch; /* lent by the tally's key */
    const char *head;  /* "spirit 40", "product", "24.5" */
    size_t head_len;
    int64_t amount;
};

struct lines {
    struct tally tally;
    struct line *list;
    size_t n;
};

struct books_of_batches {
    struct lines in, out, ml, dry, abv;
};

/* One batch worked out. */
struct balance {
    const char *batch;
    int64_t grounds_g, in_g, product_g, product_ml, residue_g, loss_g;
    double dry_g;
    const char *abv; /* measured, NULL: estimated */
    size_t abv_len;
    bool in_known; /* the strength of every input is known */
    double ethanol_in_ml;
    struct calc_parts parts; /* of the liquor that went in */
    double abv_pct;          /* measured or estimated; NAN: not known */
};

static int
by_batch(const void *a, const void *b)
{
    return strcmp(((const struct line *)a)->batch, ((const struct line *)b)->batch);
}

/* Keys end in " BATCH", or are the batch alone. */
static enum err
read_lines(const struct build *b, enum measure measure, bool all_months, struct lines *out)
{
    int32_t first = all_months ? INT32_MIN : b->in->month;
    int32_t last = all_months ? INT32_MAX : b->in->month;
    enum err e = tally_of(b->in->books, measure, first, last, false, &out->tally, b->why);
    if (e == ERR_OK) {
        out->list = calloc(out->tally.n + 1, sizeof *out->list);
        e = out->list != NULL ? ERR_OK : err_set(ERR_MEM, b->why, "out of memory for the report");
    }
    for (size_t i = 0; e == ERR_OK && i < out->tally.n; i++) {
        const char *key = out->tally.lines[i].key, *space = strrchr(key, ' ');
        out->list[out->n++] =
            (struct line){space != NULL ? space + 1 : key, key,
                          space != NULL ? (size_t)(space - key) : 0, out->tally.lines[i].amount};
    }
    if (e == ERR_OK && out->n > 1)
        qsort(out->list, out->n, sizeof *out->list, by_batch);
    return e;
}

static void
lines_done(struct lines *lines)
{
    tally_done(&lines->tally);
    free(lines->list);
}

/* The first line of a batch; *out_n of them. */
static const struct line *
lines_of(const struct lines *lines, const char *batch, size_t *out_n)
{
    size_t low = 0, high = lines->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (strcmp(lines->list[middle].batch, batch) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    size_t end = low;
    while (end < lines->n && strcmp(lines->list[end].batch, batch) == 0)
        end++;
    *out_n = end - low;
    return &lines->list[low];
}

static bool
head_is(const struct line *line, const char *word)
{
    size_t len = strlen(word);
    return line->head_len >= len && strncmp(line->head, word, len) == 0 &&
           (line->head_len == len || line->head[len] == ' ');
}

/* "spirit 40.5": the number; NAN for "-". */
static double
detail_of(const struct line *line)
{
    const char *space = strchr(line->head, ' ');
    char text[64];
    struct decimal value;
    if (space == NULL || space >= line->head + line->head_len)
        return NAN;
    (void)snprintf(text, sizeof text, "%.*s", (int)(line->head + line->head_len - space - 1),
                   space + 1);
    return decimal_parse(text, &value, NULL) == ERR_OK ? decimal_double(&value) : NAN;
}

static void balance_of(const struct books_of_batches *books, const char *batch, int depth,
                       struct balance *out);

/* B2: mass / density x strength. */
static void
add_spirit(struct balance *x, double mass_g, double abv_pct)
{
    if (isnan(abv_pct)) {
        x->in_known = false;
        return;
    }
    double fraction = calc_ethanol_mass_fraction(abv_pct, CALC_REFERENCE_C);
    x->ethanol_in_ml +=
        mass_g / calc_ethanol_density(fraction, CALC_REFERENCE_C) * 1000.0 * abv_pct / 100.0;
    x->parts.ethanol_g += mass_g * fraction;
    x->parts.water_g += mass_g * (1.0 - fraction);
}

/* Bottles taken back bring their own batch's liquor. */
static void
add_bottles(const struct books_of_batches *books, struct balance *x, const struct line *line,
            int depth)
{
    char batch[72];
    const char *space = strchr(line->head, ' ');
    struct balance from;
    (void)snprintf(batch, sizeof batch, "%.*s", (int)(line->head + line->head_len - space - 1),
                   space + 1);
    balance_of(books, batch, depth + 1, &from);
    double liquor_g =
        from.parts.ethanol_g + from.parts.water_g + from.parts.sugar_g + from.parts.solids_g;
    if (!from.in_known || isnan(from.abv_pct) || from.product_g <= 0 || liquor_g <= 0) {
        x->in_known = false;
        return;
    }
    double part = (double)line->amount / liquor_g;
    x->ethanol_in_ml += (double)line->amount / (double)from.product_g * (double)from.product_ml *
                        from.abv_pct / 100.0;
    x->parts.ethanol_g += from.parts.ethanol_g * part;
    x->parts.water_g += from.parts.water_g * part;
    x->parts.sugar_g += from.parts.sugar_g * part;
    x->parts.solids_g += from.parts.solids_g * part;
}

static void
add_input(const struct books_of_batches *books, struct balance *x, const struct line *line,
          int depth)
{
    double mass_g = (double)line->amount;
    x->in_g += line->amount;
    if (head_is(line, "grounds")) {
        x->grounds_g += line->amount;
    } else if (head_is(line, "spirit")) {
        add_spirit(x, mass_g, detail_of(line));
    } else if (head_is(line, "sugar")) {
        x->parts.sugar_g += mass_g;
    } else if (head_is(line, "coffee")) {
        double tds_pct = detail_of(line);
        double solids_g = mass_g * (isnan(tds_pct) ? brew_tds_pct : tds_pct) / 100.0;
        x->parts.solids_g += solids_g;
        x->parts.water_g += mass_g - solids_g;
    } else if (head_is(line, "water") || head_is(line, "other")) {
        x->parts.water_g += mass_g;
    } else if (head_is(line, "bottles")) {
        add_bottles(books, x, line, depth);
    } else {
        x->in_known = false;
    }
}

static void
add_out(struct balance *x, const struct line *line)
{
    if (head_is(line, "product"))
        x->product_g += line->amount;
    else if (head_is(line, "residue"))
        x->residue_g += line->amount;
    else
        x->loss_g += line->amount;
}

static int64_t
amount_of(const struct lines *lines, const char *batch)
{
    size_t n = 0;
    const struct line *line = lines_of(lines, batch, &n);
    return n > 0 ? line->amount : 0;
}

/* Measured, else the model's; the grounds bring their water. */
static void
set_strength(const struct books_of_batches *books, struct balance *x)
{
    size_t n = 0;
    const struct line *measured = lines_of(&books->abv, x->batch, &n);
    struct calc_blend blend;
    if (n > 0) {
        char text[64];
        struct decimal value;
        x->abv = measured->head;
        x->abv_len = measured->head_len;
        (void)snprintf(text, sizeof text, "%.*s", (int)x->abv_len, x->abv);
        if (decimal_parse(text, &value, NULL) == ERR_OK)
            x->abv_pct = decimal_double(&value);
    } else if (x->in_known && x->in_g > 0) {
        calc_blend_of_parts(&x->parts, &blend);
        x->abv_pct = x->parts.ethanol_g > 0 ? blend.abv_pct : 0.0;
    }
}

static void
balance_of(const struct books_of_batches *books, const char *batch, int depth, struct balance *out)
{
    size_t n = 0;
    const struct line *lines = lines_of(&books->in, batch, &n);
    *out = (struct balance){.batch = batch, .in_known = true, .abv_pct = NAN};
    if (depth > REWORK_DEPTH) {
        out->in_known = false;
        return;
    }
    for (size_t i = 0; i < n; i++)
        add_input(books, out, &lines[i], depth);
    lines = lines_of(&books->out, batch, &n);
    for (size_t i = 0; i < n; i++)
        add_out(out, &lines[i]);
    out->product_ml = amount_of(&books->ml, batch);
    out->dry_g = (double)amount_of(&books->dry, batch) / 1e6;
    out->parts.water_g += fmax(0.0, (double)out->grounds_g - out->dry_g);
    set_strength(books, out);
}

/* ---- the rows */

static void
set_tenth(struct build *b, const char *key, double value)
{
    char room[NUMBER_TEXT];
    table_set(b->model, key, number_tenth(value, room));
}

/* B2: residue and loss hold the liquor's own composition. */
static void
fill_ethanol(struct build *b, const struct balance *x)
{
    if (x->in_known)
        set_tenth(b, "ethanol_in_ml", x->ethanol_in_ml);
    bool has_volume = x->product_ml > 0 || x->product_g == 0 || x->abv_pct == 0;
    if (isnan(x->abv_pct) || !has_volume)
        return;
    double product_ml = (double)x->product_ml * x->abv_pct / 100.0;
    double per_g = x->product_g > 0 ? product_ml / (double)x->product_g : 0.0;
    double residue_ml = per_g * ((double)x->residue_g - x->dry_g);
    double loss_ml = per_g * (double)x->loss_g;
    set_tenth(b, "ethanol_product_ml", product_ml);
    set_tenth(b, "ethanol_residue_ml", residue_ml);
    set_tenth(b, "ethanol_loss_ml", loss_ml);
    if (x->in_known)
        set_tenth(b, "ethanol_gap_ml", x->ethanol_in_ml - product_ml - residue_ml - loss_ml);
}

static void
fill(struct build *b, const struct balance *x)
{
    table_row(b->model);
    table_set(b->model, "batch", x->batch);
    build_whole(b, "grounds_g", x->grounds_g);
    build_whole(b, "in_g", x->in_g);
    build_whole(b, "product_g", x->product_g);
    build_whole(b, "residue_g", x->residue_g);
    build_whole(b, "loss_g", x->loss_g);
    build_whole(b, "gap_g", x->in_g - x->product_g - x->residue_g - x->loss_g);
    fill_ethanol(b, x);
    table_set(b->model, "abv_is", x->abv != NULL ? "measured" : "estimated");
    if (x->abv != NULL)
        table_set(b->model, "abv_pct", table_text(b->model, "%.*s", (int)x->abv_len, x->abv));
    else if (!isnan(x->abv_pct))
        set_tenth(b, "abv_pct", x->abv_pct);
}

static enum err
fill_rows(struct build *b, const struct books_of_batches *books)
{
    struct tally ended;
    enum err e = tally_of(b->in->books, MEASURE_BATCH_ENDED, b->in->month, b->in->month, false,
                          &ended, b->why);
    for (size_t i = 0; e == ERR_OK && i < ended.n; i++) {
        struct balance balance;
        balance_of(books, ended.lines[i].key, 0, &balance);
        fill(b, &balance);
    }
    tally_done(&ended);
    return e;
}

/* All lines of a batch stand in its month; other months are needed for bottles taken back. */
static enum err
read_books(const struct build *b, bool all_months, struct books_of_batches *out)
{
    const struct {
        enum measure measure;
        struct lines *lines;
    } needed[] = {
        {MEASURE_BATCH_IN, &out->in},   {MEASURE_BATCH_OUT, &out->out},
        {MEASURE_BATCH_ML, &out->ml},   {MEASURE_BATCH_DRY, &out->dry},
        {MEASURE_BATCH_ABV, &out->abv},
    };
    enum err e = ERR_OK;
    memset(out, 0, sizeof *out);
    for (size_t i = 0; e == ERR_OK && i < sizeof needed / sizeof needed[0]; i++)
        e = read_lines(b, needed[i].measure, all_months, needed[i].lines);
    return e;
}

static void
books_done(struct books_of_batches *books)
{
    lines_done(&books->in);
    lines_done(&books->out);
    lines_done(&books->ml);
    lines_done(&books->dry);
    lines_done(&books->abv);
}

static bool
has_rework(const struct books_of_batches *books)
{
    for (size_t i = 0; i < books->in.n; i++)
        if (head_is(&books->in.list[i], "bottles"))
            return true;
    return false;
}

enum err
part_batches(struct build *b)
{
    struct books_of_batches books;
    TABLE_SECTION(b->model, "batches", "Batches finished", SHAPE_ROWS, columns);
    enum err e = read_books(b, false, &books);
    if (e == ERR_OK && has_rework(&books)) {
        books_done(&books);
        e = read_books(b, true, &books);
    }
    if (e == ERR_OK)
        e = fill_rows(b, &books);
    books_done(&books);
    return e;
}
