/* word_hints.c - `hints`: what a guided close offers, out of the last days at this site. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/subjects.h"
#include "daemon/serve/missing.h"
#include "daemon/serve/next_label.h"
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"
#include "proto/fields.h"
#include "proto/when.h"

enum {
    OPEN_DAYS_BACK = 14,
    CLOSES_BACK = 14
};

struct hints {
    struct call *call;
    struct ledger *ledger;
    const char *site;
    int64_t now_ms;
    int offset_min;
    int32_t today;
    json_t *answer;
};

static void
put(struct hints *hints, const char *name, json_t *taken)
{
    (void)json_object_set_new(hints->answer, name, taken);
}

/* ---- the newest tub of the site: its coffee, place, box and label are offered again */

struct newest {
    const char *site;
    int64_t born_ms;
    int offset_min;
    char label[65], coffee[65], place[65];
    int64_t tare_g;
};

static bool
see_tub(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct newest *newest = owner;
    const Knockbox__TubRow *tub = (const Knockbox__TubRow *)row;
    if (tub->from_site == NULL || strcmp(tub->from_site, newest->site) != 0 ||
        tub->born_ms < newest->born_ms)
        return true;
    newest->born_ms = tub->born_ms;
    newest->offset_min = tub->offset_min;
    newest->tare_g = tub->tare_g;
    (void)snprintf(newest->label, sizeof newest->label, "%s", code);
    (void)snprintf(newest->coffee, sizeof newest->coffee, "%s",
                   tub->coffee != NULL ? tub->coffee : "");
    (void)snprintf(newest->place, sizeof newest->place, "%s", tub->place != NULL ? tub->place : "");
    return true;
}

/* The label after the last one that no tub has yet. */
static enum err
put_label(struct hints *hints, const char *last, struct err_text *why)
{
    char label[LABEL_TEXT];
    struct arena arena;
    enum err e = arena_init(&arena, ARENA_RECORD, why);
    if (e != ERR_OK)
        return e;
    next_label(last, hints->site, hints->today, label);
    for (int tries = 0; tries < 200; tries++) {
        ProtobufCMessage *row = NULL;
        char after[LABEL_TEXT];
        arena_reset(&arena);
        if (ledger_row(hints->ledger, SUBJECT_TUB, label, &arena, &row, why) != ERR_OK)
            break;
        next_label(label, hints->site, hints->today, after);
        memcpy(label, after, sizeof label);
    }
    arena_done(&arena);
    put(hints, "label", json_string(label));
    return ERR_OK;
}

static enum err
put_newest_tub(struct hints *hints, struct err_text *why)
{
    struct newest newest = {.site = hints->site, .born_ms = INT64_MIN};
    enum err e = ledger_rows(hints->ledger, SUBJECT_TUB, see_tub, &newest, why);
    if (e != ERR_OK)
        return e;
    put(hints, "coffee", show_text(newest.coffee));
    put(hints, "place", show_text(newest.place));
    put(hints, "tare_g", newest.born_ms != INT64_MIN ? json_integer(newest.tare_g) : json_null());
    put(hints, "tubs_today",
        json_boolean(newest.born_ms != INT64_MIN &&
                     catalogue_business_day(ledger_catalogue(hints->ledger), hints->site,
                                            newest.born_ms, newest.offset_min) == hints->today));
    return put_label(hints, newest.label, why);
}

/* ---- what the catalogue offers */

typedef json_t *describe_fn(const char *code, const ProtobufCMessage *message);

static json_t *
describe_coffee(const char *code, const ProtobufCMessage *message)
{
    const Knockbox__Coffee *coffee = (const Knockbox__Coffee *)message;
    return json_pack("{s:s, s:o}", "code", code, "name", show_text(coffee->name));
}

static json_t *
describe_place(const char *code, const ProtobufCMessage *message)
{
    const Knockbox__Place *place = (const Knockbox__Place *)message;
    return json_pack("{s:s, s:s, s:I, s:o, s:o}", "code", code, "class",
                     enum_word(&knockbox__place_class__descriptor, (int)place->class_),
                     "readings_per_day", (json_int_t)place->readings_per_day, "max_c",
                     show_text(place->max_c), "min_c", show_text(place->min_c));
}

static json_t *
describe_stream(const char *code, const ProtobufCMessage *message)
{
    const Knockbox__Stream *stream = (const Knockbox__Stream *)message;
    return json_pack("{s:s, s:o, s:s, s:s}", "code", code, "name", show_text(stream->name),
                     "destination",
                     enum_word(&knockbox__destination__descriptor, (int)stream->destination),
                     "material", enum_word(&knockbox__material__descriptor, (int)stream->material));
}

static json_t *
describe_staff(const char *code, const ProtobufCMessage *message)
{
    const Knockbox__Staff *staff = (const Knockbox__Staff *)message;
    return json_pack("{s:s, s:o}", "code", code, "name", show_text(staff->name));
}

/* Whose it is, NULL: everybody's. */
static const char *
owner_of(uint32_t kind, const ProtobufCMessage *message)
{
    switch (kind) {
    case KNOCKBOX__RECORD__BODY_PLACE:
        return ((const Knockbox__Place *)message)->for_site;
    case KNOCKBOX__RECORD__BODY_STREAM:
        return ((const Knockbox__Stream *)message)->for_site;
    case KNOCKBOX__RECORD__BODY_STAFF:
        return ((const Knockbox__Staff *)message)->for_site;
    default:
        return NULL;
    }
}

