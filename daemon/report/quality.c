/* quality.c - what is missing, late, corrected or does not fit (R7, R8, Q3, G2). */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/part.h"
#include "proto/fields.h"
#include "proto/when.h"

static const struct column missing_columns[] = {
    {"site", "site", "", false},
    {"day", "day", "", false},
};

static const struct column late_columns[] = {
    {"record", "record", "", false}, {"kind", "kind", "", false},     {"site", "site", "", false},
    {"month", "month", "", false},   {"mass_kg", "mass", "kg", true},
};

/* The first four since version 1 of the tables. */
static const struct column correction_columns[] = {
    {"record", "record", "", false},
    {"by", "corrected by", "", false},
    {"void", "void", "", false},
    {"reason", "reason", "", false},
};

static const struct column corrector_columns[] = {
    {"record", "record", "", false}, {"kind", "kind", "", false}, {"site", "site", "", false},
    {"who", "who", "", false},       {"at", "when", "", false},
};

static const struct column change_columns[] = {
    {"record", "record", "", false},
    {"field", "field", "", false},
    {"before", "as first written", "", false},
    {"after", "as it counts", "", false},
};

static const struct column discrepancy_columns[] = {
    {"code", "what", "", false}, {"record", "record", "", false},   {"subject", "about", "", false},
    {"site", "site", "", false}, {"settled", "settled", "", false},
};

static const struct column sample_columns[] = {
    {"site", "site", "", false}, {"day", "of day", "", false}, {"from", "weighed from", "", false},
    {"to", "to", "", false},     {"days", "days", "", true},   {"size", "weighings", "", true},
};

static const struct column share_columns[] = {
    {"estimated_share_pct", "not weighed", "%", true},
};

/* ---- R8 */

static bool
is_cafe(const struct build *b, const char *site, int32_t day)
{
    const Knockbox__Site *version = (const Knockbox__Site *)catalogue_get(
        b->in->catalogue, KNOCKBOX__RECORD__BODY_SITE_, site, day);
    return version != NULL && version->role == KNOCKBOX__ROLE__ROLE_CAFE;
}

/* The site's own line of the calendar wins over that of all sites. */
bool
quality_is_open(const struct build *b, const char *site, int32_t day)
{
    char key[96], text[DAY_TEXT];
    (void)snprintf(key, sizeof key, "%s|%s", site, day_print(day, text));
    const Knockbox__Calendar *line = (const Knockbox__Calendar *)catalogue_get(
        b->in->catalogue, KNOCKBOX__RECORD__BODY_CALENDAR, key, day);
    if (line == NULL) {
        (void)snprintf(key, sizeof key, "|%s", text);
        line = (const Knockbox__Calendar *)catalogue_get(b->in->catalogue,
                                                         KNOCKBOX__RECORD__BODY_CALENDAR, key, day);
    }
    return line == NULL || line->open;
}

static void
fill_missing_of(struct build *b, const struct stock_row *site)
{
    char text[DAY_TEXT];
    for (int32_t day = site->from; day <= site->to && day <= b->newest_day; day++) {
        if (!is_cafe(b, site->site, day) || !catalogue_inside(b->in->catalogue, site->site, day) ||
            !quality_is_open(b, site->site, day) ||
            books_line(b->in->books, MEASURE_DAY_CLOSED, b->in->month, site->site,
                       day_print(day, text)) > 0)
            continue;
        table_row(b->model);
        table_set(b->model, "site", site->site);
        table_set(b->model, "day", day_print(day, text));
    }
}

static void
fill_missing(struct build *b)
{
    TABLE_SECTION(b->model, "quality.missing_days", "Days without a close", SHAPE_ROWS,
                  missing_columns);
    for (size_t i = 0; i < b->n_stock; i++)
        if (b->stock[i].boundary)
            fill_missing_of(b, &b->stock[i]);
}

/* ---- R7, Q3 */

static void
fill_late(struct build *b)
{
    TABLE_SECTION(b->model, "quality.late_arrivals", "Came too late for a closed month", SHAPE_ROWS,
                  late_columns);
    for (size_t i = 0; i < b->in->n_late; i++) {
        const struct report_late *late = &b->in->late[i];
        char month[MONTH_TEXT];
        table_row(b->model);
        table_set(b->model, "record", late->record);
        table_set(b->model, "kind", late->kind);
        table_set(b->model, "site", late->site);
        table_set(b->model, "month", month_print(late->month, month));
        if (late->has_mass)
            build_kg(b, "mass_kg", late->mass_g);
        else
            table_set(b->model, "mass_kg", NULL);
    }
}

static void
fill_corrections(struct build *b)
{
    TABLE_SECTION(b->model, "quality.corrections", "Corrections", SHAPE_ROWS, correction_columns);
    for (size_t i = 0; i < b->in->n_corrections; i++) {
        const struct report_correction *correction = &b->in->corrections[i];
        table_row(b->model);
        table_set(b->model, "record", correction->record);
        table_set(b->model, "by", correction->by);
        table_set_bool(b->model, "void", correction->is_void);
        table_set(b->model, "reason", correction->reason);
    }
}

static void
fill_correctors(struct build *b)
{
    TABLE_SECTION(b->model, "quality.correctors", "Who corrected, and when", SHAPE_ROWS,
                  corrector_columns);
    for (size_t i = 0; i < b->in->n_corrections; i++) {
        const struct report_correction *correction = &b->in->corrections[i];
        table_row(b->model);
        table_set(b->model, "record", correction->record);
        table_set(b->model, "kind", correction->kind);
        table_set(b->model, "site", correction->site);
        table_set(b->model, "who", correction->who[0] != '\0' ? correction->who : NULL);
        table_set(b->model, "at", correction->at);
    }
}

