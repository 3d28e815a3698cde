/* delivery_plan.c - what the hub sends of its own accord: scheduled reports, alerts. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/exchange/delivery_int.h"
#include "daemon/exchange/schedule.h"
#include "daemon/report/report_month.h"
#include "proto/when.h"

enum {
    MONTHS_BACK = 12,      /* of a schedule that are caught up with */
    GRACE_MS = 30 * 60000, /* after a start, in which cafés come back */
    LINES_MOST = 30,       /* alerts in one delivery */
    SITES_MOST = 16384
};

/* ---------------------------------------------------------------- schedules */

static enum err
render(struct delivery *delivery, const struct schedule *schedule, int32_t month,
       struct parcel *parcel, struct err_text *why)
{
    struct report_ask ask = {.month = month, .version = REPORT_AS_IT_STANDS};
    enum err e = ledger_catch_up(delivery->options.ledger, why);
    return e == ERR_OK
               ? delivery_render(delivery, &ask, config_text(schedule->config, "as"), parcel, why)
               : e;
}

/* The jobs and how far the schedule came: both or neither. */
static enum err
put_scheduled(struct delivery *delivery, const struct schedule *schedule, const char *mark,
              int32_t month, const struct parcel *parcel, struct err_text *why)
{
    enum err e = outbox_begin(delivery->outbox, why);
    if (e == ERR_OK && parcel != NULL)
        e = delivery_put(delivery, parcel, config_text(schedule->config, "to"), NULL, why);
    if (e == ERR_OK)
        e = outbox_mark(delivery->outbox, mark, month, why);
    if (e == ERR_OK)
        return outbox_commit(delivery->outbox, why);
    outbox_abort(delivery->outbox);
    return e;
}

