/* test_outbox.c - the spool: numbers, tries, waits, ends, causes; over a restart.
 *
 * Common practice, no source; the waits as docs/operations.md has them. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/exchange/outbox.h"
#include "tests/serve/room.h"

enum {
    WAITING = KNOCKBOX__OUTBOX_STATE__OUTBOX_WAITING,
    SENT = KNOCKBOX__OUTBOX_STATE__OUTBOX_SENT,
    GIVEN_UP = KNOCKBOX__OUTBOX_STATE__OUTBOX_GIVEN_UP,
    CANCELLED = KNOCKBOX__OUTBOX_STATE__OUTBOX_CANCELLED,
    T = 1000000
};

static struct room *room;
static struct outbox *outbox;
static struct err_text why;

static void
open_all(void)
{
    room = room_new("kitchen", true);
    cr_assert(outbox_open(store_kv(room_store(room)), &outbox, &why) == ERR_OK, "%s", why.s);
}

static void
restart(void)
{
    outbox_close(outbox);
    room_restart(room);
    cr_assert(outbox_open(store_kv(room_store(room)), &outbox, &why) == ERR_OK, "%s", why.s);
}

static void
close_all(void)
{
    outbox_close(outbox);
    room_free(room);
}

static uint64_t
put(const char *target)
{
    Knockbox__OutboxJob job = KNOCKBOX__OUTBOX_JOB__INIT;
    Knockbox__OutboxFile file = KNOCKBOX__OUTBOX_FILE__INIT, *files[] = {&file};
    uint64_t id = 0;
    file.name = "a.txt";
    file.media = "text/plain";
    file.has_content = true;
    file.content = (ProtobufCBinaryData){5, (uint8_t *)"hello"};
    job.target = (char *)target;
    job.what = "report 2026-03";
    job.subject = "s";
    job.has_created_ms = job.has_give_up_ms = true;
    job.created_ms = T;
    job.give_up_ms = T + 100000;
    job.n_files = 1;
    job.files = files;
    cr_assert(outbox_begin(outbox, &why) == ERR_OK);
    cr_assert(outbox_add(outbox, &job, &id, &why) == ERR_OK, "%s", why.s);
    cr_assert(outbox_commit(outbox, &why) == ERR_OK);
    return id;
}

static bool
busy_with(void *owner, const Knockbox__OutboxJob *job)
{
    return owner != NULL && strcmp(owner, job->target) == 0;
}

/* The number whose turn it is, 0: none. */
static uint64_t
due(int64_t now_ms, const char *busy)
{
    Knockbox__OutboxJob *job = NULL;
    uint64_t id = 0;
    enum err e = outbox_due(outbox, now_ms, busy_with, (void *)busy, &job, &why);
    cr_assert(e == ERR_OK || e == ERR_NOT_FOUND, "%s", why.s);
    if (e == ERR_OK) {
        id = job->id;
        cr_expect(job->files[0]->content.len == 5 &&
                  memcmp(job->files[0]->content.data, "hello", 5) == 0);
        cr_expect(eq(u64, job->files[0]->size, 5));
    }
    outbox_job_free(job);
    return id;
}

static int
state(uint64_t id)
{
    Knockbox__OutboxJob *job = NULL;
    cr_assert(outbox_get(outbox, id, &job, &why) == ERR_OK, "%s", why.s);
    int is = (int)job->state;
    outbox_job_free(job);
    return is;
}

Test(outbox, waits_grow_by_the_same_steps_each_time)
{
    static const int64_t steps[] = {1, 2, 5, 15, 30, 60, 120, 240, 360, 360};
    for (uint32_t i = 0; i < 10; i++)
        cr_expect(eq(i64, outbox_wait_ms(i + 1, 1000), steps[i] * 1000));
}

Test(outbox, a_try_is_counted_before_it_begins_and_put_off_over_a_restart)
{
    open_all();
    uint64_t id = put("office");
    cr_expect(eq(u64, due(T - 1, NULL), 0));
    cr_expect(eq(u64, due(T, NULL), id));
    cr_assert(outbox_begun(outbox, id, T, 1000, &why) == ERR_OK);
    restart(); /* as if it had been killed while it was sending */
    cr_expect(eq(u64, due(T + 999, NULL), 0));
    cr_expect(eq(u64, due(T + 1000, NULL), id));
    cr_assert(outbox_begun(outbox, id, T + 1000, 1000, &why) == ERR_OK);
    cr_expect(eq(u64, due(T + 2999, NULL), 0));
    cr_expect(eq(u64, due(T + 3000, NULL), id));
    close_all();
}