static void
put_choices(struct hints *hints, const char *name, uint32_t kind, describe_fn *describe)
{
    const struct catalogue *catalogue = ledger_catalogue(hints->ledger);
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(catalogue, kind, &keys);
    json_t *list = json_array();
    for (unsigned i = 0; i < n; i++) {
        const ProtobufCMessage *message = catalogue_get(catalogue, kind, keys[i], hints->today);
        const char *owner = message != NULL ? owner_of(kind, message) : NULL;
        if (message == NULL || (owner != NULL && strcmp(owner, hints->site) != 0))
            continue;
        (void)json_array_append_new(list, describe(keys[i], message));
    }
    put(hints, name, list);
}

static void
put_warm_limit(struct hints *hints)
{
    const Knockbox__Limits *limit =
        catalogue_limit(ledger_catalogue(hints->ledger), "warm-time", hints->site, hints->today);
    put(hints, "warm",
        limit == NULL
            ? json_pack("{s:s, s:s, s:s, s:n}", "value", "240", "unit", "min", "comparator",
                        "<=", "dated")
            : json_pack("{s:s, s:s, s:s, s:s, s:o}", "value", limit->value, "unit", limit->unit,
                        "comparator",
                        enum_word(&knockbox__comparator__descriptor, (int)limit->comparator),
                        "source", limit->source, "dated", show_day(limit->dated)));
}

/* ---- the last closes */

struct last_close {
    bool found;
    char by[17];
    char stream[65];
    int method;
    bool has_method;
};

static bool
see_close(void *owner, const struct fact *fact)
{
    struct last_close *last = owner;
    if (fact->kind->number != KNOCKBOX__RECORD__BODY_CLOSE)
        return true;
    const Knockbox__Close *close = fact->record->close;
    last->found = true;
    (void)snprintf(last->by, sizeof last->by, "%s",
                   fact->record->by != NULL ? fact->record->by : "");
    last->has_method = close->has_uncaptured_method;
    last->method = (int)close->uncaptured_method;
    (void)snprintf(last->stream, sizeof last->stream, "%s",
                   close->stream != NULL ? close->stream : "");
    return true;
}

static enum err
put_last_close(struct hints *hints, struct err_text *why)
{
    struct last_close last = {.found = false};
    enum err e = ERR_OK;
    for (int32_t day = hints->today; day > hints->today - CLOSES_BACK && !last.found; day--) {
        char code[SUBJECT_CODE_MAX];
        e = ledger_facts(hints->ledger, SUBJECT_DAY, subject_on_day(day, hints->site, code),
                         INT64_MAX, see_close, &last, why);
        if (e != ERR_OK && e != ERR_NOT_FOUND)
            return e;
        if (day == hints->today)
            put(hints, "closed_today", json_boolean(last.found));
    }
    put(hints, "by", show_text(last.by));
    put(hints, "close_stream", show_text(last.stream));
    put(hints, "close_method",
        last.has_method ? json_string(enum_word(&knockbox__method__descriptor, last.method))
                        : json_null());
    return ERR_OK;
}

static enum err
put_open_days(struct hints *hints, struct err_text *why)
{
    int32_t days[OPEN_DAYS_BACK + 1];
    size_t n = 0;
    json_t *list = json_array();
    enum err e = missing_days(hints->call, hints->site, hints->today - OPEN_DAYS_BACK, hints->today,
                              days, &n, why);
    for (size_t i = 0; i < n; i++)
        (void)json_array_append_new(list, show_day(days[i]));
    put(hints, "open_days", list);
    return e;
}

/* ---- all of it */

static void
put_site(struct hints *hints)
{
    const struct serve_options *options = &hints->call->serve->options;
    const Knockbox__Site *site = show_site(hints->call, hints->site, hints->today);
    put(hints, "site", json_string(hints->site));
    put(hints, "name", show_text(site != NULL ? site->name : NULL));
    put(hints, "zone", show_text(site != NULL ? site->zone : options->zone));
    put(hints, "day_start",
        json_string(site != NULL && site->day_start != NULL ? site->day_start : "00:00"));
    put(hints, "now", show_instant(hints->now_ms, hints->offset_min));
    put(hints, "today", show_day(hints->today));
    put(hints, "in_catalogue", json_boolean(site != NULL));
    put(hints, "link", show_link(hints->call));
}

static enum err
fill(struct hints *hints, struct err_text *why)
{
    put_site(hints);
    put_choices(hints, "coffees", KNOCKBOX__RECORD__BODY_COFFEE, describe_coffee);
    put_choices(hints, "places", KNOCKBOX__RECORD__BODY_PLACE, describe_place);
    put_choices(hints, "streams", KNOCKBOX__RECORD__BODY_STREAM, describe_stream);
    put_choices(hints, "staff", KNOCKBOX__RECORD__BODY_STAFF, describe_staff);
    put_warm_limit(hints);
    enum err e = put_newest_tub(hints, why);
    if (e == ERR_OK)
        e = put_last_close(hints, why);
    return e == ERR_OK ? put_open_days(hints, why) : e;
}

enum err
word_hints(struct call *call, struct err_text *why)
{
    const char *site = call_arg(call, "site");
    struct hints hints = {.call = call,
                          .site = site != NULL ? site : call->serve->options.site,
                          .now_ms = show_now(call),
                          .answer = json_object()};
    enum err e = call_ledger(call, &hints.ledger, why);
    hints.offset_min = show_offset(call, hints.site, hints.now_ms);
    hints.today = show_today(call, hints.site);
    if (e == ERR_OK)
        e = fill(&hints, why);
    if (e == ERR_OK)
        return call_json(call, hints.answer, why);
    json_decref(hints.answer);
    return e;
}
