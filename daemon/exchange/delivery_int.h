/* delivery_int.h - inside of delivery_*.c.
 */
#ifndef DAEMON_EXCHANGE_DELIVERY_INT_H
#define DAEMON_EXCHANGE_DELIVERY_INT_H

#include "daemon/base/diag.h"
#include "daemon/base/zone.h"
#include "daemon/exchange/courier.h"
#include "daemon/exchange/delivery.h"
#include "daemon/exchange/outbox.h"
#include "daemon/exchange/parcel.h"
#include "daemon/exchange/setup.h"

enum {
    COURIERS = 4, /* at a time, one a target */
    LIST_TEXT = 512
};

struct way { /* one courier under way */
    struct delivery *delivery;
    struct courier *courier; /* NULL: free */
    uint64_t id;
    char target[SETUP_NAME], what[64];
};

struct delivery {
    struct delivery_options options;
    struct setup *setup;
    struct outbox *outbox;
    struct way ways[COURIERS];
    bool looked, pruned;                               /* once at least since the start */
    uint64_t opened_ms, looked_ms, pruned_ms, calm_ms; /* monotonic */
    struct diag_memory trouble, schedule_trouble, alert_trouble;
};

int64_t delivery_now(const struct delivery *delivery);
uint64_t delivery_mono(const struct delivery *delivery);
const struct zone *delivery_zone(const struct delivery *delivery); /* NULL: none known, UTC */
int delivery_offset(const struct delivery *delivery, int64_t at_ms);

/* The report in the prints of `as`, each from the model that it wants. End with parcel_done(), also
 * after an error. */
enum err delivery_render(struct delivery *delivery, const struct report_ask *ask, const char *as,
                         struct parcel *out_parcel, struct err_text *why);

/* Jobs for every target of the list, inside outbox_begin(). `out_ids` has room for SETUP_TARGETS,
 * or is NULL. */
enum err delivery_put(struct delivery *delivery, const struct parcel *parcel, const char *targets,
                      uint64_t *out_ids, struct err_text *why);

void delivery_start_due(struct delivery *delivery); /* delivery_way.c */
void delivery_schedules(struct delivery *delivery); /* delivery_plan.c */
void delivery_alerts(struct delivery *delivery);

#endif
