/* delivery_way.c - jobs whose turn it is, on their way. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/exchange/delivery_int.h"

enum {
    RETRY_MS = 60000,     /* when the target is no longer there */
    WALL_SPARE_MS = 15000 /* beyond what the transfers may take */
};

static void
tell(struct delivery *delivery, enum err e, const struct err_text *why)
{
    if (e == ERR_OK)
        diag_fine(&delivery->trouble);
    else
        diag_changed(&delivery->trouble, delivery_mono(delivery), DIAG_WARNING,
                     "delivery: the outbox cannot be written: %s", why->s);
}

/* ---------------------------------------------------------------- what the courier says */

static void
file_arrived(void *owner, uint32_t files_done)
{
    struct way *way = owner;
    struct err_text why = {.s = ""};
    tell(way->delivery, outbox_file_arrived(way->delivery->outbox, way->id, files_done, &why),
         &why);
}

static void
failed(struct way *way, const char *said, bool never)
{
    struct delivery *delivery = way->delivery;
    struct err_text why = {.s = ""};
    Knockbox__OutboxJob *job = NULL;
    enum err e =
        outbox_failed(delivery->outbox, way->id, delivery_now(delivery), said, never, &why);
    tell(delivery, e, &why);
    bool there = outbox_get(delivery->outbox, way->id, &job, NULL) == ERR_OK;
    bool waits = there && job->state == KNOCKBOX__OUTBOX_STATE__OUTBOX_WAITING;
    diag_warning("delivery: number %" PRIu64 ", %s to %s: %s; %s", way->id, way->what, way->target,
                 said, waits || !there ? "it is tried again later" : outbox_state_word(job->state));
    outbox_job_free(job);
}

static void
ended(void *owner, enum courier_end end, const char *said)
{
    struct way *way = owner;
    struct delivery *delivery = way->delivery;
    struct err_text why = {.s = ""};
    way->courier = NULL;
    if (end != COURIER_SENT) {
        failed(way, said, end == COURIER_NEVER);
        return;
    }
    tell(delivery, outbox_sent(delivery->outbox, way->id, delivery_now(delivery), &why), &why);
    diag_info("delivery: number %" PRIu64 ", %s to %s: sent", way->id, way->what, way->target);
}

/* ---------------------------------------------------------------- setting out */

static bool
is_busy(void *owner, const Knockbox__OutboxJob *job)
{
    const struct delivery *delivery = owner;
    for (size_t i = 0; i < COURIERS; i++)
        if (delivery->ways[i].courier != NULL && strcmp(delivery->ways[i].target, job->target) == 0)
            return true;
    return false;
}

static enum err
set_out(struct way *way, const struct target *target, const Knockbox__OutboxJob *job,
        struct err_text *why)
{
    struct delivery *delivery = way->delivery;
    uint8_t *bytes = NULL;
    size_t len = 0;
    struct courier_options options = {
        .wall_ms = (int64_t)(job->n_files + 1) * config_number(target->config, "timeout") +
                   config_number(target->config, "connect") + WALL_SPARE_MS,
        .handler = {file_arrived, ended, way},
    };
    enum err e = parcel_pack(delivery->setup, target, job,
                             store_generation(delivery->options.store), &bytes, &len, why);
    return e == ERR_OK
               ? courier_start(delivery->options.loop, &bytes, len, &options, &way->courier, why)
               : e;
}

/* The try is on disk before the first byte leaves. */
static void
try_job(struct way *way, const Knockbox__OutboxJob *job)
{
    struct delivery *delivery = way->delivery;
    struct err_text why = {.s = ""};
    const struct target *target = setup_target(delivery->setup, job->target);
    int64_t retry_ms = target != NULL ? config_number(target->config, "retry") : RETRY_MS;
    way->id = job->id;
    (void)snprintf(way->target, sizeof way->target, "%.64s", job->target);
    (void)snprintf(way->what, sizeof way->what, "%.63s", job->what);
    enum err e = outbox_begun(delivery->outbox, job->id, delivery_now(delivery), retry_ms, &why);
    tell(delivery, e, &why);
    if (e != ERR_OK)
        return;
    if (target == NULL)
        e = err_set(ERR_INPUT, &why, "delivery.conf has no target of that name any more");
    else
        e = set_out(way, target, job, &why);
    if (e != ERR_OK)
        failed(way, why.s, false);
}

void
delivery_start_due(struct delivery *delivery)
{
    for (size_t i = 0; i < COURIERS; i++) {
        struct way *way = &delivery->ways[i];
        struct err_text why = {.s = ""};
        Knockbox__OutboxJob *job = NULL;
        if (way->courier != NULL)
            continue;
        way->delivery = delivery;
        enum err e =
            outbox_due(delivery->outbox, delivery_now(delivery), is_busy, delivery, &job, &why);
        if (e == ERR_OK)
            try_job(way, job);
        else if (e != ERR_NOT_FOUND)
            tell(delivery, e, &why);
        outbox_job_free(job);
        if (e != ERR_OK)
            return;
    }
}
