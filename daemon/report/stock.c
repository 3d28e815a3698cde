/* stock.c - the balance of tubs, one row a site, and its part of the report (S1, S2). */
#include <stdlib.h>
#include <string.h>
#include "daemon/report/part.h"

static const char in_transit[] = "in-transit";

struct adding {
    struct build *b;
    size_t offset; /* of the member of struct stock_row */
    int64_t sign;
    enum err e;
};

static int
compare_sites(const char *a, const char *b)
{
    bool last_a = strcmp(a, in_transit) == 0, last_b = strcmp(b, in_transit) == 0;
    return last_a != last_b ? (last_a ? 1 : -1) : strcmp(a, b);
}

/* The row of a site, a new one in its place when there is none. NULL: out of memory. */
static struct stock_row *
row_of(struct build *b, const char *site)
{
    size_t low = 0, high = b->n_stock;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (compare_sites(b->stock[middle].site, site) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    if (low < b->n_stock && strcmp(b->stock[low].site, site) == 0)
        return &b->stock[low];
    struct stock_row *rows = realloc(b->stock, (b->n_stock + 1) * sizeof *rows);
    if (rows == NULL)
        return NULL;
    b->stock = rows;
    memmove(&rows[low + 1], &rows[low], (b->n_stock - low) * sizeof *rows);
    rows[low] = (struct stock_row){.site = site};
    b->n_stock++;
    return &rows[low];
}

static bool
add_line(void *owner, const struct posting *line)
{
    struct adding *adding = owner;
    struct stock_row *row = row_of(adding->b, line->site);
    if (row == NULL) {
        adding->e = err_set(ERR_MEM, adding->b->why, "out of memory for the report");
        return false;
    }
    *(int64_t *)(void *)((char *)row + adding->offset) += adding->sign * line->amount;
    return true;
}

static enum err
add(struct build *b, const struct books *books, enum measure measure, int32_t first, int32_t last,
    size_t offset, int64_t sign)
{
    struct adding adding = {b, offset, sign, ERR_OK};
    books_walk(books, measure, first, last, add_line, &adding);
    return adding.e;
}

static const struct {
    enum measure measure;
    int64_t sign; /* in the balance */
    size_t offset;
} parts[] = {
    {MEASURE_FILLED, 1, offsetof(struct stock_row, filled_g)},
    {MEASURE_RECEIVED, 1, offsetof(struct stock_row, received_g)},
    {MEASURE_SENT, -1, offsetof(struct stock_row, sent_g)},
    {MEASURE_REJECTED, -1, offsetof(struct stock_row, rejected_g)},
    {MEASURE_USED, -1, offsetof(struct stock_row, used_g)},
    {MEASURE_UNEXPLAINED_RECEIPT, 1, offsetof(struct stock_row, receipt_g)},
    {MEASURE_UNEXPLAINED_COUNT, 1, offsetof(struct stock_row, count_g)},
    {MEASURE_UNEXPLAINED_OVERDRAW, 1, offsetof(struct stock_row, overdraw_g)},
    {MEASURE_UNEXPLAINED_EMPTY, 1, offsetof(struct stock_row, empty_g)},
};

/* The balance at the end of the month before, by some books, into one member. */
static enum err
add_before(struct build *b, const struct books *books, size_t offset)
{
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < sizeof parts / sizeof parts[0]; i++)
        e = add(b, books, parts[i].measure, INT32_MIN, b->in->month - 1, offset, parts[i].sign);
    return e;
}

static bool
note_counted(void *owner, const struct posting *line)
{
    struct build *b = owner;
    for (size_t i = 0; i < b->n_stock; i++)
        if (strcmp(b->stock[i].site, line->site) == 0)
            b->stock[i].counted = true;
    return true;
}

static enum err
add_sites(struct build *b)
{
    const char *const *sites = NULL;
    unsigned n = catalogue_keys(b->in->catalogue, KNOCKBOX__RECORD__BODY_SITE_, &sites);
    struct stock_row *row = b->in->site == NULL ? row_of(b, in_transit) : NULL;
    if (row == NULL && b->in->site == NULL)
        return err_set(ERR_MEM, b->why, "out of memory for the report");
    if (row != NULL)
        row->counted = true; /* nobody can count a van; the books stand for it */
    for (unsigned i = 0; i < n; i++) {
        int32_t from = 0, to = 0;
        if (b->in->site != NULL && strcmp(b->in->site, sites[i]) != 0)
            continue;
        if (!build_days(b, sites[i], &from, &to))
            continue;
        row = row_of(b, sites[i]);
        if (row == NULL)
            return err_set(ERR_MEM, b->why, "out of memory for the report");
        row->boundary = true;
        row->from = from;
        row->to = to;
    }
    return ERR_OK;
}

static void
sum_rows(struct build *b)
{
    b->stock_all = (struct stock_row){.site = "all", .counted = true};
    for (size_t i = 0; i < b->n_stock; i++) {
        struct stock_row *row = &b->stock[i];
        if (b->in->before == NULL)
            row->opening_g = row->before_g;
        row->late_g = row->before_g - row->opening_g;
        for (size_t j = 0; j < sizeof parts / sizeof parts[0]; j++)
            *(int64_t *)(void *)((char *)&b->stock_all + parts[j].offset) +=
                *(const int64_t *)(const void *)((const char *)row + parts[j].offset);
        b->stock_all.opening_g += row->opening_g;
        b->stock_all.late_g += row->late_g;
        if (!row->counted && !stock_is_zero(row))
            b->stock_all.counted = false;
    }
}

