/* room.h - a store, its ledger and `serve` in one process, asked as a client asks; for tests.
 *
 *     struct room *room = room_new("kitchen", true);
 *     cr_assert(room_ask(room, "write", "mode=import", lines) == ERR_OK, "%s", room_why(room));
 *     const json_t *answer = room_answer(room);
 *     room_free(room);
 */
#ifndef TESTS_SERVE_ROOM_H
#define TESTS_SERVE_ROOM_H

#include <jansson.h>
#include "daemon/serve/serve.h"

struct room;

/* In an empty folder; the hub's site is "kitchen". The clock stands at 2026-03-03T21:52:00Z. */
struct room *room_new(const char *site, bool is_hub);
void room_free(struct room *room);
void room_restart(struct room *room); /* closes all and opens it again, as a restart does */

void room_roles(struct room *room, unsigned roles); /* of the caller; all at first */
void room_now(struct room *room, const char *rfc3339);
/* This site has a machine of its own from now on. */
void room_enrol(struct room *room, const char *site);
void room_other_hub(struct room *room); /* at a café: sync says so from now on */

/* Asks a word. `args` are "name=value" separated by spaces; `lines` by line feeds, ' for ". */
enum err room_ask(struct room *room, const char *word, const char *args, const char *lines);
/* The same in requests of `piece` lines each. */
enum err room_ask_in_pieces(struct room *room, const char *word, const char *args,
                            const char *lines, size_t piece);

const char *room_why(const struct room *room);   /* the last error in words */
const char *room_field(const struct room *room); /* and its field */
const char *room_text(const struct room *room);  /* the data as it came */
const json_t *room_answer(struct room *room);    /* the data as JSON; lent until the next ask */
int64_t room_number(struct room *room, const char *name); /* a member of it */

/* The café gets what it may see of the hub's log, as sync brings it. */
void room_follow(struct room *cafe, struct room *hub);

struct serve *room_serve(struct room *room);
struct store *room_store(struct room *room);
struct ledger *room_ledger(struct room *room);
size_t room_wrote(const struct room *room); /* how often sync was told */

/* Site, coffee, place, streams and zones of Quayside (a café on paper) and the kitchen. */
extern const char saltmere_catalogue[];

#endif
