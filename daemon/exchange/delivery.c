/* delivery.c - opens the outbox, ticks, takes jobs in. */
#include "daemon/exchange/delivery_int.h"

#include <stdlib.h>
#include <string.h>

enum {
    KEEP_DAYS = 400, /* that a row stays when its job has ended */
    PRUNE_EVERY_MS = 3600000,
    BUSY_MOST_MS = 60000
};

int64_t
delivery_now(const struct delivery *delivery)
{
    const struct clock *clock = &delivery->options.clock;
    return clock->now_ms(clock->owner);
}

uint64_t
delivery_mono(const struct delivery *delivery)
{
    const struct clock *clock = &delivery->options.clock;
    return clock->mono_ms(clock->owner);
}

const struct zone *
delivery_zone(const struct delivery *delivery)
{
    const struct delivery_options *o = &delivery->options;
    const struct zone *zone = NULL;
    int32_t today = (int32_t)(delivery_now(delivery) / 86400000);
    const Knockbox__Site *site = (const Knockbox__Site *)catalogue_get(
        ledger_catalogue(o->ledger), KNOCKBOX__RECORD__BODY_SITE_, o->site, today);
    const char *const names[] = {site != NULL ? site->zone : NULL, o->zone, "Etc/UTC"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        if (names[i] != NULL && names[i][0] != '\0' && zone_find(names[i], &zone, NULL) == ERR_OK)
            return zone;
    return NULL;
}

int
delivery_offset(const struct delivery *delivery, int64_t at_ms)
{
    const struct zone *zone = delivery_zone(delivery);
    return zone != NULL ? zone_offset_min(zone, at_ms) : 0;
}

enum err
delivery_open(const struct delivery_options *options, struct delivery **out_delivery,
              struct err_text *why)
{
    struct delivery *delivery = calloc(1, sizeof *delivery);
    if (delivery == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    delivery->options = *options;
    delivery->opened_ms = delivery->calm_ms = delivery_mono(delivery);
    enum err e = setup_load(options->dir, &delivery->setup, why);
    if (e == ERR_OK)
        e = outbox_open(store_kv(options->store), &delivery->outbox, why);
    if (e == ERR_OK)
        *out_delivery = delivery;
    else
        delivery_close(delivery);
    return e;
}

void
delivery_close(struct delivery *delivery)
{
    if (delivery == NULL)
        return;
    for (size_t i = 0; i < COURIERS; i++)
        courier_stop(delivery->ways[i].courier);
    outbox_close(delivery->outbox);
    setup_free(delivery->setup);
    free(delivery);
}

void
delivery_reload(struct delivery *delivery)
{
    struct err_text why = {.s = ""};
    struct setup *setup = NULL;
    if (setup_load(delivery->options.dir, &setup, &why) != ERR_OK) {
        diag_error("delivery: the settings stay as they were: %s", why.s);
        return;
    }
    setup_free(delivery->setup);
    delivery->setup = setup;
}

static void
prune(struct delivery *delivery)
{
    struct err_text why = {.s = ""};
    uint64_t mono = delivery_mono(delivery);
    if (delivery->pruned && mono - delivery->pruned_ms < PRUNE_EVERY_MS)
        return;
    delivery->pruned = true;
    delivery->pruned_ms = mono;
    int64_t before = delivery_now(delivery) - (int64_t)KEEP_DAYS * 86400000;
    if (outbox_prune(delivery->outbox, before, &why) != ERR_OK)
        diag_warning("delivery: %s", why.s);
}

void
delivery_tick(struct delivery *delivery, bool busy)
{
    uint64_t mono = delivery_mono(delivery);
    for (size_t i = 0; i < COURIERS; i++)
        if (delivery->ways[i].courier != NULL)
            courier_watch(delivery->ways[i].courier);
    if (!busy || mono - delivery->calm_ms >= BUSY_MOST_MS) {
        delivery->calm_ms = mono;
        delivery_schedules(delivery);
        delivery_alerts(delivery);
        prune(delivery);
    }
    delivery_start_due(delivery);
}

/* Blanks and commas separate. */
static enum err
target_at(const struct delivery *delivery, const char *targets, size_t i,
          const struct target **out_target, struct err_text *why)
{
    char list[LIST_TEXT], name[SETUP_NAME + 16];
    (void)snprintf(list, sizeof list, "%s", targets);
    for (char *c = list; *c != '\0'; c++)
        if (*c == ',')
            *c = ' ';
    if (!setup_word(list, i, name, sizeof name))
        return ERR_NOT_FOUND;
    *out_target = setup_target(delivery->setup, name);
    if (*out_target == NULL || i == SETUP_TARGETS)
        return err_input(why, "send", name, "up to 8 targets of delivery.conf");
    return ERR_OK;
}

enum err
delivery_put(struct delivery *delivery, const struct parcel *parcel, const char *targets,
             uint64_t *out_ids, struct err_text *why)
{
    const struct target *target = NULL;
    enum err e = ERR_OK;
    size_t i = 0;
    for (; (e = target_at(delivery, targets, i, &target, why)) == ERR_OK; i++) {
        Knockbox__OutboxJob job;
        uint64_t id = 0;
        e = parcel_job(parcel, target, delivery_now(delivery), &job, why);
        if (e == ERR_OK)
            e = outbox_add(delivery->outbox, &job, &id, why);
        if (e != ERR_OK)
            return e;
        if (out_ids != NULL)
            out_ids[i] = id;
    }
    if (e == ERR_NOT_FOUND && i == 0)
        return err_input(why, "send", targets, "at least one target");
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

/* ---------------------------------------------------------------- a person's report */

enum err
delivery_render(struct delivery *delivery, const struct report_ask *ask, const char *as,
                struct parcel *out_parcel, struct err_text *why)
{
    const struct delivery_options *o = &delivery->options;
    struct table_model *models[2] = {NULL, NULL}; /* without and with pictures */
    struct report_ask one = *ask;
    memset(out_parcel, 0, sizeof *out_parcel);
    enum err e = ERR_OK;
    for (int i = 0; e == ERR_OK && i < (parcel_wants_pictures(as) ? 2 : 1); i++) {
        one.pictures = i == 1;
        e = report_month(o->ledger, o->store, &one, &models[i], why);
    }
    if (e == ERR_OK)
        e = parcel_report(models[0], models[1], o->site, ask->month, as, out_parcel, why);
    table_free(models[0]);
    table_free(models[1]);
    return e;
}

static enum err
add_answer(const struct parcel *parcel, const struct target *target, uint64_t id, json_t *jobs,
           struct err_text *why)
{
    Knockbox__OutboxJob job;
    enum err e = parcel_job(parcel, target, 0, &job, why);
    if (e != ERR_OK)
        return e;
    json_t *files = json_array();
    for (size_t i = 0; i < job.n_files; i++)
        (void)json_array_append_new(files,
                                    json_pack("{s:s, s:I}", "name", job.files[i]->name, "size",
                                              (json_int_t)job.files[i]->content.len));
    const char *to = config_text(target->config, "to");
    json_t *row = json_pack("{s:o, s:s, s:s, s:s, s:s, s:s, s:o}", "id",
                            id != 0 ? json_integer((json_int_t)id) : json_null(), "target",
                            target->name, "url", config_text(target->config, "url"), "to", to,
                            "subject", job.subject, "text", job.text, "files", files);
    return json_array_append_new(jobs, row) == 0 ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
}

static enum err
put_all(struct delivery *delivery, const struct parcel *parcel, const char *targets,
        uint64_t *out_ids, struct err_text *why)
{
    enum err e = outbox_begin(delivery->outbox, why);
    if (e == ERR_OK)
        e = delivery_put(delivery, parcel, targets, out_ids, why);
    if (e == ERR_OK)
        return outbox_commit(delivery->outbox, why);
    outbox_abort(delivery->outbox);
    return e;
}

enum err
delivery_report(struct delivery *delivery, const struct delivery_ask *ask, json_t **out_answer,
                struct err_text *why)
{
    struct parcel *parcel = calloc(1, sizeof *parcel);
    const struct target *target = NULL;
    uint64_t ids[SETUP_TARGETS] = {0};
    json_t *jobs = json_array();
    if (parcel == NULL) {
        json_decref(jobs);
        return err_set(ERR_MEM, why, "out of memory");
    }
    enum err e = delivery_render(delivery, &ask->report, ask->as, parcel, why);
    if (e == ERR_OK && !ask->dry_run)
        e = put_all(delivery, parcel, ask->targets, ids, why);
    for (size_t i = 0; e == ERR_OK; i++) {
        e = target_at(delivery, ask->targets, i, &target, why);
        if (e == ERR_OK)
            e = add_answer(parcel, target, ids[i], jobs, why);
    }
    parcel_done(parcel);
    free(parcel);
    if (e == ERR_NOT_FOUND && json_array_size(jobs) == 0)
        e = err_input(why, "send", ask->targets, "at least one target");
    if (e != ERR_NOT_FOUND) {
        json_decref(jobs);
        return e;
    }
    *out_answer = json_pack("{s:b, s:o}", "dry_run", ask->dry_run, "jobs", jobs);
    return ERR_OK;
}
