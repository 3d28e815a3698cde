/* alerts.c - silent cafés, clocks, the disk, readings outside their limits, tubs near their date. */
#include "daemon/exchange/alerts.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/record/record.h"
#include "proto/text.h"
#include "proto/when.h"

enum {
    HOUR_MS = 3600000,
    DAY_MS = 86400000,
    RECORDS_MOST = 5000,  /* looked at for readings in one look */
    READING_OLD_DAYS = 2, /* an older one came with an import or after weeks: the report has it */
    KEPT_DAYS = 400       /* that a cause of its own is remembered */
};

void
alerts_done(struct alerts *alerts)
{
    free(alerts->list);
    memset(alerts, 0, sizeof *alerts);
}

static struct alert *
add(struct alerts *alerts)
{
    if (alerts->n == alerts->room) {
        size_t room = alerts->room * 2 + 16;
        struct alert *list = realloc(alerts->list, room * sizeof *list);
        if (list == NULL)
            return NULL; /* the next look finds it again */
        alerts->list = list;
        alerts->room = room;
    }
    return &alerts->list[alerts->n++];
}

static void add_alert(struct alerts *alerts, const char *cause, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void
add_alert(struct alerts *alerts, const char *cause, const char *format, ...)
{
    char line[ALERT_LINE];
    struct alert *alert = add(alerts);
    va_list args;
    if (alert == NULL)
        return;
    va_start(args, format);
    (void)vsnprintf(line, sizeof line, format, args);
    va_end(args);
    (void)snprintf(alert->cause, sizeof alert->cause, "%s", cause);
    alert->unknown = false;
    (void)text_shown(line, alert->line, sizeof alert->line);
    for (char *c = alert->line; *c != '\0'; c++)
        if (*c == '\n' || *c == '\t')
            *c = ' '; /* one line */
}

/* ---------------------------------------------------------------- sites, clocks, disk */

/* What a café that is not there last said may have changed: that is nobody's news. */
static void
add_unknown(struct alerts *alerts, const char *cause)
{
    struct alert *alert = add(alerts);
    if (alert == NULL)
        return;
    (void)snprintf(alert->cause, sizeof alert->cause, "%s", cause);
    alert->line[0] = '\0';
    alert->unknown = true;
}

static void
look_at_silence(const struct alert_look *look, const struct alert_site *site, struct alerts *alerts)
{
    char cause[OUTBOX_CAUSE];
    int64_t quiet_ms = look->now_ms - site->last_seen_ms;
    (void)snprintf(cause, sizeof cause, "now/silent/%s", site->site);
    if (site->online || !site->enrolled || site->last_seen_ms < 0)
        return;
    if (!look->heard_long)
        add_unknown(alerts, cause);
    else if (quiet_ms >= config_number(look->config, "silent"))
        add_alert(alerts, cause, "%s: nothing heard for %" PRId64 " hours", site->site,
                  quiet_ms / HOUR_MS);
}

static void
look_at_clock(const struct alert_look *look, const struct alert_site *site, struct alerts *alerts)
{
    char cause[OUTBOX_CAUSE];
    int64_t off_ms = config_number(look->config, "clock"), offset = site->clock_offset_ms;
    (void)snprintf(cause, sizeof cause, "now/clock/%s", site->site);
    if (!site->online)
        add_unknown(alerts, cause);
    else if (offset >= off_ms || offset <= -off_ms)
        add_alert(alerts, cause, "%s: its clock is %" PRId64 " s %s", site->site,
                  (offset < 0 ? -offset : offset) / 1000, offset < 0 ? "behind" : "ahead");
}

static void
look_at_disk(const struct alert_site *site, struct alerts *alerts)
{
    char cause[OUTBOX_CAUSE];
    (void)snprintf(cause, sizeof cause, "now/disk/%s", site->site);
    if (!site->online)
        add_unknown(alerts, cause);
    else if (site->disk_low)
        add_alert(alerts, cause, "%s: only %" PRIu64 " MiB are free on its disk", site->site,
                  site->disk_mib);
}

static void
look_at_site(const struct alert_look *look, const struct alert_site *site, struct alerts *alerts)
{
    look_at_silence(look, site, alerts);
    look_at_clock(look, site, alerts);
    look_at_disk(site, alerts);
}

static void
look_at_machine(const struct alert_look *look, struct alerts *alerts)
{
    uint64_t free_mib = look->disk_free >> 20;
    if (free_mib < (uint64_t)config_number(look->config, "disk_mib"))
        add_alert(alerts, "now/disk", "%s: only %" PRIu64 " MiB are free on the hub's disk",
                  look->site, free_mib);
    if (!look->synchronised)
        add_alert(alerts, "now/clock", "%s: the hub's clock is not synchronised", look->site);
}

/* ---------------------------------------------------------------- tubs */

struct tub_look {
    const struct alert_look *look;
    struct alerts *alerts;
};

static bool
may_expire(const Knockbox__TubRow *tub)
{
    return tub->has_use_by && tub->net_g > 0 &&
           (tub->state == KNOCKBOX__TUB_STATE__TUB_STATE_FROZEN ||
            tub->state == KNOCKBOX__TUB_STATE__TUB_STATE_IN_TRANSIT ||
            tub->state == KNOCKBOX__TUB_STATE__TUB_STATE_RECEIVED ||
            tub->state == KNOCKBOX__TUB_STATE__TUB_STATE_THAWED);
}

static bool
look_at_tub(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct tub_look *tubs = owner;
    const Knockbox__TubRow *tub = (const Knockbox__TubRow *)row;
    char cause[OUTBOX_CAUSE], day[DAY_TEXT];
    int64_t near = config_number(tubs->look->config, "tub_days");
    if (!may_expire(tub) || tub->use_by - tubs->look->today > near)
        return true;
    (void)snprintf(cause, sizeof cause, "once/tub/%s/%s", code, day_print(tub->use_by, day));
    add_alert(tubs->alerts, cause, "%s: tub %s is to be used by %s (%d days)",
              tub->site != NULL && tub->site[0] != '\0' ? tub->site : "somewhere", code, day,
              (int)(tub->use_by - tubs->look->today));
    return true;
}

/* ---------------------------------------------------------------- readings */

static bool
outside(const Knockbox__Place *place, const char *temp_c)
{
    return (place->max_c != NULL && decimal_text_compare(temp_c, place->max_c) > 0) ||
           (place->min_c != NULL && decimal_text_compare(temp_c, place->min_c) < 0);
}

/* The place's, until a good reading; a blank ends a code, so no other's begins with it. */
static void
look_at_reading(const struct alert_look *look, const Knockbox__Record *record,
                struct alerts *alerts)
{
    char cause[OUTBOX_CAUSE], when[WHEN_TEXT];
    const Knockbox__Reading *body = record->reading;
    const struct catalogue *catalogue = ledger_catalogue(look->ledger);
    int32_t day =
        catalogue_business_day(catalogue, record->site, record->at_ms, record->at_offset_min);
    const Knockbox__Place *place = (const Knockbox__Place *)catalogue_get(
        catalogue, KNOCKBOX__RECORD__BODY_PLACE, body->place, day);
    if (place == NULL)
        return;
    bool is_old = look->now_ms - record->at_ms > (int64_t)READING_OLD_DAYS * DAY_MS;
    (void)snprintf(cause, sizeof cause, "fails/%s ", body->place);
    if (!outside(place, body->temp_c))
        add_alert(alerts, cause, "%s", "");
    else if (!is_old)
        add_alert(alerts, cause, "%s: %s read %s °C at %s, outside its limits", record->site,
                  body->place, body->temp_c,
                  when_print(record->at_ms, record->at_offset_min, when));
}

static enum err
walk_records(struct alert_look *look, struct store_view *view, struct arena *arena,
             struct alerts *alerts, struct err_text *why)
{
    struct store_walk *walk = NULL;
    struct stored stored;
    enum err e = store_walk_open(view, look->readings_at + 1, &walk, why);
    for (int n = 0; e == ERR_OK && n < RECORDS_MOST; n++) {
        Knockbox__Record *record = NULL;
        e = store_next(walk, &stored, why);
        if (e != ERR_OK)
            break;
        look->readings_at = stored.lsn;
        arena_reset(arena);
        if (record_decode(stored.bytes, stored.len, false, arena, &record, NULL) == ERR_OK &&
            record->body_case == KNOCKBOX__RECORD__BODY_READING)
            look_at_reading(look, record, alerts);
    }
    store_walk_close(walk);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

static enum err
look_at_readings(struct alert_look *look, struct alerts *alerts, struct err_text *why)
{
    struct store_view *view = NULL;
    struct arena arena;
    enum err e = arena_init(&arena, ARENA_BIG_RECORD, why);
    if (e != ERR_OK)
        return e;
    e = store_look(look->store, &view, why);
    if (e == ERR_OK)
        e = walk_records(look, view, &arena, alerts, why);
    if (view != NULL)
        store_done(&view);
    arena_done(&arena);
    return e;
}

/* ---------------------------------------------------------------- all of it */

enum err
alerts_look(struct alert_look *look, struct alerts *out_alerts, struct err_text *why)
{
    struct tub_look tubs = {look, out_alerts};
    for (size_t i = 0; i < look->n_sites; i++)
        look_at_site(look, &look->sites[i], out_alerts);
    look_at_machine(look, out_alerts);
    enum err e = look_at_readings(look, out_alerts, why);
    return e == ERR_OK ? ledger_rows(look->ledger, SUBJECT_TUB, look_at_tub, &tubs, why) : e;
}

enum err
alerts_new(struct alerts *alerts, struct outbox *outbox, int64_t now_ms, int64_t every_ms,
           struct err_text *why)
{
    size_t kept = 0;
    enum err e = ERR_OK;
    for (size_t i = 0; i < alerts->n && e == ERR_OK; i++) {
        bool is_new = false;
        if (alerts->list[i].unknown) {
            e = outbox_keep(outbox, alerts->list[i].cause, now_ms, why);
            continue;
        }
        if (alerts->list[i].line[0] == '\0') {
            e = outbox_forget(outbox, alerts->list[i].cause, INT64_MAX, why);
            continue;
        }
        e = outbox_cause(outbox, alerts->list[i].cause, now_ms, &is_new, why);
        if (is_new)
            alerts->list[kept++] = alerts->list[i];
    }
    alerts->n = kept;
    /* What stands is over when it was not there for an hour; what happened once stays told. */
    int64_t over_ms = every_ms * 2 > HOUR_MS ? every_ms * 2 : HOUR_MS;
    if (e == ERR_OK)
        e = outbox_forget(outbox, "now/", now_ms - over_ms, why);
    if (e == ERR_OK)
        e = outbox_forget(outbox, "once/", now_ms - (int64_t)KEPT_DAYS * DAY_MS, why);
    if (e == ERR_OK)
        e = outbox_forget(outbox, "fails/", now_ms - (int64_t)KEPT_DAYS * DAY_MS, why);
    return e;
}
