/* why.c - the records behind a number of a report: see why.h. */
#include "daemon/report/why.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/calc/destinations.h"
#include "daemon/record/record.h"
#include "daemon/report/gathered.h"
#include "daemon/report/why_items.h"
#include "proto/when.h"

static const struct column head_columns[] = {
    {"key", "figure", "", false}, {"value", "value", "", true},    {"unit", "unit", "", false},
    {"is", "it is a", "", false}, {"words", "that is", "", false},
};

static const struct column record_columns[] = {
    {"day", "day", "", false},
    {"site", "site", "", false},
    {"epoch", "epoch", "", true},
    {"seq", "number", "", true},
    {"kind", "kind", "", false},
    {"code", "about", "", false},
    {"amount", "amount", "", true},
    {"record", "record", "", false},
    {"corrected_by", "corrected by", "", false},
};

static const struct column part_columns[] = {
    {"part", "part", "", false},
    {"key", "figure", "", false},
    {"value", "value", "", true},
    {"unit", "unit", "", false},
};

static const struct column sum_columns[] = {
    {"left_out", "records left out: their parts come to 0", "", true},
    {"sum", "sum of these records", "", true},
    {"figure", "the report's figure", "", true},
    {"equal", "they are equal", "", false},
};

struct asking {
    struct ledger *ledger;
    struct gathered g;
    struct table_model *report, *out;
    struct build b; /* of the input; its model is `out` */
    struct why_figure figure;
    struct why_sum sum;
    struct why_items items;
    bool printed; /* the present pass is over the books that the month before was closed from */
    struct err_text *why;
};

/* ---- which postings */

static const char *
row_text(const struct asking *a, size_t column)
{
    const struct section *s = a->figure.section;
    const struct cell *cell = s->shape == SHAPE_ROWS ? table_cell(s, a->figure.row, column) : NULL;
    return cell != NULL && cell->type == CELL_TEXT ? cell->text : "";
}

/* "spirit 40 B-1" of batch "B-1", and of `word` "spirit" or NULL. */
static bool
is_of_batch(const char *key, const char *batch, const char *word)
{
    const char *space = strrchr(key, ' ');
    size_t len = word != NULL ? strlen(word) : 0;
    if (strcmp(space != NULL ? space + 1 : key, batch) != 0)
        return false;
    return word == NULL || (strncmp(key, word, len) == 0 && key[len] == ' ');
}

static bool
is_of_currency(const struct asking *a, const char *key)
{
    const char *bar = strrchr(key, '|'), *product = row_text(a, 0);
    size_t len = strlen(product);
    return bar != NULL && (size_t)(bar - key) == len && strncmp(key, product, len) == 0 &&
           strcmp(bar + 1, row_text(a, 1)) == 0;
}

static bool
is_row_line(const struct asking *a, const struct ending *ending)
{
    const struct cell *onsite = table_cell(a->figure.section, a->figure.row, 2);
    return ending_is(ending, row_text(a, 0)) && strcmp(ending->material, row_text(a, 1)) == 0 &&
           ending->onsite == (onsite->type == CELL_TRUE);
}

static bool
is_unquantified(struct asking *a, const struct ending *ending)
{
    struct emission_sum unused = {.any = {false}};
    bool quantified = false;
    (void)emission_add(&a->b, ending, &unused, &quantified);
    return !quantified;
}

static bool
ending_picked(struct asking *a, const struct why_term *term, const char *key)
{
    struct ending ending = ending_read(key, 1);
    bool ended = !ending_is(&ending, "sewer") && !ending_is(&ending, "product");
    bool diverted = calc_destination_diverted(calc_destination_at(ending.destination));
    switch (term->pick) {
    case WHY_DIVERTED:
        return ended && diverted;
    case WHY_DISPOSED:
        return ended && !diverted;
    case WHY_ONSITE:
        return ended && ending.onsite;
    case WHY_OFFSITE:
        return ended && !ending.onsite;
    case WHY_NOT_RECYCLED:
        return ended && !ending_recycled(&ending);
    case WHY_DESTINATION:
        return ending_is(&ending, term->word != NULL ? term->word : row_text(a, 0));
    case WHY_LINE:
        return is_row_line(a, &ending);
    default:
        return is_unquantified(a, &ending);
    }
}

static bool
is_picked(struct asking *a, const struct why_term *term, const char *key)
{
    switch (term->pick) {
    case WHY_ALL:
        return true;
    case WHY_WORD:
        return strcmp(key, term->word) == 0;
    case WHY_BATCH:
        return is_of_batch(key, row_text(a, 0), term->word);
    case WHY_PRODUCT:
        return strcmp(key, row_text(a, 0)) == 0 &&
               strcmp(row_text(a, 1), build_hub_currency(&a->b)) == 0;
    case WHY_CURRENCY:
        return is_of_currency(a, key);
    default:
        return ending_picked(a, term, key);
    }
}

