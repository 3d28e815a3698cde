/* build.c - what several parts of a report need. */
#include <stdlib.h>
#include <string.h>
#include "daemon/report/part.h"
#include "proto/when.h"

void
build_caution(struct build *b, const char *text)
{
    if (text == NULL)
        return;
    if (b->n_cautions == b->cap_cautions) {
        size_t more = b->cap_cautions == 0 ? 16 : b->cap_cautions * 2;
        void *bigger = realloc(b->cautions, more * sizeof *b->cautions);
        if (bigger == NULL) {
            b->out_of_memory = true;
            return;
        }
        b->cautions = bigger;
        b->cap_cautions = more;
    }
    b->cautions[b->n_cautions++] = text;
}

void
build_kg(struct build *b, const char *key, int64_t g)
{
    char room[NUMBER_TEXT];
    table_set(b->model, key, number_kg(g, room));
}

void
build_whole(struct build *b, const char *key, int64_t value)
{
    char room[NUMBER_TEXT];
    table_set(b->model, key, number_whole(value, room));
}

void
build_pct(struct build *b, const char *key, int64_t part, int64_t whole)
{
    char room[NUMBER_TEXT];
    table_set(b->model, key, number_pct(part, whole, room));
}

bool
build_has_tables(const struct build *b, int32_t version)
{
    return b->in->tables == 0 || b->in->tables >= version;
}

int64_t
build_sum(const struct build *b, enum measure measure, const char *site)
{
    return books_sum(b->in->books, measure, b->in->month, b->in->month, site);
}

bool
build_is_waste_basis(const struct build *b)
{
    if (b->in->basis != REPORT_BASIS_IN_FORCE)
        return b->in->basis == REPORT_BASIS_WASTE;
    return b->basis != NULL && b->basis->basis == KNOCKBOX__BASIS_KIND__BASIS_KIND_WASTE;
}

bool
build_days(const struct build *b, const char *site, int32_t *out_first, int32_t *out_last)
{
    bool found = false;
    for (int32_t day = b->first_day; day <= b->last_day; day++) {
        if (!catalogue_inside(b->in->catalogue, site, day))
            continue;
        if (!found)
            *out_first = day;
        *out_last = day;
        found = true;
    }
    return found;
}

bool
build_keeps(enum measure measure)
{
    static const enum measure whole[] = {
        MEASURE_RECORDS,   MEASURE_BATCH_IN,      MEASURE_BATCH_OUT,   MEASURE_BATCH_ML,
        MEASURE_BATCH_DRY, MEASURE_BATCH_ABV,     MEASURE_BATCH_PRICE, MEASURE_BATCH_MADE,
        MEASURE_RUN_LOAD,  MEASURE_BATCH_BOTTLES, MEASURE_RUN_USED};
    for (size_t i = 0; i < sizeof whole / sizeof whole[0]; i++)
        if (whole[i] == measure)
            return true;
    return false;
}

/* ---- tallies */

struct tally_walk {
    struct tally *tally;
    bool by_site;
};

static bool
add_line(void *owner, const struct posting *line)
{
    struct tally_walk *walk = owner;
    struct tally *t = walk->tally;
    if (t->n == t->cap) {
        size_t more = t->cap == 0 ? 64 : t->cap * 2;
        void *bigger = realloc(t->lines, more * sizeof *t->lines);
        if (bigger == NULL) {
            t->e = ERR_MEM;
            return false;
        }
        t->lines = bigger;
        t->cap = more;
    }
    char *key = strdup(line->key);
    if (key == NULL) {
        t->e = ERR_MEM;
        return false;
    }
    t->lines[t->n++] = (struct tally_line){key, line->site, line->amount};
    return true;
}

static int
by_key(const void *a, const void *b)
{
    const struct tally_line *x = a, *y = b;
    int order = strcmp(x->key, y->key);
    return order != 0 ? order : strcmp(x->site, y->site);
}

static void
add_up(struct tally *t, bool by_site)
{
    size_t kept = 0;
    for (size_t i = 0; i < t->n; i++) {
        struct tally_line *line = &t->lines[i], *last = kept > 0 ? &t->lines[kept - 1] : NULL;
        if (last != NULL && strcmp(last->key, line->key) == 0 &&
            (!by_site || strcmp(last->site, line->site) == 0)) {
            last->amount += line->amount;
            free(line->key);
        } else {
            t->lines[kept++] = *line;
        }
    }
    t->n = kept;
}

enum err
tally_of(const struct books *books, enum measure measure, int32_t first, int32_t last, bool by_site,
         struct tally *out_tally, struct err_text *why)
{
    *out_tally = (struct tally){NULL, 0, 0, ERR_OK};
    struct tally_walk walk = {out_tally, by_site};
    books_walk(books, measure, first, last, add_line, &walk);
    if (out_tally->e != ERR_OK)
        return err_set(ERR_MEM, why, "out of memory for the report");
    if (out_tally->n > 1)
        qsort(out_tally->lines, out_tally->n, sizeof *out_tally->lines, by_key);
    add_up(out_tally, by_site);
    return ERR_OK;
}

void
tally_done(struct tally *tally)
{
    for (size_t i = 0; i < tally->n; i++)
        free(tally->lines[i].key);
    free(tally->lines);
    *tally = (struct tally){NULL, 0, 0, ERR_OK};
}

const struct tally_line *
tally_find(const struct tally *tally, const char *key)
{
    size_t low = 0, high = tally->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (strcmp(tally->lines[middle].key, key) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low < tally->n && strcmp(tally->lines[low].key, key) == 0 ? &tally->lines[low] : NULL;
}
