/* courier.h - one run of knockbox-send: started, fed over a socket, watched, its word taken.
 *
 * The job, secrets too, goes over the socket only; the program's arguments and environment hold
 * nothing. It has limits on processor time, memory and files, and a wall clock here. Everything is
 * a step of the loop; nothing waits.
 */
#ifndef DAEMON_EXCHANGE_COURIER_H
#define DAEMON_EXCHANGE_COURIER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/base/loop.h"
#include "proto/err.h"

struct courier;

enum courier_end {
    COURIER_SENT,
    COURIER_LATER, /* try again */
    COURIER_NEVER, /* the other side will not take it */
};

struct courier_handler {
    /* So many files have arrived, from the first. */
    void (*file_arrived)(void *owner, uint32_t files_done);
    /* The end: the courier frees itself after this call. `said` is "" for COURIER_SENT; clean for
     * logs. */
    void (*ended)(void *owner, enum courier_end end, const char *said);
    void *owner;
};

enum {
    COURIER_JOB_MOST = 40 << 20 /* bytes of a job */
};

struct courier_options {
    const char *program; /* NULL: knockbox-send beside this program, or in ../libexec/knockbox */
    int64_t wall_ms;     /* how long it may take in all */
    struct courier_handler handler;
};

/* `*job` (malloc) is taken, and wiped after use. *out_courier is lent until ended(). ERR_IO: it
 * could not be started. */
enum err courier_start(struct loop *loop, uint8_t **job, size_t len,
                       const struct courier_options *options, struct courier **out_courier,
                       struct err_text *why);

/* Looks at the wall clock; every second or so. May call ended(). */
void courier_watch(struct courier *courier);

/* Ends it without a word. NULL is fine. */
void courier_stop(struct courier *courier);

/* Where knockbox-send is: `given`, beside this program, or in its libexec folder. Returns `out`. */
const char *courier_program(const char *given, char *out, size_t size);

#endif
