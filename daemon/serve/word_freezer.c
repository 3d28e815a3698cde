/* word_freezer.c - `freezer`: the tubs that are there, oldest date first. */
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/pickups.h"
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"
#include "proto/fields.h"
#include "proto/when.h"

enum {
    MINUTE_MS = 60000,
    DAY_MS = 86400000
};

struct look {
    const struct call *call;
    const char *site, *place; /* NULL: every one */
    bool all;                 /* also those that are gone */
    int64_t now_ms;
    struct pickups pickups;
    json_t *tubs;
    bool no_memory;
};

static bool
is_there(const Knockbox__TubRow *tub)
{
    switch (tub->state) {
    case KNOCKBOX__TUB_STATE__TUB_STATE_FROZEN:
    case KNOCKBOX__TUB_STATE__TUB_STATE_IN_TRANSIT:
    case KNOCKBOX__TUB_STATE__TUB_STATE_RECEIVED:
    case KNOCKBOX__TUB_STATE__TUB_STATE_REFUSED:
    case KNOCKBOX__TUB_STATE__TUB_STATE_THAWED:
        return true;
    default:
        return false;
    }
}

static bool
is_same(const char *wanted, const char *is)
{
    return wanted == NULL || (is != NULL && strcmp(wanted, is) == 0);
}

static json_t *
tub_json(const struct look *look, const Knockbox__TubRow *tub)
{
    int offset = tub->offset_min;
    json_t *line =
        json_pack("{s:s, s:o, s:o, s:o, s:I, s:o, s:I, s:o, s:b, s:o, s:s, s:o}", "tub", tub->tub,
                  "site", show_text(tub->site), "from_site", show_text(tub->from_site), "coffee",
                  show_text(tub->coffee), "net_g", (json_int_t)tub->net_g, "frozen",
                  show_instant(tub->has_frozen_ms ? tub->frozen_ms : -1, offset), "age_d",
                  (json_int_t)((look->now_ms - tub->frozen_ms) / DAY_MS), "warm_min",
                  tub->has_warm_known && !tub->warm_known ? json_null()
                                                          : json_integer(tub->warm_ms / MINUTE_MS),
                  "warm_over", tub->warm_over, "use_by",
                  tub->has_use_by ? show_day(tub->use_by) : json_null(), "state",
                  enum_word(&knockbox__tub_state__descriptor, (int)tub->state), "place",
                  show_text(tub->place));
    if (line != NULL && tub->run != NULL && tub->run[0] != '\0')
        (void)json_object_set_new(line, "run", json_string(tub->run));
    const struct pickup_line *pickup = pickups_of(&look->pickups, tub->tub);
    if (line != NULL && pickup != NULL && tub->state == KNOCKBOX__TUB_STATE__TUB_STATE_FROZEN) {
        (void)json_object_set_new(line, "goes_with", json_string(pickup->run));
        (void)json_object_set_new(line, "goes_on", show_day(pickup->day));
    }
    return line;
}

static bool
look_at(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct look *look = owner;
    const Knockbox__TubRow *tub = (const Knockbox__TubRow *)row;
    (void)code;
    if (!is_same(look->site, tub->site) || !is_same(look->place, tub->place))
        return true;
    if (!look->all && !is_there(tub))
        return true;
    look->no_memory = json_array_append_new(look->tubs, tub_json(look, tub)) != 0;
    return !look->no_memory;
}

static const char *
key_text(const json_t *tub, const char *key)
{
    const char *text = json_string_value(json_object_get(tub, key));
    return text != NULL ? text : "9999"; /* no date: last */
}

static int
compare_tubs(const void *a, const void *b)
{
    const json_t *x = *(json_t *const *)a, *y = *(json_t *const *)b;
    static const char *const keys[] = {"use_by", "frozen", "tub"};
    int d = 0;
    for (size_t i = 0; i < sizeof keys / sizeof keys[0] && d == 0; i++)
        d = strcmp(key_text(x, keys[i]), key_text(y, keys[i]));
    return d;
}

/* The list sorted; takes it and gives another. */
static json_t *
sorted(json_t *tubs)
{
    size_t n = json_array_size(tubs);
    json_t *list = json_array(), **all = calloc(n + 1, sizeof(json_t *));
    for (size_t i = 0; all != NULL && i < n; i++)
        all[i] = json_array_get(tubs, i);
    if (all != NULL)
        qsort(all, n, sizeof(json_t *), compare_tubs);
    for (size_t i = 0; all != NULL && i < n; i++)
        (void)json_array_append(list, all[i]);
    free(all);
    json_decref(tubs);
    return list;
}

enum err
word_freezer(struct call *call, struct err_text *why)
{
    struct ledger *ledger = NULL;
    const struct serve_options *options = &call->serve->options;
    struct look look = {.call = call,
                        .site = call_arg(call, "site"),
                        .place = call_arg(call, "place"),
                        .all = call_flag(call, "all"),
                        .now_ms = show_now(call),
                        .tubs = json_array()};
    if (look.site == NULL && !options->is_hub)
        look.site = options->site;
    enum err e = call_ledger(call, &ledger, why);
    if (e == ERR_OK)
        e = pickups_load(call, show_today(call, options->site), &look.pickups, why);
    if (e == ERR_OK)
        e = ledger_rows(ledger, SUBJECT_TUB, look_at, &look, why);
    pickups_done(&look.pickups);
    if (e == ERR_OK && look.no_memory)
        e = err_set(ERR_MEM, why, "no memory for the list of tubs");
    if (e != ERR_OK) {
        json_decref(look.tubs);
        return e;
    }
    const char *site = look.site != NULL ? look.site : options->site;
    return call_json(call,
                     json_pack("{s:o, s:o, s:o}", "site", show_text(look.site), "now",
                               show_instant(look.now_ms, show_offset(call, site, look.now_ms)),
                               "tubs", sorted(look.tubs)),
                     why);
}