static bool
is_when(const struct asking *a, enum why_when when, int32_t month)
{
    if (when == WHY_PRINTED && a->g.input.before == NULL)
        when = WHY_BEFORE; /* nothing was printed: as this report knows it */
    else if ((when == WHY_PRINTED) != a->printed)
        return false;
    return when == WHY_IN      ? month == a->g.input.month
           : when == WHY_UNTIL ? month <= a->g.input.month
                               : month < a->g.input.month;
}

/* The row of a site, or the site that the report is of. */
static bool
is_site(const struct asking *a, const struct posting *posting)
{
    if (a->g.input.site != NULL && !build_keeps(posting->measure) &&
        strcmp(a->g.input.site, posting->site) != 0)
        return false;
    return strcmp(a->figure.section->path, "stock.sites") != 0 ||
           strcmp(posting->site, row_text(a, 0)) == 0;
}

/* Of emissions, whose factor is the line's. */
static bool
is_by_line(enum why_scale scale)
{
    return scale == WHY_CO2E || scale == WHY_AVOIDED;
}

static enum err
listen(void *owner, const struct outcome_told *told)
{
    struct asking *a = owner;
    const struct posting *p = &told->posting;
    int64_t amount = 0;
    for (size_t i = 0; i < a->sum.n; i++) {
        const struct why_term *term = &a->sum.terms[i];
        if (term->measure == p->measure && is_when(a, term->when, p->month) && is_site(a, p) &&
            is_picked(a, term, p->key))
            amount += term->sign * p->amount;
    }
    if (amount == 0)
        return ERR_OK;
    return why_items_add(&a->items, told, amount, is_by_line(a->sum.scale), a->why);
}

static enum err
collect(struct asking *a)
{
    struct behind behind = {
        .held_most_ms = a->g.held_ms, .span = a->g.input.span, .told = listen, .owner = a};
    bool printed = false;
    for (size_t i = 0; i < a->sum.n; i++) {
        behind.classes |= ledger_classes_of(a->sum.terms[i].measure);
        printed = printed || a->sum.terms[i].when == WHY_PRINTED;
    }
    enum err e = ledger_behind(a->ledger, &behind, NULL, NULL, a->why);
    if (e != ERR_OK || !printed || a->g.input.before == NULL)
        return e;
    a->printed = true;
    behind.held_most_ms = a->g.before_ms;
    return ledger_behind(a->ledger, &behind, NULL, NULL, a->why);
}

/* ---- the records */

/* Amounts as text. Of emissions each record gets what it raises the sum by, so that the amounts
 * add up to the figure, which is rounded once. */
struct scale {
    enum why_scale how;
    int64_t sum;
    struct emission_sum co2e;
    struct avoided_sum avoided;
    struct tally masses; /* by line, of the records so far; keys are lent by the items */
    struct decimal before;
    char printed[NUMBER_TEXT]; /* the sum of the records so far, of emissions */
};

static enum err
scale_begin(struct asking *a, struct scale *out)
{
    const char *why_not = NULL;
    memset(out, 0, sizeof *out);
    out->how = a->sum.scale;
    (void)snprintf(out->printed, sizeof out->printed, "0");
    if (out->how != WHY_AVOIDED)
        return ERR_OK;
    out->masses.lines = calloc(a->items.n + 1, sizeof *out->masses.lines);
    return out->masses.lines != NULL ? avoided_begin(&a->b, &out->avoided, &why_not)
                                     : err_set(ERR_MEM, a->why, "out of memory for the report");
}

static void
scale_done(struct scale *scale)
{
    free(scale->masses.lines);
    avoided_done(&scale->avoided);
}

static const char *
scale_plain(enum why_scale how, int64_t amount, char room[NUMBER_TEXT])
{
    struct decimal dry = decimal_of(amount, 9);
    return how == WHY_KG    ? number_kg(amount, room)
           : how == WHY_DRY ? number_exact(&dry, room)
                            : number_whole(amount, room);
}

static enum err
add_inventory(struct asking *a, struct scale *scale, const struct why_item *item)
{
    bool quantified = false;
    struct ending ending = ending_read(item->line, item->amount);
    enum err e = emission_add(&a->b, &ending, &scale->co2e, &quantified);
    return e == ERR_OK ? emission_print(&scale->co2e, scale->printed, a->why) : e;
}

static enum err
add_avoided(struct asking *a, struct scale *scale, const struct why_item *item)
{
    struct tally *masses = &scale->masses;
    const char *why_not = NULL;
    size_t i = 0;
    while (i < masses->n && strcmp(masses->lines[i].key, item->line) != 0)
        i++;
    if (i == masses->n)
        masses->lines[masses->n++].key = (char *)(uintptr_t)item->line;
    masses->lines[i].amount += item->amount;
    return avoided_print(&scale->avoided, masses, scale->printed, &why_not, a->why);
}