Test(outbox, what_was_sent_is_never_due_again)
{
    open_all();
    uint64_t id = put("office");
    cr_assert(outbox_begun(outbox, id, T, 1000, &why) == ERR_OK);
    cr_assert(outbox_sent(outbox, id, T + 5, &why) == ERR_OK);
    restart();
    cr_expect(eq(int, state(id), SENT));
    cr_expect(eq(u64, due(T + 1000000000, NULL), 0));
    cr_expect(outbox_again(outbox, id, T, 1000, &why) == ERR_INPUT);
    cr_expect(outbox_cancel(outbox, id, T, &why) == ERR_INPUT);
    cr_expect(outbox_begun(outbox, id, T, 1000, &why) == ERR_INPUT);
    cr_expect(eq(int, state(id), SENT));
    close_all();
}

Test(outbox, it_is_given_up_after_its_time_or_when_refused_for_good)
{
    open_all();
    uint64_t late = put("office"), never = put("other");
    cr_assert(outbox_failed(outbox, late, T + 99999, "no answer", false, &why) == ERR_OK);
    cr_expect(eq(int, state(late), WAITING));
    cr_assert(outbox_failed(outbox, late, T + 100000, "no answer", false, &why) == ERR_OK);
    cr_expect(eq(int, state(late), GIVEN_UP));
    cr_assert(outbox_failed(outbox, never, T, "550", true, &why) == ERR_OK);
    cr_expect(eq(int, state(never), GIVEN_UP));
    cr_expect(eq(u64, due(T + 1000000, NULL), 0));
    cr_assert(outbox_again(outbox, never, T + 200000, 1000, &why) == ERR_OK);
    cr_expect(eq(u64, due(T + 200000, NULL), never)); /* its files are there still */
    close_all();
}

Test(outbox, a_cancelled_job_rests_and_a_busy_target_is_passed_over)
{
    open_all();
    uint64_t a = put("office"), b = put("archive");
    cr_expect(eq(u64, due(T, "office"), b));
    cr_expect(eq(u64, due(T, "archive"), a));
    cr_assert(outbox_cancel(outbox, a, T, &why) == ERR_OK);
    cr_expect(eq(int, state(a), CANCELLED));
    cr_expect(eq(u64, due(T, NULL), b));
    cr_assert(outbox_failed(outbox, a, T, "it was under way", false, &why) == ERR_OK);
    cr_expect(eq(int, state(a), CANCELLED));
    cr_expect(outbox_cancel(outbox, 99, T, &why) == ERR_NOT_FOUND);
    close_all();
}

Test(outbox, a_number_is_never_given_twice)
{
    open_all();
    uint64_t a = put("office");
    cr_assert(outbox_sent(outbox, a, T, &why) == ERR_OK);
    cr_assert(outbox_prune(outbox, T + 1, &why) == ERR_OK);
    Knockbox__OutboxJob *job = NULL;
    cr_expect(outbox_get(outbox, a, &job, &why) == ERR_NOT_FOUND);
    restart();
    cr_expect(eq(u64, put("office"), a + 1));
    close_all();
}

static bool
is_new(const char *cause, int64_t seen_ms)
{
    bool fresh = false;
    cr_assert(outbox_begin(outbox, &why) == ERR_OK);
    cr_assert(outbox_cause(outbox, cause, seen_ms, &fresh, &why) == ERR_OK);
    cr_assert(outbox_commit(outbox, &why) == ERR_OK);
    return fresh;
}

Test(outbox, a_cause_is_new_once_and_again_when_it_was_over)
{
    open_all();
    cr_expect(is_new("now/disk", T));
    cr_expect(not(is_new("now/disk", T + 1)));
    restart();
    cr_expect(not(is_new("now/disk", T + 2)));
    cr_expect(is_new("now/silent/quayside", T + 2));
    cr_assert(outbox_begin(outbox, &why) == ERR_OK);
    cr_assert(outbox_forget(outbox, "now/", T + 1, &why) == ERR_OK); /* the disk only */
    cr_assert(outbox_commit(outbox, &why) == ERR_OK);
    cr_expect(is_new("now/disk", T + 3));
    cr_expect(not(is_new("now/silent/quayside", T + 3)));
    close_all();
}

Test(outbox, an_aborted_write_leaves_nothing)
{
    open_all();
    bool fresh = false;
    cr_assert(outbox_begin(outbox, &why) == ERR_OK);
    cr_assert(outbox_cause(outbox, "now/disk", T, &fresh, &why) == ERR_OK);
    outbox_abort(outbox);
    cr_expect(is_new("now/disk", T));
    close_all();
}
