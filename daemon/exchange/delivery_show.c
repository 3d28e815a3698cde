/* delivery_show.c - the outbox, its targets and schedules for people; what they do to it. */
#include <stdlib.h>
#include <string.h>

#include "daemon/exchange/delivery_int.h"
#include "daemon/exchange/schedule.h"
#include "proto/text.h"
#include "proto/when.h"

static json_t *
instant(const struct delivery *delivery, bool there, int64_t ms)
{
    char text[WHEN_TEXT];
    return there ? json_string(when_print(ms, delivery_offset(delivery, ms), text)) : json_null();
}

static json_t *
files_json(const Knockbox__OutboxJob *job)
{
    json_t *files = json_array();
    for (size_t i = 0; i < job->n_files; i++) {
        const Knockbox__OutboxFile *file = job->files[i];
        char hex[65] = "";
        if (file->digest.len == 32)
            (void)hex_print(file->digest.data, 32, hex);
        (void)json_array_append_new(files, json_pack("{s:s, s:I, s:s}", "name", file->name, "size",
                                                     (json_int_t)file->size, "blake2b", hex));
    }
    return files;
}

/* The alerts that a delivery tells, one each line of its text; null: it is a report. */
static json_t *
lines_json(const Knockbox__OutboxJob *job)
{
    if (strcmp(job->what, "alerts") != 0 || job->text == NULL)
        return json_null();
    json_t *lines = json_array();
    for (const char *line = job->text; *line != '\0';) {
        size_t len = strcspn(line, "\n");
        (void)json_array_append_new(lines, json_stringn(line, len));
        line += len + (line[len] == '\n');
    }
    return lines;
}

struct show {
    struct delivery *delivery;
    json_t *jobs;
};

static bool
is_under_way(const struct delivery *delivery, uint64_t id)
{
    for (size_t i = 0; i < COURIERS; i++)
        if (delivery->ways[i].courier != NULL && delivery->ways[i].id == id)
            return true;
    return false;
}

static bool
show_job(void *owner, const Knockbox__OutboxJob *job)
{
    struct show *show = owner;
    const struct delivery *delivery = show->delivery;
    bool waits = job->state == KNOCKBOX__OUTBOX_STATE__OUTBOX_WAITING;
    json_t *row =
        json_pack("{s:I, s:s, s:s, s:s, s:s, s:b, s:I, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "id",
                  (json_int_t)job->id, "what", job->what, "target", job->target, "state",
                  outbox_state_word(job->state), "subject", job->subject, "under_way",
                  is_under_way(delivery, job->id), "attempts", (json_int_t)job->attempts, "created",
                  instant(delivery, true, job->created_ms), "next_try",
                  instant(delivery, waits, job->next_ms), "give_up",
                  instant(delivery, waits, job->give_up_ms), "done",
                  instant(delivery, job->has_done_ms, job->done_ms), "said",
                  job->said != NULL ? json_string(job->said) : json_null(), "files",
                  files_json(job), "lines", lines_json(job));
    return json_array_append_new(show->jobs, row) == 0;
}

static json_t *
schedules_json(const struct delivery *delivery)
{
    json_t *list = json_array();
    const struct zone *zone = delivery_zone(delivery);
    const struct schedule *schedule = NULL;
    for (size_t i = 0; (schedule = setup_schedule(delivery->setup, i)) != NULL && zone != NULL;
         i++) {
        int32_t next = schedule_last(schedule, zone, delivery_now(delivery)) + 1;
        char month[MONTH_TEXT];
        (void)json_array_append_new(
            list, json_pack("{s:s, s:o, s:s, s:s, s:s}", "schedule", schedule->name, "next",
                            instant(delivery, true, schedule_instant(schedule, zone, next)),
                            "month", month_print(next - schedule->months_back, month), "as",
                            config_text(schedule->config, "as"), "to",
                            config_text(schedule->config, "to")));
    }
    return list;
}

enum err
delivery_show(struct delivery *delivery, json_t **out_answer, struct err_text *why)
{
    struct show show = {delivery, json_array()};
    enum err e = outbox_walk(delivery->outbox, show_job, &show, why);
    if (e != ERR_OK) {
        json_decref(show.jobs);
        return e;
    }
    *out_answer =
        json_pack("{s:o, s:o, s:o}", "now", instant(delivery, true, delivery_now(delivery)), "jobs",
                  show.jobs, "schedules", schedules_json(delivery));
    return *out_answer != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
}

/* What is under way ends at once: it may have arrived all the same. */
static void
stop_way(struct delivery *delivery, uint64_t id)
{
    for (size_t i = 0; i < COURIERS; i++)
        if (delivery->ways[i].courier != NULL && delivery->ways[i].id == id) {
            courier_stop(delivery->ways[i].courier);
            delivery->ways[i].courier = NULL;
        }
}

enum err
delivery_cancel(struct delivery *delivery, uint64_t id, struct err_text *why)
{
    enum err e = outbox_cancel(delivery->outbox, id, delivery_now(delivery), why);
    if (e == ERR_OK)
        stop_way(delivery, id);
    return e;
}

enum err
delivery_again(struct delivery *delivery, uint64_t id, struct err_text *why)
{
    if (is_under_way(delivery, id))
        return err_set(ERR_BUSY, why, "it is under way just now");
    Knockbox__OutboxJob *job = NULL;
    enum err e = outbox_get(delivery->outbox, id, &job, why);
    if (e != ERR_OK)
        return e;
    const struct target *target = setup_target(delivery->setup, job->target);
    if (target == NULL)
        e = err_set(ERR_INPUT, why, "delivery.conf has no target %.64s any more", job->target);
    else
        e = outbox_again(delivery->outbox, id, delivery_now(delivery),
                         config_number(target->config, "give_up"), why);
    outbox_job_free(job);
    return e;
}
