/* report.c - from books to the tables of a month: the parts in the order of the print. */
#include "daemon/report/report.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/part.h"
#include "proto/when.h"

static const struct column head_columns[] = {
    {"site", "site", "", false},
    {"epoch", "epoch", "", true},
    {"seq", "number", "", true},
    {"hash", "hash", "", false},
};

static const struct column caution_columns[] = {
    {"", "", "", false},
};

static void
fill_heads(struct build *b)
{
    TABLE_SECTION(b->model, "heads", "Chain heads", SHAPE_ROWS, head_columns);
    for (size_t i = 0; i < b->in->n_heads; i++) {
        const struct report_head *head = &b->in->heads[i];
        char hex[65];
        for (size_t j = 0; j < 32; j++)
            (void)snprintf(hex + 2 * j, 3, "%02x", head->hash[j]);
        table_row(b->model);
        table_set(b->model, "site", head->site);
        build_whole(b, "epoch", head->epoch);
        build_whole(b, "seq", (int64_t)head->seq);
        table_set(b->model, "hash", hex);
    }
}

enum err
part_end(struct build *b)
{
    fill_heads(b);
    TABLE_SECTION(b->model, "cautions", "Cautions", SHAPE_LIST, caution_columns);
    for (size_t i = 0; i < b->n_cautions; i++) {
        table_row(b->model);
        table_set(b->model, "", b->cautions[i]);
    }
    return b->out_of_memory ? err_set(ERR_MEM, b->why, "out of memory for the report") : ERR_OK;
}

/* R8: the newest day of any record, as far as this month needs it. */
static bool
newest_of(void *owner, const struct posting *line)
{
    struct build *b = owner;
    int32_t day = 0;
    if (line->month > b->in->month)
        b->newest_day = b->last_day;
    else if (day_parse(line->key, &day) && day > b->newest_day)
        b->newest_day = day;
    return b->newest_day < b->last_day;
}

void
build_look_up(struct build *b)
{
    const struct span *span = b->in->span;
    b->first_day = span != NULL ? span->from : month_first_day(b->in->month);
    b->last_day = span != NULL ? span->to : month_last_day(b->in->month);
    b->newest_day = INT32_MIN;
    books_walk(b->in->books, MEASURE_RECORDS, b->in->month, INT32_MAX, newest_of, b);
    b->basis = (const Knockbox__Basis *)catalogue_get(
        b->in->catalogue, KNOCKBOX__RECORD__BODY_BASIS, "", b->first_day);
    b->edition =
        b->in->edition != NULL
            ? b->in->edition
            : catalogue_newest_key(b->in->catalogue, KNOCKBOX__RECORD__BODY_FACTORS, b->last_day);
}

enum err
report_build(const struct report_input *input, struct table_model **out_model, struct err_text *why)
{
    static part_fn *const parts[] = {
        part_period,    part_grounds,   part_stock,   part_uses,  part_waste,
        part_emissions, part_product,   part_batches, part_costs, part_quality,
        part_safety,    part_base_year, part_capture, part_end,
    };
    struct build b = {.in = input, .why = why};
    enum err e = table_new(&b.model, why);
    if (e != ERR_OK)
        return e;
    build_look_up(&b);
    e = stock_of(&b);
    if (e == ERR_OK)
        e = endings_of(&b);
    for (size_t i = 0; e == ERR_OK && i < sizeof parts / sizeof parts[0]; i++)
        e = parts[i](&b);
    if (e == ERR_OK)
        e = table_error(b.model, why);
    free(b.stock);
    free(b.endings);
    free(b.cautions);
    if (e == ERR_OK)
        *out_model = b.model;
    else
        table_free(b.model);
    return e;
}
