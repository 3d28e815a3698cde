/* product.c - what was made, and its value at list, delivered, sold and lost: never added up
 * (P1 to P3), one row a product and currency.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/part.h"

static const struct column columns[] = {
    {"product", "product", "", false},
    {"currency", "currency", "", false},
    {"made_g", "made", "g", true},
    {"made_ml", "made", "mL", true},
    {"bottles", "bottles", "", true},
    {"at_list_minor", "at list", "minor", true},
    {"delivered_minor", "delivered", "minor", true},
    {"sold_minor", "sold", "minor", true},
    {"lost_minor", "lost", "minor", true},
};

enum {
    MADE_G,
    MADE_ML,
    BOTTLES,
    LIST,
    DELIVERED,
    SOLD,
    LOST,
    N_FIGURES
};

struct row {
    char product[72];
    char currency[8];
    int64_t figures[N_FIGURES];
    bool unpriced[N_FIGURES];
};

struct rows {
    struct build *b;
    const char *currency; /* of the hub */
    struct row *list;
    size_t n, cap;
    int figure; /* that the walk fills */
    enum err e;
};

static const struct {
    int figure;
    const char *key, *word; /* word: as UNPRICED says it */
    enum measure measure;
} figures[] = {
    {MADE_G, "made_g", NULL, MEASURE_BOTTLED_G},
    {MADE_ML, "made_ml", NULL, MEASURE_BOTTLED_ML},
    {BOTTLES, "bottles", NULL, MEASURE_BOTTLED},
    {LIST, "at_list_minor", "list", MEASURE_AT_LIST},
    {DELIVERED, "delivered_minor", "delivered", MEASURE_DELIVERED},
    {SOLD, "sold_minor", NULL, MEASURE_SOLD},
    {LOST, "lost_minor", "lost", MEASURE_LOST},
};

static int
by_key(const void *a, const void *b)
{
    const struct row *x = a, *y = b;
    int order = strcmp(x->product, y->product);
    return order != 0 ? order : strcmp(x->currency, y->currency);
}

static struct row *
row_of(struct rows *rows, const char *product, size_t len, const char *currency, size_t len2)
{
    struct row want;
    memset(&want, 0, sizeof want);
    (void)snprintf(want.product, sizeof want.product, "%.*s", (int)len, product);
    (void)snprintf(want.currency, sizeof want.currency, "%.*s", (int)len2, currency);
    for (size_t i = 0; i < rows->n; i++)
        if (by_key(&rows->list[i], &want) == 0)
            return &rows->list[i];
    if (rows->n == rows->cap) {
        size_t more = rows->cap == 0 ? 16 : rows->cap * 2;
        struct row *bigger = realloc(rows->list, more * sizeof *bigger);
        if (bigger == NULL) {
            rows->e = err_set(ERR_MEM, rows->b->why, "out of memory for the report");
            return NULL;
        }
        rows->list = bigger;
        rows->cap = more;
    }
    rows->list[rows->n] = want;
    return &rows->list[rows->n++];
}

/* Keys "product" (made: in the hub's currency only) and "product|currency". */
static bool
add_figure(void *owner, const struct posting *line)
{
    struct rows *rows = owner;
    const char *bar = figures[rows->figure].figure <= BOTTLES ? NULL : strrchr(line->key, '|');
    size_t len = bar != NULL ? (size_t)(bar - line->key) : strlen(line->key);
    const char *currency = bar != NULL ? bar + 1 : rows->currency;
    struct row *row = row_of(rows, line->key, len, currency, strlen(currency));
    if (row != NULL)
        row->figures[rows->figure] += line->amount;
    return row != NULL;
}

/* "product|currency|which" */
static bool
add_unpriced(void *owner, const struct posting *line)
{
    struct rows *rows = owner;
    const char *which = strrchr(line->key, '|'), *currency = which;
    while (currency > line->key && currency[-1] != '|')
        currency--;
    struct row *row = row_of(rows, line->key, (size_t)(currency - line->key) - 1, currency,
                             (size_t)(which - currency));
    for (size_t i = 0; row != NULL && i < N_FIGURES; i++)
        if (figures[i].word != NULL && strcmp(figures[i].word, which + 1) == 0)
            row->unpriced[i] = true;
    return row != NULL;
}

static enum err
collect(struct rows *rows)
{
    const struct build *b = rows->b;
    for (int i = 0; rows->e == ERR_OK && i < N_FIGURES; i++) {
        rows->figure = i;
        books_walk(b->in->books, figures[i].measure, b->in->month, b->in->month, add_figure, rows);
    }
    if (rows->e == ERR_OK)
        books_walk(b->in->books, MEASURE_UNPRICED, b->in->month, b->in->month, add_unpriced, rows);
    if (rows->n > 1)
        qsort(rows->list, rows->n, sizeof *rows->list, by_key);
    return rows->e;
}

static bool
is_zero(const struct row *row)
{
    for (size_t i = 0; i < N_FIGURES; i++)
        if (row->figures[i] != 0 || row->unpriced[i])
            return false;
    return true;
}

static void
fill(struct build *b, const struct row *row)
{
    table_row(b->model);
    table_set(b->model, "product", row->product);
    table_set(b->model, "currency", row->currency[0] != '\0' ? row->currency : NULL);
    for (size_t i = 0; i < N_FIGURES; i++) {
        if (!row->unpriced[i]) {
            build_whole(b, figures[i].key, row->figures[i]);
            continue;
        }
        table_set(b->model, figures[i].key, NULL);
        build_caution(b, table_text(b->model, "%s: no price in %s, so no figure %s", row->product,
                                    row->currency[0] != '\0' ? row->currency : "its currency",
                                    figures[i].word));
    }
}

const char *
build_hub_currency(const struct build *b)
{
    const Knockbox__Site *site = (const Knockbox__Site *)catalogue_get(
        b->in->catalogue, KNOCKBOX__RECORD__BODY_SITE_, b->in->hub_site, b->last_day);
    return site != NULL && site->currency != NULL ? site->currency : "";
}

enum err
part_product(struct build *b)
{
    struct rows rows = {.b = b, .currency = build_hub_currency(b)};
    enum err e = collect(&rows);
    TABLE_SECTION(b->model, "product", "Product", SHAPE_ROWS, columns);
    for (size_t i = 0; e == ERR_OK && i < rows.n; i++)
        if (!is_zero(&rows.list[i]))
            fill(b, &rows.list[i]);
    free(rows.list);
    return e;
}