static enum err
scale_co2e(struct asking *a, struct scale *scale, const struct why_item *item,
           char room[NUMBER_TEXT])
{
    struct decimal after, rise;
    enum err e =
        scale->how == WHY_AVOIDED ? add_avoided(a, scale, item) : add_inventory(a, scale, item);
    if (e == ERR_OK)
        e = decimal_parse(scale->printed, &after, a->why);
    if (e == ERR_OK)
        e = decimal_subtract(&after, &scale->before, &rise, a->why);
    if (e != ERR_OK)
        return e;
    scale->before = after;
    (void)number_exact(&rise, room);
    return ERR_OK;
}

static enum err
fill_standing(struct asking *a, const struct why_item *item)
{
    char text[ID_TEXT];
    struct standing at;
    struct correction correction;
    enum err e = ledger_standing(a->ledger, item->id, &at, a->why);
    if (e != ERR_OK)
        return e;
    table_set(a->out, "site", at.site);
    build_whole(&a->b, "epoch", at.epoch);
    build_whole(&a->b, "seq", (int64_t)at.seq);
    table_set(a->out, "record", id_print(item->id, text));
    e = ledger_correction(a->ledger, item->id, a->g.held_ms, &correction, a->why);
    if (e == ERR_OK)
        table_set(a->out, "corrected_by", id_print(correction.by, text));
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

/* A record that raises a rounded sum by nothing is there all the same. */
static enum err
fill_record(struct asking *a, struct scale *scale, const struct why_item *item)
{
    char amount[NUMBER_TEXT], day[DAY_TEXT];
    enum err e = ERR_OK;
    if (is_by_line(scale->how))
        e = scale_co2e(a, scale, item, amount);
    else
        (void)scale_plain(scale->how, item->amount, amount);
    scale->sum += item->amount;
    table_row(a->out);
    table_set(a->out, "day", day_print(item->day, day));
    table_set(a->out, "kind", item->kind);
    table_set(a->out, "code", item->code);
    if (e == ERR_OK)
        table_set(a->out, "amount", amount);
    return e == ERR_OK ? fill_standing(a, item) : e;
}

/* Emissions: masses without a factor are in no figure of kg CO2e. */
static bool
is_listed(struct asking *a, const struct why_item *item)
{
    struct ending ending = {.mass_g = 0};
    if (a->sum.scale != WHY_CO2E)
        return true;
    ending = ending_read(item->line, 1);
    return !is_unquantified(a, &ending);
}

static enum err
fill_records(struct asking *a, struct scale *scale)
{
    enum err e = ERR_OK;
    TABLE_SECTION(a->out, "why.records", "Records", SHAPE_ROWS, record_columns);
    for (size_t i = 0; e == ERR_OK && i < a->items.n; i++)
        if (is_listed(a, &a->items.list[i]))
            e = fill_record(a, scale, &a->items.list[i]);
    return e;
}

static enum err
fill_sum(struct asking *a, const char *value)
{
    char room[NUMBER_TEXT];
    struct scale scale;
    enum err e = collect(a);
    if (a->sum.balance)
        why_items_net(&a->items);
    why_items_sum(&a->items);
    enum err begun = scale_begin(a, &scale);
    e = e == ERR_OK ? begun : e;
    if (e == ERR_OK)
        e = fill_records(a, &scale);
    scale_done(&scale);
    if (e != ERR_OK)
        return e;
    const char *sum =
        is_by_line(scale.how) ? scale.printed : scale_plain(scale.how, scale.sum, room);
    TABLE_SECTION(a->out, "why", "Sum", SHAPE_FIELDS, sum_columns);
    if (a->sum.balance)
        build_whole(&a->b, "left_out", (int64_t)a->items.left_out);
    table_set(a->out, "sum", sum);
    table_set(a->out, "figure", value);
    table_set_bool(a->out, "equal", strcmp(sum, value) == 0);
    return ERR_OK;
}

/* ---- shares */

/* One figure of a share; ".opening_kg" stands in the same row. */
static void
fill_part(struct asking *a, const char *word, const char *key, const char *row_key)
{
    struct why_figure part = a->figure;
    const char *full = key;
    if (key[0] == '.') {
        full = table_text(a->out, "%s%s", row_key, key);
        for (part.column = 0; part.column + 1 < part.section->n_columns; part.column++)
            if (strcmp(part.section->columns[part.column].key, key + 1) == 0)
                break;
    } else if (why_find(a->report, key, &part, NULL) != ERR_OK) {
        return;
    }
    table_row(a->out);
    table_set(a->out, "part", word);
    table_set(a->out, "key", full);
    table_set(a->out, "value", table_cell(part.section, part.row, part.column)->text);
    table_set(a->out, "unit", part.section->columns[part.column].unit);
}

static void
fill_parts(struct asking *a, const char *word, const char *keys, const char *row_key)
{
    while (*keys != '\0') {
        char key[96];
        size_t len = strcspn(keys, " ");
        (void)snprintf(key, sizeof key, "%.*s", (int)len, keys);
        fill_part(a, word, key, row_key);
        keys += len + strspn(keys + len, " +");
    }
}

static void
fill_share(struct asking *a, const struct why_share *share, const char *key)
{
    const char *end = strchr(key, ']');
    const char *row_key = end != NULL ? table_text(a->out, "%.*s", (int)(end - key) + 1, key) : "";
    TABLE_SECTION(a->out, "why.parts", "Parts", SHAPE_ROWS, part_columns);
    fill_parts(a, "above the line", share->above, row_key != NULL ? row_key : "");
    fill_parts(a, "below it", share->below, row_key != NULL ? row_key : "");
}

/* ---- the whole */

static void
copy_fields(struct table_model *out, const struct section *s)
{
    table_section(out, s->path, s->title, s->shape, s->columns, s->n_columns);
    for (size_t i = 0; i < s->n_columns; i++)
        table_set(out, s->columns[i].key, table_cell(s, 0, i)->text);
}

static void
copy_head(struct table_model *out, const struct table_model *report)
{
    for (size_t i = 0; i < table_count(report); i++) {
        const struct section *s = table_at(report, i);
        bool head = strcmp(s->path, "period") == 0 ||
                    (s->path[0] == '\0' && s->n_columns == 1 &&
                     strstr(" basis basis_in_force site status edition ", s->columns[0].key));
        if (s->shape == SHAPE_FIELDS && head)
            copy_fields(out, s);
    }
}

static void
fill_head(struct asking *a, const char *key, const char *value, const char *is, const char *words)
{
    const struct column *column = &a->figure.section->columns[a->figure.column];
    TABLE_SECTION(a->out, "why", "Why", SHAPE_FIELDS, head_columns);
    table_set(a->out, "key", key);
    table_set(a->out, "value", value);
    table_set(a->out, "unit", column->unit);
    table_set(a->out, "is", is);
    table_set(a->out, "words", words);
}

static enum err
explain(struct asking *a, const char *key)
{
    const struct section *s = a->figure.section;
    const struct column *column = &s->columns[a->figure.column];
    const struct cell *cell = table_cell(s, a->figure.row, a->figure.column);
    const char *value = cell->type == CELL_TEXT ? cell->text : NULL;
    bool one_site = a->g.input.site != NULL;
    const struct why_share *share = why_share_of(s->path, column->key, one_site);
    bool sum = why_sum_of(s->path, column->key, build_is_waste_basis(&a->b), &a->sum);
    if (value != NULL && sum && strcmp(value, "not quantified") != 0) {
        fill_head(a, key, value, "sum", "What the records below give, added up.");
        return fill_sum(a, value);
    }
    if (share != NULL) {
        fill_head(a, key, value, "share", "100 x above the line / below it; ask for each of them.");
        fill_share(a, share, key);
        return ERR_OK;
    }
    fill_head(a, key, value, "other",
              value == NULL || sum ? "There is no such figure in this report: not known, not "
                                     "quantified, or without a price; see its cautions."
                                   : why_words_of(s->path, column->key));
    return ERR_OK;
}

static enum err
make(struct asking *a, struct store *store, const struct report_ask *ask, const char *key)
{
    enum err e = gathered_make(&a->g, a->ledger, store, ask, a->why);
    if (e == ERR_OK)
        e = report_build(&a->g.input, &a->report, a->why);
    if (e == ERR_OK)
        e = why_find(a->report, key, &a->figure, a->why);
    if (e == ERR_OK)
        e = table_new(&a->out, a->why);
    if (e != ERR_OK)
        return e;
    a->b = (struct build){.in = &a->g.input, .model = a->out, .why = a->why};
    build_look_up(&a->b);
    copy_head(a->out, a->report);
    e = explain(a, key);
    return e == ERR_OK ? table_error(a->out, a->why) : e;
}

enum err
report_why(struct ledger *ledger, struct store *store, const struct report_ask *ask,
           const char *key, struct table_model **out_model, struct err_text *why)
{
    struct asking a = {.ledger = ledger, .why = why};
    enum err e = make(&a, store, ask, key);
    why_items_done(&a.items);
    table_free(a.report);
    gathered_done(&a.g);
    if (e == ERR_OK)
        *out_model = a.out;
    else
        table_free(a.out);
    return e;
}