static void
fill_changes(struct build *b)
{
    TABLE_SECTION(b->model, "quality.changes", "What they changed", SHAPE_ROWS, change_columns);
    for (size_t i = 0; i < b->in->n_changes; i++) {
        const struct report_change *change = &b->in->changes[i];
        table_row(b->model);
        table_set(b->model, "record", change->record);
        table_set(b->model, "field", change->field);
        table_set(b->model, "before", change->before);
        table_set(b->model, "after", change->after);
    }
}

/* How a discrepancy was settled; NULL: it is open. */
static const char *
settled(const struct build *b, const char *key)
{
    const Knockbox__Settle *settle = (const Knockbox__Settle *)catalogue_at(
        b->in->catalogue, KNOCKBOX__RECORD__BODY_SETTLE, key, INT64_MAX);
    return settle != NULL ? enum_word(&knockbox__outcome__descriptor, (int)settle->outcome) : NULL;
}

/* code/record/subject, each compared on its own. */
static int
by_parts(const void *a, const void *b)
{
    const struct tally_line *x = a, *y = b;
    const char *p = x->key, *q = y->key;
    for (int part = 0; part < 3; part++) {
        size_t n = part < 2 ? strcspn(p, "/") : strlen(p);
        size_t m = part < 2 ? strcspn(q, "/") : strlen(q);
        int order = memcmp(p, q, n < m ? n : m);
        if (order != 0 || n != m)
            return order != 0 ? order : n < m ? -1 : 1;
        p += n + (part < 2);
        q += m + (part < 2);
    }
    return strcmp(x->site, y->site);
}

static void
fill_discrepancy(struct build *b, const struct tally_line *line)
{
    const char *record = strchr(line->key, '/');
    const char *subject = record != NULL ? strchr(record + 1, '/') : NULL;
    if (subject == NULL)
        return;
    table_row(b->model);
    table_set(b->model, "code", table_text(b->model, "%.*s", (int)(record - line->key), line->key));
    table_set(b->model, "record",
              table_text(b->model, "%.*s", (int)(subject - record - 1), record + 1));
    table_set(b->model, "subject", subject + 1);
    table_set(b->model, "site", line->site);
    table_set(b->model, "settled", settled(b, line->key));
}

static enum err
fill_discrepancies(struct build *b)
{
    struct tally tally;
    TABLE_SECTION(b->model, "quality.discrepancies", "What does not fit", SHAPE_ROWS,
                  discrepancy_columns);
    enum err e = tally_of(b->in->books, MEASURE_DISCREPANCY, b->in->month, b->in->month, true,
                          &tally, b->why);
    if (e == ERR_OK && tally.n > 1)
        qsort(tally.lines, tally.n, sizeof *tally.lines, by_parts);
    for (size_t i = 0; e == ERR_OK && i < tally.n; i++)
        if (tally.lines[i].amount > 0)
            fill_discrepancy(b, &tally.lines[i]);
    tally_done(&tally);
    return e;
}

/* "day|from|to|days|size": the next part of it; NULL for an empty one. */
static const char *
next_part(struct build *b, const char **at)
{
    size_t len = strcspn(*at, "|");
    const char *part = len > 0 ? table_text(b->model, "%.*s", (int)len, *at) : NULL;
    *at += len + ((*at)[len] == '|');
    return part;
}

static int
by_site_and_key(const void *a, const void *b)
{
    const struct tally_line *x = a, *y = b;
    int order = strcmp(x->site, y->site);
    return order != 0 ? order : strcmp(x->key, y->key);
}

/* How sampled figures came about: which days were weighed, how often. */
static enum err
fill_samples(struct build *b)
{
    static const char *const keys[] = {"day", "from", "to", "days", "size"};
    struct tally tally;
    TABLE_SECTION(b->model, "quality.samples", "Figures by sample", SHAPE_ROWS, sample_columns);
    enum err e =
        tally_of(b->in->books, MEASURE_SAMPLED, b->in->month, b->in->month, true, &tally, b->why);
    if (e == ERR_OK && tally.n > 1)
        qsort(tally.lines, tally.n, sizeof *tally.lines, by_site_and_key);
    for (size_t i = 0; e == ERR_OK && i < tally.n; i++) {
        const char *at = tally.lines[i].key;
        table_row(b->model);
        table_set(b->model, "site", tally.lines[i].site);
        for (size_t j = 0; j < sizeof keys / sizeof keys[0]; j++)
            table_set(b->model, keys[j], next_part(b, &at));
    }
    tally_done(&tally);
    return e;
}

enum err
part_quality(struct build *b)
{
    fill_missing(b);
    fill_late(b);
    fill_corrections(b);
    if (b->in->tables == 0 || b->in->tables >= 3) {
        fill_correctors(b);
        fill_changes(b);
    }
    enum err e = fill_discrepancies(b);
    if (e == ERR_OK)
        e = fill_samples(b);
    if (e != ERR_OK)
        return e;
    TABLE_SECTION(b->model, "quality", "Share", SHAPE_FIELDS, share_columns);
    build_pct(b, "estimated_share_pct", b->generated_g - b->weighed_g, b->generated_g);
    return ERR_OK;
}
