/* word_status.c - `status`: every site this machine has, how far its log goes, what is amiss. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/late_news.h"
#include "daemon/serve/missing.h"
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"

enum {
    CLOCK_OFF_MS = 5000,
    SILENT_MS = 24 * 3600 * 1000,
    BACKUP_OLD_MS = 3 * 24 * 3600 * 1000
};

struct status {
    struct call *call;
    struct site_state *states; /* in order of site */
    size_t n_states;
    json_t *listed; /* an object with a name for each site in the list */
    int64_t now_ms;
    int64_t backup_ms;   /* when the hub's last backup was made, 0: none, or no hub */
    uint64_t own_backup; /* the hub's own records in it */
    bool books_wait;     /* the disk is full */
    bool unknown;        /* records of a later release are held */
};

static int
by_site(const void *a, const void *b)
{
    const struct site_state *left = a, *right = b;
    return strcmp(left->site, right->site);
}

static const struct site_state *
state_of(const struct status *status, const char *site)
{
    struct site_state one;
    (void)snprintf(one.site, sizeof one.site, "%s", site);
    return status->n_states > 0
               ? bsearch(&one, status->states, status->n_states, sizeof one, by_site)
               : NULL;
}

static void
alert(json_t *alerts, bool is_so, const char *words)
{
    if (is_so)
        (void)json_array_append_new(alerts, json_string(words));
}

static void
disk_alert(json_t *alerts, bool is_low, uint64_t mib)
{
    char words[80];
    (void)snprintf(words, sizeof words, "its disk is low: %" PRIu64 " MiB are free", mib);
    alert(alerts, is_low, words);
}

static void
own_disk_alert(const struct serve_options *options, json_t *alerts)
{
    uint64_t mib = kv_sizes(store_kv(options->store)).disk_free >> 20;
    disk_alert(alerts, mib < options->low_mib, mib);
}

static json_t *
alerts_of(const struct status *status, const char *site, const struct site_state *state,
          int64_t missing)
{
    json_t *alerts = json_array();
    bool own = strcmp(site, status->call->serve->options.site) == 0;
    alert(alerts, own && status->books_wait, "the disk is full: the books wait for room");
    if (own)
        own_disk_alert(&status->call->serve->options, alerts);
    alert(alerts,
          own && status->backup_ms > 0 && status->now_ms - status->backup_ms > BACKUP_OLD_MS,
          "the last backup is more than three days old");
    alert(alerts, own && status->unknown,
          "there are records that this release does not know: upgrade it");
    alert(alerts, missing > 0, "days without a close");
    if (state == NULL)
        return alerts;
    int64_t off = state->clock_offset_ms;
    alert(alerts, state->forked, "its log went two ways: settle it");
    alert(alerts, state->other_hub,
          "the hub has another store than before: an old copy, or another hub; what it lacks is "
          "sent again");
    disk_alert(alerts, state->disk_low, state->disk_mib);
    alert(alerts, off > CLOCK_OFF_MS || off < -CLOCK_OFF_MS, "its clock is off");
    alert(alerts,
          state->enrolled && !state->online && state->last_seen_ms >= 0 &&
              status->now_ms - state->last_seen_ms > SILENT_MS,
          "silent for more than a day");
    alert(alerts, state->enrolled && state->last_seen_ms < 0, "enrolled, never seen");
    return alerts;
}

static json_t *
site_json(const struct status *status, const struct log_mark *log, const char *site,
          int64_t missing)
{
    const struct serve_options *options = &status->call->serve->options;
    const struct site_state *state = state_of(status, site);
    bool own = strcmp(site, options->site) == 0;
    bool is_our_hub = !options->is_hub && strcmp(site, options->hub_site) == 0;
    if (is_our_hub && status->n_states > 0)
        state = &status->states[0]; /* the one link there is */
    int offset = show_offset(status->call, site, status->now_ms);
    int64_t seen = own ? status->now_ms : state != NULL ? state->last_seen_ms : -1;
    bool has_state = state != NULL && !is_our_hub && !(own && options->is_hub);
    uint64_t in_backup = own && options->is_hub ? status->own_backup
                         : has_state            ? state->in_backup
                                                : 0;
    return json_pack(
        "{s:s, s:b, s:o, s:I, s:I, s:I, s:I, s:I, s:b, s:I, s:o}", "site", site, "online",
        own || (state != NULL && state->online), "last_seen", show_instant(seen, offset), "epoch",
        (json_int_t)(log != NULL ? log->epoch : 0), "seq_held",
        (json_int_t)(log != NULL ? log->seq : 0), "behind",
        (json_int_t)(has_state ? state->behind : 0), "clock_offset_ms",
        (json_int_t)(has_state ? state->clock_offset_ms : 0), "missing_days", (json_int_t)missing,
        "box", own || (state != NULL && state->enrolled), "in_backup", (json_int_t)in_backup,
        "alerts", alerts_of(status, site, has_state ? state : NULL, missing));
}

