/* month.c - see month.h. */
#include "tests/report/month.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/report_month.h"

static void
must(enum err e, const struct err_text *why, const char *doing)
{
    if (e == ERR_OK)
        return;
    fprintf(stderr, "month: %s: %s: %s\n", doing, err_word(e), why->s);
    abort();
}

char *
month_text(struct play *play, const char *month, bool people)
{
    struct err_text why = {.s = ""};
    struct report_ask ask = {.month = play_month(month), .version = REPORT_AS_IT_STANDS};
    struct table_model *model = NULL;
    char *text = NULL;
    must(report_month(play_ledger(play), play_store(play), &ask, &model, &why), &why, month);
    must(people ? report_text(model, &text, &why) : report_json(model, &text, &why), &why, month);
    table_free(model);
    return text;
}

json_t *
month_asked(struct play *play, const struct report_ask *ask)
{
    struct err_text why = {.s = ""};
    struct table_model *model = NULL;
    char *text = NULL;
    must(report_month(play_ledger(play), play_store(play), ask, &model, &why), &why, "a report");
    must(report_json(model, &text, &why), &why, "a report");
    json_t *report = json_loads(text, 0, NULL);
    if (report == NULL) {
        fprintf(stderr, "month: %s\n", text);
        abort();
    }
    table_free(model);
    free(text);
    return report;
}

json_t *
month_json(struct play *play, const char *month)
{
    struct report_ask ask = {.month = play_month(month), .version = REPORT_AS_IT_STANDS};
    return month_asked(play, &ask);
}

/* Is the element called so by its first text member? */
static bool
is_named(json_t *item, const char *name, size_t len)
{
    const char *key;
    json_t *value;
    json_object_foreach(item, key, value)
    {
        const char *text = json_string_value(value);
        return text != NULL && strlen(text) == len && strncmp(text, name, len) == 0;
    }
    return false;
}

static json_t *
step(const json_t *at, const char *name, size_t len)
{
    char key[128];
    size_t i;
    json_t *item;
    snprintf(key, sizeof key, "%.*s", (int)len, name);
    if (json_is_object(at))
        return json_object_get(at, key);
    json_array_foreach(at, i, item)
    {
        if (is_named(item, name, len))
            return item;
    }
    return key[0] >= '0' && key[0] <= '9' ? json_array_get(at, (size_t)atoi(key)) : NULL;
}

json_t *
month_at(const json_t *report, const char *path)
{
    const json_t *at = report;
    while (at != NULL && *path != '\0') {
        size_t len = strcspn(path, ".");
        at = step(at, path, len);
        path += len + (path[len] == '.');
    }
    return (json_t *)(uintptr_t)at;
}

const char *
month_word(const json_t *report, const char *path)
{
    const json_t *at = month_at(report, path);
    if (at == NULL)
        return "-";
    if (json_is_string(at))
        return json_string_value(at);
    return json_is_null(at)    ? "null"
           : json_is_true(at)  ? "true"
           : json_is_false(at) ? "false"
                               : "?";
}

static bool
differs(const char *path, const json_t *want, const json_t *got)
{
    char *a = json_dumps(want, JSON_ENCODE_ANY | JSON_COMPACT);
    char *b = got != NULL ? json_dumps(got, JSON_ENCODE_ANY | JSON_COMPACT) : NULL;
    fprintf(stderr, "%s: expected %s, got %s\n", path, a, b != NULL ? b : "nothing");
    free(a);
    free(b);
    return false;
}

static bool
same_list(const char *path, const json_t *want, const json_t *got)
{
    bool same = json_is_array(got) && json_array_size(got) == json_array_size(want);
    if (!same)
        fprintf(stderr, "%s: expected %zu rows, got %zu\n", path, json_array_size(want),
                json_array_size(got));
    for (size_t i = 0; i < json_array_size(want); i++) {
        char below[256];
        snprintf(below, sizeof below, "%s[%zu]", path, i);
        if (!month_same(below, json_array_get(want, i), json_array_get(got, i)))
            return false;
    }
    return same;
}

bool
month_same(const char *path, const json_t *want, const json_t *got)
{
    const json_t *about = json_object_get(want, "about");
    if (about != NULL) {
        const char *text = json_string_value(got);
        double within = atof(json_string_value(json_object_get(want, "within")));
        bool near = text != NULL && fabs(atof(text) - atof(json_string_value(about))) <= within;
        return near || differs(path, want, got);
    }
    if (json_is_array(want))
        return same_list(path, want, got);
    if (!json_is_object(want))
        return json_equal(want, got) || differs(path, want, got);
    bool same = true;
    const char *key;
    json_t *value;
    json_object_foreach((json_t *)(uintptr_t)want, key, value)
    {
        char below[256];
        snprintf(below, sizeof below, "%s.%s", path, key);
        const json_t *other = json_object_get(got, key);
        same =
            (other != NULL ? month_same(below, value, other) : differs(below, value, NULL)) && same;
    }
    return same;
}

/* ---- what holds for any month */

