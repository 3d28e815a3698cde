/* outbox.h - the durable spool: what is to be delivered, in the hub's store, until it has ended.
 *
 * A job goes to one target. Its number is its id, given once and never again. A try is written
 * down before it begins, an arrival as soon as it is known: what is noted as sent is never sent
 * again, and a kill between the two costs at most one more try. Files are dropped when the job was
 * sent or cancelled; the row stays for `keep`.
 * Beside the jobs: which causes were told (alerts), how far each schedule came.
 */
#ifndef DAEMON_EXCHANGE_OUTBOX_H
#define DAEMON_EXCHANGE_OUTBOX_H

#include <stdbool.h>
#include <stdint.h>
#include "daemon/store/kv.h"
#include "proto/err.h"
#include "proto/outbox.pb-c.h"

struct outbox;

enum {
    OUTBOX_CAUSE = 400, /* most bytes of a cause's key */
};

/* `kv` is lent. Only while no transaction is open. */
enum err outbox_open(struct kv *kv, struct outbox **out_outbox, struct err_text *why);
void outbox_close(struct outbox *outbox); /* NULL is fine */

/* ---- writes that belong together: begin, calls, commit (or abort) */

enum err outbox_begin(struct outbox *outbox, struct err_text *why);
enum err outbox_commit(struct outbox *outbox, struct err_text *why);
void outbox_abort(struct outbox *outbox);

/* Takes a job in with state waiting, to be tried at once; `job` is read, its files with content,
 * sizes and digests are worked out here. *out_id is its number. */
enum err outbox_add(struct outbox *outbox, const Knockbox__OutboxJob *job, uint64_t *out_id,
                    struct err_text *why);

/* Was the cause told before? Notes it with `seen_ms` when not, or when it was seen long ago. */
enum err outbox_cause(struct outbox *outbox, const char *cause, int64_t seen_ms, bool *out_new,
                      struct err_text *why);
/* Nobody can tell now whether the cause stands: one that was told counts as seen. */
enum err outbox_keep(struct outbox *outbox, const char *cause, int64_t seen_ms,
                     struct err_text *why);
/* Causes that begin with `prefix` and were not seen since `before_ms` are over: they are news when
 * they come again. */
enum err outbox_forget(struct outbox *outbox, const char *prefix, int64_t before_ms,
                       struct err_text *why);

/* A number by name ("schedule month-end"). ERR_NOT_FOUND. */
enum err outbox_mark(struct outbox *outbox, const char *name, int64_t number, struct err_text *why);
enum err outbox_marked(struct outbox *outbox, const char *name, int64_t *out_number,
                       struct err_text *why); /* also outside of a write */

/* ---- single steps, each durable when it returns ERR_OK */

/* The job whose turn it is and whose number `busy` does not have. *out_job is yours
 * (outbox_job_free), with the content of its files. ERR_NOT_FOUND: none is due. */
typedef bool outbox_busy(void *owner, const Knockbox__OutboxJob *job);
enum err outbox_due(struct outbox *outbox, int64_t now_ms, outbox_busy *busy, void *owner,
                    Knockbox__OutboxJob **out_job, struct err_text *why);

/* A try begins: counted, and the next one put off by outbox_wait_ms(). */
enum err outbox_begun(struct outbox *outbox, uint64_t id, int64_t now_ms, int64_t retry_ms,
                      struct err_text *why);
enum err outbox_file_arrived(struct outbox *outbox, uint64_t id, uint32_t files_done,
                             struct err_text *why);
/* How it ended. `never`: the other side will not take it, so nothing is tried again. */
enum err outbox_sent(struct outbox *outbox, uint64_t id, int64_t now_ms, struct err_text *why);
enum err outbox_failed(struct outbox *outbox, uint64_t id, int64_t now_ms, const char *said,
                       bool never, struct err_text *why);

/* By a person. ERR_NOT_FOUND: no such job. ERR_INPUT: it has ended (again: was sent or cancelled). */
enum err outbox_cancel(struct outbox *outbox, uint64_t id, int64_t now_ms, struct err_text *why);
/* As new: tried at once and for so long again. */
enum err outbox_again(struct outbox *outbox, uint64_t id, int64_t now_ms, int64_t patience_ms,
                      struct err_text *why);

/* Drops jobs that ended before `before_ms`. */
enum err outbox_prune(struct outbox *outbox, int64_t before_ms, struct err_text *why);

/* All jobs, oldest first, without the content of files; stop with false. Lent for the call. */
typedef bool outbox_visit(void *owner, const Knockbox__OutboxJob *job);
enum err outbox_walk(struct outbox *outbox, outbox_visit *visit, void *owner, struct err_text *why);
/* One job, without the content of files; yours (outbox_job_free). ERR_NOT_FOUND. */
enum err outbox_get(struct outbox *outbox, uint64_t id, Knockbox__OutboxJob **out_job,
                    struct err_text *why);

void outbox_job_free(Knockbox__OutboxJob *job); /* NULL is fine */

/* The wait after the n-th try (1, 2 ...): 1, 2, 5, 15, 30, 60, 120, 240, then 360 times `first`. */
int64_t outbox_wait_ms(uint32_t attempts, int64_t first_ms);

const char *outbox_state_word(Knockbox__OutboxState state); /* "given-up" */

#endif
