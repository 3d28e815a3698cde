/* loop.h - the one thread of a daemon: waits for sockets, timers and signals, calls who asked.
 *
 * Callbacks run one at a time and may add or remove sources, also their own. What is added is lent
 * to the loop until it is removed.
 */
#ifndef DAEMON_BASE_LOOP_H
#define DAEMON_BASE_LOOP_H

#include <stdbool.h>
#include <stdint.h>
#include "proto/err.h"

struct loop;

typedef void loop_fn(void *owner);

/* Blocks SIGTERM, SIGINT and SIGHUP for the process and takes them in here. *out_loop is yours.
 * They stay blocked after loop_free(): a daemon that ends already must get to its last words. */
enum err loop_new(struct loop **out_loop, struct err_text *why);
void loop_free(struct loop *loop); /* NULL is fine */

/* A file descriptor, or a ZeroMQ socket (then fd is ignored), to be read when there is something.
 * ERR_MEM: over LOOP_SOURCES. */
enum {
    LOOP_SOURCES = 512
};
enum err loop_add(struct loop *loop, void *zmq_socket, int fd, loop_fn *fn, void *owner,
                  struct err_text *why);
void loop_remove(struct loop *loop, const void *zmq_socket, int fd);
/* Call `fn` when the descriptor can be written, no longer when it can be read; or back. */
void loop_want_write(struct loop *loop, int fd, bool want);
/* Does not call for this descriptor, whatever comes; or calls again when it can be read. */
void loop_pause(struct loop *loop, int fd, bool pause);

/* Calls `fn` every `us` microseconds; once when `once`. *out_timer is a handle for loop_timer_set
 * and lives as long as the loop. us 0: not running. */
enum err loop_timer(struct loop *loop, loop_fn *fn, void *owner, int *out_timer,
                    struct err_text *why);
void loop_timer_set(int timer, uint64_t us, bool once);

/* Calls `fn` once in the next round after loop_later_set(), however often that was called: cheaper
 * than a timer of no time. */
enum err loop_later(struct loop *loop, loop_fn *fn, void *owner, int *out_later,
                    struct err_text *why);
void loop_later_set(int later);

void loop_on_reload(struct loop *loop, loop_fn *fn, void *owner); /* SIGHUP */
/* Called after each round of callbacks, before the next wait. */
void loop_on_round(struct loop *loop, loop_fn *fn, void *owner);

/* Until loop_stop() or SIGTERM or SIGINT. ERR_IO: the wait itself failed. */
enum err loop_run(struct loop *loop, struct err_text *why);
void loop_stop(struct loop *loop);
void loop_again(struct loop *loop); /* loop_run() may be called once more */

#endif
