/* delivery.h - the outbox at work: people's deliveries, schedules, alerts; knockbox-send started
 * and watched. One a hub. Everything here is a step of the loop; nothing waits for the network.
 */
#ifndef DAEMON_EXCHANGE_DELIVERY_H
#define DAEMON_EXCHANGE_DELIVERY_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>
#include "daemon/base/clock.h"
#include "daemon/base/loop.h"
#include "daemon/exchange/alerts.h"
#include "daemon/ledger/ledger.h"
#include "daemon/report/report_month.h"
#include "daemon/store/store.h"
#include "proto/err.h"

struct delivery;

struct delivery_options {
    const char *dir; /* has delivery.conf; lent, as all here */
    struct store *store;
    struct ledger *ledger;
    struct loop *loop;
    struct clock clock;
    const char *site; /* the hub's own */
    const char *zone; /* of the site until the catalogue has one; may be "" */
    /* Fills at most `most`, returns how many there are. */
    size_t (*sites)(void *owner, struct alert_site *out, size_t most);
    void *owner;
};

/* Errors of delivery.conf as setup_load(). */
enum err delivery_open(const struct delivery_options *options, struct delivery **out_delivery,
                       struct err_text *why);
/* Ends what is under way; it is tried again after the next start. NULL is fine. */
void delivery_close(struct delivery *delivery);

/* Every second. `busy`: messages press, so schedules and alerts, which fold and print, wait for a
 * calm second, though not for over a minute. Trouble goes to the log. */
void delivery_tick(struct delivery *delivery, bool busy);
/* Reads delivery.conf again; a bad one leaves the old in force and is told in the log. */
void delivery_reload(struct delivery *delivery);

/* ---- what people ask */

/* A report in the prints of `as` to targets, both names separated by blanks or commas. `dry_run`:
 * nothing is taken in. *out_answer (yours): {"dry_run", "jobs": [{"id", "target", "to", "subject",
 * "text", "files": [{"name", "size"}]}]}. ERR_INPUT: no such print or target, or too large. */
struct delivery_ask {
    struct report_ask report; /* `pictures` is set here as each print wants it */
    const char *as, *targets;
    bool dry_run;
};
enum err delivery_report(struct delivery *delivery, const struct delivery_ask *ask,
                         json_t **out_answer, struct err_text *why);

/* {"now", "jobs": [...], "targets": [...], "schedules": [...]} */
enum err delivery_show(struct delivery *delivery, json_t **out_answer, struct err_text *why);
/* ERR_NOT_FOUND, ERR_INPUT as outbox_cancel(), outbox_again(). */
enum err delivery_cancel(struct delivery *delivery, uint64_t id, struct err_text *why);
enum err delivery_again(struct delivery *delivery, uint64_t id, struct err_text *why);

#endif
