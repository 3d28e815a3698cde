/* gather.h - lines of a request that comes in several pieces, kept until the last one.
 *
 * A budget over all connections bounds the memory that callers can take.
 */
#ifndef DAEMON_SERVE_GATHER_H
#define DAEMON_SERVE_GATHER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "proto/err.h"
#include "proto/sync.pb-c.h"

struct line {
    const char *text; /* lent, not NUL-ended */
    size_t len;
};

enum {
    GATHER_BUDGET = 64 * 1024 * 1024
};

/* One request of one connection. `state` is the word's own, between pieces. */
struct gather {
    struct gather *next;
    uint64_t session;
    uint32_t number;
    size_t n, room, bytes;
    char *text;   /* all lines, one after the other; owned */
    size_t *ends; /* ends[i]: where line i ends; owned */
    size_t text_room;
    bool over; /* the budget was exceeded: nothing is kept, the answer says so */
};

struct gathers {
    struct gather *first;
    size_t bytes; /* of all of them */
};

struct gather *gather_find(const struct gathers *gathers, uint64_t session, uint32_t number);

/* Adds the request's lines to what was gathered under that session and number.
 * ERR_MEM. Over the budget the gather drops its lines, is marked `over`, and stays. */
enum err gather_add(struct gathers *gathers, uint64_t session, const Knockbox__Request *request,
                    struct gather **out_gather, struct err_text *why);

struct line gather_line(const struct gather *gather, size_t i);
void gather_drop(struct gathers *gathers, struct gather *gather); /* ends one; NULL is fine */
void gather_hangup(struct gathers *gathers, uint64_t session);    /* ends all of a session */

#endif