static enum err
count_missing(const struct status *status, const char *site, int64_t *out_missing,
              struct err_text *why)
{
    int32_t today = show_today(status->call, site), days[MISSING_LOOK_BACK];
    size_t n = 0;
    enum err e =
        missing_days(status->call, site, today - MISSING_LOOK_BACK, today - 1, days, &n, why);
    *out_missing = (int64_t)n;
    return e;
}

static enum err
add_site(const struct status *status, const struct log_mark *log, const char *site, json_t *list,
         struct err_text *why)
{
    int64_t missing = 0;
    enum err e = count_missing(status, site, &missing, why);
    if (e == ERR_OK && (json_array_append_new(list, site_json(status, log, site, missing)) != 0 ||
                        json_object_set_new(status->listed, site, json_true()) != 0))
        e = err_set(ERR_MEM, why, "no memory for the status");
    return e;
}

/* Sites that have a log here: the newest epoch of each (logs are in order of site and epoch). */
static enum err
add_logs(const struct status *status, json_t *list, struct err_text *why)
{
    struct store_view *view = NULL;
    size_t n = 0;
    struct log_mark *logs = NULL;
    enum err e = store_look(status->call->serve->options.store, &view, why);
    if (e == ERR_OK)
        e = show_logs(view, NULL, &logs, &n, why);
    if (view != NULL)
        store_done(&view);
    for (size_t i = 0; i < n && e == ERR_OK; i++)
        if (i + 1 == n || strcmp(logs[i].site, logs[i + 1].site) != 0)
            e = add_site(status, &logs[i], logs[i].site, list, why);
    free(logs);
    return e;
}

static bool
is_listed(const struct status *status, const char *site)
{
    return json_object_get(status->listed, site) != NULL;
}

/* This site and, at the hub, enrolled sites and sites of the catalogue that have sent nothing. */
static enum err
add_silent(const struct status *status, json_t *list, struct err_text *why)
{
    const struct serve_options *options = &status->call->serve->options;
    const char *const *keys = NULL;
    unsigned n = options->is_hub ? catalogue_keys(ledger_catalogue(options->ledger),
                                                  KNOCKBOX__RECORD__BODY_SITE_, &keys)
                                 : 0;
    enum err e = is_listed(status, options->site)
                     ? ERR_OK
                     : add_site(status, NULL, options->site, list, why);
    for (unsigned i = 0; i < n && e == ERR_OK; i++)
        if (!is_listed(status, keys[i]))
            e = add_site(status, NULL, keys[i], list, why);
    for (size_t i = 0; i < status->n_states && e == ERR_OK; i++)
        if (options->is_hub && !is_listed(status, status->states[i].site))
            e = add_site(status, NULL, status->states[i].site, list, why);
    return e;
}

/* Among the hub's own alerts: what the published plan cannot live with. */
static enum err
add_plan_alert(const struct status *status, json_t *list, struct err_text *why)
{
    const struct serve_options *options = &status->call->serve->options;
    const json_t *lines = NULL;
    int64_t number = 0;
    char words[LATE_NEWS_WORDS];
    if (!options->is_hub)
        return ERR_OK;
    enum err e = late_news_find(status->call, &lines, &number, why);
    if (e != ERR_OK || json_array_size(lines) == 0)
        return e;
    late_news_words(lines, number, words);
    for (size_t i = 0; i < json_array_size(list); i++) {
        json_t *site = json_array_get(list, i);
        if (strcmp(json_string_value(json_object_get(site, "site")), options->site) == 0)
            alert(json_object_get(site, "alerts"), true, words);
    }
    return ERR_OK;
}

enum err
word_status(struct call *call, struct err_text *why)
{
    struct ledger *ledger = NULL;
    struct status status = {.call = call, .now_ms = show_now(call), .listed = json_object()};
    json_t *list = json_array();
    enum err e = call_ledger(call, &ledger, why);
    if (e == ERR_FULL) { /* who is behind can be told without the newest figures */
        status.books_wait = true;
        e = ERR_OK;
    }
    status.unknown = e == ERR_OK && ledger != NULL && ledger_unknown(ledger) > 0;
    const struct serve_options *options = &call->serve->options;
    if (options->backup != NULL)
        status.backup_ms = options->backup(options->owner, &status.own_backup);
    status.states = show_states(call, &status.n_states);
    if (status.n_states > 1)
        qsort(status.states, status.n_states, sizeof *status.states, by_site);
    if (e == ERR_OK)
        e = add_logs(&status, list, why);
    if (e == ERR_OK)
        e = add_silent(&status, list, why);
    if (e == ERR_OK)
        e = add_plan_alert(&status, list, why);
    free(status.states);
    json_decref(status.listed);
    if (e != ERR_OK) {
        json_decref(list);
        return e;
    }
    return call_json(
        call,
        json_pack(
            "{s:s, s:b, s:o, s:o, s:o, s:o}", "site", options->site, "hub", options->is_hub, "now",
            show_instant(status.now_ms, show_offset(call, options->site, status.now_ms)), "backup",
            show_instant(status.backup_ms > 0 ? status.backup_ms : -1,
                         show_offset(call, options->site, status.now_ms)),
            "link", show_link(call), "sites", list),
        why);
}