static const char *
word_in(const json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));
    return text != NULL ? text : "0";
}

/* "-0.083" in thousandths, exactly. */
static int64_t
grams(const json_t *object, const char *key)
{
    const char *text = word_in(object, key), *dot = strchr(text, '.');
    int64_t whole = llabs(atoll(text)) * 1000 + (dot != NULL ? atoll(dot + 1) : 0);
    return text[0] == '-' ? -whole : whole;
}

static bool
equal(const char *what, int64_t a, int64_t b)
{
    if (a != b)
        fprintf(stderr, "%s: %lld g against %lld g\n", what, (long long)a, (long long)b);
    return a == b;
}

static bool
row_adds_up(const char *name, const json_t *row)
{
    int64_t expected = grams(row, "opening_kg") + grams(row, "late_kg") + grams(row, "filled_kg") +
                       grams(row, "received_kg") - grams(row, "sent_kg") -
                       grams(row, "rejected_kg") - grams(row, "used_kg");
    const json_t *by = json_object_get(row, "unexplained_by");
    int64_t unexplained = grams(by, "receipt_kg") + grams(by, "count_kg") +
                          grams(by, "overdraw_kg") + grams(by, "empty_kg");
    bool ok = equal(name, grams(row, "expected_kg"), expected);
    ok = equal(name, grams(row, "unexplained_kg"), unexplained) && ok;
    return equal(name, grams(row, "closing_kg"), expected + unexplained) && ok;
}

static bool
stock_adds_up(const json_t *stock)
{
    static const char *const keys[] = {"opening_kg", "late_kg",       "filled_kg", "received_kg",
                                       "sent_kg",    "rejected_kg",   "used_kg",   "expected_kg",
                                       "closing_kg", "unexplained_kg"};
    bool ok = row_adds_up("stock", stock);
    size_t i;
    json_t *row;
    const json_t *sites = json_object_get(stock, "sites");
    json_array_foreach(sites, i, row) ok = row_adds_up(word_in(row, "site"), row) && ok;
    for (size_t k = 0; k < sizeof keys / sizeof keys[0]; k++) {
        int64_t sum = 0;
        json_array_foreach(sites, i, row) sum += grams(row, keys[k]);
        ok = equal(keys[k], grams(stock, keys[k]), sum) && ok;
    }
    return equal("sent is received", grams(stock, "sent_kg"), grams(stock, "received_kg")) && ok;
}

static int64_t
sum_of(const json_t *list, const char *key)
{
    int64_t sum = 0;
    size_t i;
    json_t *row;
    json_array_foreach(list, i, row) sum += grams(row, key);
    return sum;
}

/* What ended in products for people: no waste, and in no total. */
static int64_t
in_products(const json_t *list)
{
    size_t i;
    json_t *row;
    json_array_foreach(list, i, row)
    {
        if (strcmp(word_in(row, "destination"), "product") == 0)
            return grams(row, "kg");
    }
    return 0;
}

/* W6; W10 with the waste basis. */
static bool
waste_adds_up(const json_t *report)
{
    const json_t *waste = json_object_get(report, "waste");
    bool is_waste = strcmp(word_in(report, "basis"), "waste") == 0;
    int64_t in = grams(waste, "generated_kg") + grams(waste, "late_kg") + grams(waste, "gap_kg");
    if (is_waste)
        in += grams(waste, "taken_up_kg") +
              grams(json_object_get(report, "stock"), "unexplained_kg") - grams(waste, "drain_kg");
    int64_t out = grams(waste, "diverted_kg") + grams(waste, "disposed_kg") +
                  grams(waste, "waiting_kg") - grams(waste, "waiting_opening_kg");
    int64_t ended = grams(waste, "diverted_kg") + grams(waste, "disposed_kg");
    const json_t *list = json_object_get(waste, "by_destination");
    bool ok = equal("W6", in, out);
    ok = equal("on and off site", grams(waste, "onsite_kg") + grams(waste, "offsite_kg"), ended) &&
         ok;
    int64_t elsewhere = grams(waste, "drain_kg") + in_products(list);
    ok = equal("by destination", sum_of(list, "kg"), ended + elsewhere) && ok;
    const json_t *lines = json_object_get(json_object_get(report, "emissions"), "lines");
    return equal("emission lines", sum_of(lines, "kg"), sum_of(list, "kg")) && ok;
}

bool
month_adds_up(const json_t *report)
{
    const json_t *grounds = json_object_get(report, "grounds");
    const json_t *by = json_object_get(grounds, "by_method");
    int64_t methods = grams(by, "weighed_kg") + grams(by, "counted_kg") + grams(by, "sampled_kg") +
                      grams(by, "estimated_kg");
    bool ok = equal("by method", methods, grams(grounds, "generated_kg"));
    ok = equal("captured and not", grams(grounds, "captured_kg") + grams(grounds, "uncaptured_kg"),
               methods) &&
         ok;
    ok = stock_adds_up(json_object_get(report, "stock")) && ok;
    return waste_adds_up(report) && ok;
}