static enum err
fall_due(struct delivery *delivery, const struct schedule *schedule, const char *mark,
         int32_t month, struct err_text *why)
{
    char text[MONTH_TEXT];
    struct parcel *parcel = calloc(1, sizeof *parcel);
    if (parcel == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    enum err e = render(delivery, schedule, month - schedule->months_back, parcel, why);
    if (e == ERR_OK)
        e = put_scheduled(delivery, schedule, mark, month, parcel, why);
    if (e == ERR_OK)
        diag_info("delivery: schedule %s: the report of %s waits to be sent", schedule->name,
                  month_print(month - schedule->months_back, text));
    parcel_done(parcel);
    free(parcel);
    return e;
}

/* A schedule begins with the first time that it falls due while the hub knows it. */
static enum err
keep_schedule(struct delivery *delivery, const struct schedule *schedule, const struct zone *zone,
              struct err_text *why)
{
    char mark[SETUP_NAME + 16];
    int64_t done = 0;
    (void)snprintf(mark, sizeof mark, "schedule %s", schedule->name);
    int32_t last = schedule_last(schedule, zone, delivery_now(delivery));
    enum err e = outbox_marked(delivery->outbox, mark, &done, why);
    if (e == ERR_NOT_FOUND)
        return put_scheduled(delivery, schedule, mark, last, NULL, why);
    if (e != ERR_OK || done >= last)
        return e;
    int32_t next = done < last - MONTHS_BACK ? last - MONTHS_BACK + 1 : (int32_t)done + 1;
    return fall_due(delivery, schedule, mark, next, why);
}

void
delivery_schedules(struct delivery *delivery)
{
    struct err_text why = {.s = ""};
    const struct schedule *schedule = NULL;
    const struct zone *zone = delivery_zone(delivery);
    bool fine = zone != NULL;
    for (size_t i = 0; zone != NULL && (schedule = setup_schedule(delivery->setup, i)) != NULL;
         i++) {
        if (keep_schedule(delivery, schedule, zone, &why) == ERR_OK)
            continue;
        fine = false;
        diag_changed(&delivery->schedule_trouble, delivery_mono(delivery), DIAG_WARNING,
                     "delivery: schedule %s waits: %s", schedule->name, why.s);
    }
    if (fine)
        diag_fine(&delivery->schedule_trouble);
}

/* ---------------------------------------------------------------- alerts */

/* Some lines a delivery. */
static enum err
put_lines(struct delivery *delivery, const struct config *config, const struct alerts *alerts,
          struct err_text *why)
{
    const char *lines[LINES_MOST];
    struct parcel *parcel = calloc(1, sizeof *parcel);
    enum err e = parcel != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    for (size_t at = 0; at < alerts->n && e == ERR_OK; at += LINES_MOST) {
        size_t n = 0;
        for (; n < LINES_MOST && at + n < alerts->n; n++)
            lines[n] = alerts->list[at + n].line;
        e = parcel_alerts(delivery->options.site, delivery_now(delivery), lines, n, parcel, why);
        if (e == ERR_OK)
            e = delivery_put(delivery, parcel, config_text(config, "to"), NULL, why);
        parcel_done(parcel);
    }
    free(parcel);
    return e;
}

/* What was told, and that it was told: both or neither. */
static enum err
put_alerts(struct delivery *delivery, const struct config *config, struct alerts *alerts,
           uint64_t readings_at, struct err_text *why)
{
    enum err e = outbox_begin(delivery->outbox, why);
    if (e == ERR_OK)
        e = alerts_new(alerts, delivery->outbox, delivery_now(delivery),
                       config_number(config, "every"), why);
    if (e == ERR_OK)
        e = put_lines(delivery, config, alerts, why);
    if (e == ERR_OK)
        e = outbox_mark(delivery->outbox, "readings", (int64_t)readings_at, why);
    if (e == ERR_OK)
        return outbox_commit(delivery->outbox, why);
    outbox_abort(delivery->outbox);
    return e;
}

/* The first look begins at the newest record: what was before is in the reports. */
static enum err
readings_from(struct delivery *delivery, uint64_t *out_from, struct err_text *why)
{
    int64_t marked = 0;
    struct store_view *view = NULL;
    enum err e = outbox_marked(delivery->outbox, "readings", &marked, why);
    *out_from = (uint64_t)marked;
    if (e != ERR_NOT_FOUND)
        return e;
    e = store_look(delivery->options.store, &view, why);
    if (e == ERR_OK)
        *out_from = store_last(view);
    if (view != NULL)
        store_done(&view);
    return e;
}

static void
fill_look(const struct delivery *delivery, const struct config *config, struct alert_look *look)
{
    const struct delivery_options *o = &delivery->options;
    int64_t grace_ms = config_number(config, "silent");
    if (grace_ms > GRACE_MS)
        grace_ms = GRACE_MS;
    look->config = config;
    look->ledger = o->ledger;
    look->store = o->store;
    look->site = o->site;
    look->now_ms = delivery_now(delivery);
    look->today = catalogue_business_day(ledger_catalogue(o->ledger), o->site, look->now_ms,
                                         delivery_offset(delivery, look->now_ms));
    look->heard_long = delivery_mono(delivery) - delivery->opened_ms >= (uint64_t)grace_ms;
    look->synchronised = o->clock.synchronised(o->clock.owner);
    look->disk_free = kv_sizes(store_kv(o->store)).disk_free;
}

static enum err
look_around(struct delivery *delivery, const struct config *config, struct err_text *why)
{
    const struct delivery_options *o = &delivery->options;
    struct alert_site *sites = calloc(SITES_MOST, sizeof *sites);
    struct alert_look look = {.sites = sites};
    struct alerts alerts = {0};
    if (sites == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    enum err e = ledger_catch_up(o->ledger, why);
    if (e == ERR_FULL)
        e = ERR_OK; /* the books wait for room, and just then people have to hear of the disk */
    if (e == ERR_OK)
        e = readings_from(delivery, &look.readings_at, why);
    if (e == ERR_OK) {
        size_t n = o->sites != NULL ? o->sites(o->owner, sites, SITES_MOST) : 0;
        look.n_sites = n < SITES_MOST ? n : SITES_MOST;
        fill_look(delivery, config, &look);
        e = alerts_look(&look, &alerts, why);
    }
    if (e == ERR_OK)
        e = put_alerts(delivery, config, &alerts, look.readings_at, why);
    alerts_done(&alerts);
    free(sites);
    return e;
}

void
delivery_alerts(struct delivery *delivery)
{
    struct err_text why = {.s = ""};
    const struct config *config = setup_alert(delivery->setup);
    uint64_t mono = delivery_mono(delivery);
    if (config == NULL ||
        (delivery->looked && mono - delivery->looked_ms < (uint64_t)config_number(config, "every")))
        return;
    delivery->looked = true;
    delivery->looked_ms = mono;
    if (look_around(delivery, config, &why) == ERR_OK)
        diag_fine(&delivery->alert_trouble);
    else
        diag_changed(&delivery->alert_trouble, mono, DIAG_WARNING, "delivery: no alerts: %s",
                     why.s);
}