enum err
stock_of(struct build *b)
{
    enum err e = add_sites(b);
    for (size_t i = 0; e == ERR_OK && i < sizeof parts / sizeof parts[0]; i++)
        e = add(b, b->in->books, parts[i].measure, b->in->month, b->in->month, parts[i].offset, 1);
    if (e == ERR_OK)
        e = add_before(b, b->in->books, offsetof(struct stock_row, before_g));
    if (e == ERR_OK && b->in->before != NULL)
        e = add_before(b, b->in->before, offsetof(struct stock_row, opening_g));
    if (e != ERR_OK)
        return e;
    books_walk(b->in->books, MEASURE_COUNTED, b->in->month, b->in->month, note_counted, b);
    sum_rows(b);
    return ERR_OK;
}

int64_t
stock_unexplained(const struct stock_row *row)
{
    return row->receipt_g + row->count_g + row->overdraw_g + row->empty_g;
}

/* In total sent is received, so the same formula holds. */
int64_t
stock_expected(const struct stock_row *row)
{
    return row->opening_g + row->late_g + row->filled_g + row->received_g - row->sent_g -
           row->rejected_g - row->used_g;
}

bool
stock_is_zero(const struct stock_row *row)
{
    return (row->opening_g | row->late_g | row->filled_g | row->received_g | row->sent_g |
            row->rejected_g | row->used_g | row->receipt_g | row->count_g | row->overdraw_g |
            row->empty_g) == 0;
}

/* ---- the part */

static const struct column columns[] = {
    {"site", "site", "", false},
    {"opening_kg", "opening", "kg", true},
    {"late_kg", "late from closed months", "kg", true},
    {"filled_kg", "filled", "kg", true},
    {"received_kg", "received", "kg", true},
    {"sent_kg", "sent", "kg", true},
    {"rejected_kg", "thrown away", "kg", true},
    {"used_kg", "used in batches", "kg", true},
    {"expected_kg", "expected", "kg", true},
    {"closing_kg", "closing", "kg", true},
    {"unexplained_kg", "unexplained", "kg", true},
    {"unexplained_by.receipt_kg", "of it at receipt", "kg", true},
    {"unexplained_by.count_kg", "of it by counts", "kg", true},
    {"unexplained_by.overdraw_kg", "of it taken over the books", "kg", true},
    {"unexplained_by.empty_kg", "of it in empty tubs", "kg", true},
    {"counted_kg", "counted", "kg", true},
    {"unexplained_pct", "unexplained", "%", true},
};

static void
fill(struct build *b, const struct stock_row *row, int64_t base_g)
{
    const int64_t unexplained_g = stock_unexplained(row);
    const int64_t closing_g = stock_expected(row) + unexplained_g;
    build_kg(b, "opening_kg", row->opening_g);
    build_kg(b, "late_kg", row->late_g);
    build_kg(b, "filled_kg", row->filled_g);
    build_kg(b, "received_kg", row->received_g);
    build_kg(b, "sent_kg", row->sent_g);
    build_kg(b, "rejected_kg", row->rejected_g);
    build_kg(b, "used_kg", row->used_g);
    build_kg(b, "expected_kg", stock_expected(row));
    build_kg(b, "closing_kg", closing_g);
    build_kg(b, "unexplained_kg", unexplained_g);
    build_kg(b, "unexplained_by.receipt_kg", row->receipt_g);
    build_kg(b, "unexplained_by.count_kg", row->count_g);
    build_kg(b, "unexplained_by.overdraw_kg", row->overdraw_g);
    build_kg(b, "unexplained_by.empty_kg", row->empty_g);
    if (row->counted)
        build_kg(b, "counted_kg", closing_g);
    else
        table_set(b->model, "counted_kg", NULL);
    build_pct(b, "unexplained_pct", unexplained_g, base_g);
}

enum err
part_stock(struct build *b)
{
    const struct stock_row *all = &b->stock_all;
    table_section(b->model, "stock", "Stock of tubs", SHAPE_FIELDS, columns + 1,
                  sizeof columns / sizeof columns[0] - 1);
    int64_t came_g = b->in->site != NULL ? all->received_g : 0; /* one site: its row, S2 */
    fill(b, all, all->opening_g + all->late_g + all->filled_g + came_g);
    TABLE_SECTION(b->model, "stock.sites", "Stock of tubs by site", SHAPE_ROWS, columns);
    for (size_t i = 0; i < b->n_stock; i++) {
        const struct stock_row *row = &b->stock[i];
        bool always = row->boundary || strcmp(row->site, in_transit) == 0;
        if (!always && stock_is_zero(row))
            continue;
        table_row(b->model);
        table_set(b->model, "site", row->site);
        fill(b, row, row->opening_g + row->late_g + row->filled_g + row->received_g);
    }
    return ERR_OK;
}
