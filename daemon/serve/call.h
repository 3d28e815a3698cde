/* call.h - one request being answered: its arguments, its lines, and the way back.
 *
 * Inside of daemon/serve; other folders use serve.h.
 */
#ifndef DAEMON_SERVE_CALL_H
#define DAEMON_SERVE_CALL_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/serve/gather.h"
#include "daemon/serve/labels.h"
#include "daemon/serve/late_news.h"
#include "daemon/serve/serve.h"

enum {
    SERVE_VERSION = 1,       /* of the request and reply messages */
    SERVE_PIECE = 60 * 1024, /* most bytes of data in one reply */
};

struct serve {
    struct serve_options options;
    struct delivery *delivery;  /* NULL: none here */
    struct gathers gathers;     /* requests whose lines are still coming */
    struct labels labels;       /* tubs of this machine, for a quick "is it new?" */
    struct labels closed;       /* days that this daemon closed since the ledger caught up */
    struct late_news late_news; /* about the published plan */
    uint64_t seen;              /* newest arrival that the catalogue needs nothing of beyond */
};

struct call {
    struct serve *serve;
    const struct caller *caller;
    const Knockbox__Request *request; /* the last of the gathered ones */
    struct gather *gather;            /* NULL: a request that came whole */
    serve_send *send;
    void *send_owner;
};

/* What one word does. The answer's pieces go out by call_data() and call_json(); the last frame,
 * with the code returned and `why`, is sent by the caller. */
typedef enum err answer_fn(struct call *call, struct err_text *why);

/* The value of an argument, NULL when it was not given. Lent as long as the request. */
const char *call_arg(const struct call *call, const char *name);
bool call_flag(const struct call *call, const char *name); /* given, and not "0" */
/* ERR_INPUT: not YYYY-MM-DD. *out_day is left as it is when the argument is not there. */
enum err call_day(const struct call *call, const char *name, int32_t *out_day,
                  struct err_text *why);

/* The lines of the request, gathered ones first. */
size_t call_lines(const struct call *call);
struct line call_line(const struct call *call, size_t i);

/* Sends bytes in pieces. ERR_PEER: the caller is gone. */
enum err call_data(struct call *call, const char *bytes, size_t len, struct err_text *why);
/* Sends a JSON value as compact text and lets go of it. */
enum err call_json(struct call *call, json_t *taken, struct err_text *why);

/* Takes in what the ledger has not seen yet, when that may touch the catalogue: not after records
 * that only this daemon wrote about its own day. So a person's record waits for no fold. */
enum err serve_catalogue(struct serve *serve, struct err_text *why);

/* Takes in what the ledger has not seen yet; for words that answer from it. */
enum err call_ledger(struct call *call, struct ledger **out_ledger, struct err_text *why);

#endif
