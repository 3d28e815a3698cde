/* play.h - lines of records through a store of their own and its ledger, for tests.
 *
 *     struct play *play = play_new("kitchen");
 *     play_read(play, TEST_DATA "/example-month/catalogue.jsonl");
 *     play_line(play, "{\"kind\": \"tub\", ...}");
 *     play_shuffle(play, 7);
 *     play_put(play, 1);
 *     struct books *books = play_books(play, INT64_MAX);
 *     play_free(play);
 *
 * Any failure ends the test with words on stderr (abort), so callers check nothing.
 */
#ifndef TESTS_LEDGER_PLAY_H
#define TESTS_LEDGER_PLAY_H

#include "daemon/ledger/ledger.h"

struct play;

/* A hub's store in an empty folder under TMPDIR; its own site is `site`. The clock stands at
 * 2030-01-01, so any `held` of a line is in the past. */
struct play *play_new(const char *site);
/* Ends ledger and store and removes the folder. */
void play_free(struct play *play);

/* Queues lines; the order of calls is the order of arrival. A line without `id` gets one from its
 * place, without `at` the one before, without `site` the play's own, without `held` its `at`. */
void play_read(struct play *play, const char *path);
void play_line(struct play *play, const char *line);
void play_lines(struct play *play, const char *const *lines, size_t n);
/* One line by printf; ' may stand for ". */
void play_say(struct play *play, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Puts the queue into another order; the same seed gives the same order. */
void play_shuffle(struct play *play, uint64_t seed);

/* Drops the lines of the queue that a hub held after that instant. */
void play_keep_held(struct play *play, int64_t held_most_ms);

/* Appends what is queued to the logs of the lines' sites, `group` records a commit (0: all in
 * one), and lets the ledger catch up after each; the queue is empty then. */
void play_put(struct play *play, size_t group);

/* Appends what is queued in one commit; the ledger does not hear of it yet. */
void play_append(struct play *play);

/* Puts no more than the first n of the queue. */
void play_put_some(struct play *play, size_t n, size_t group);

struct ledger *play_ledger(struct play *play); /* lent */
struct store *play_store(struct play *play);   /* lent */
/* Closes and opens store and ledger again, as a restart does. */
void play_restart(struct play *play);
/* The two halves of it: nothing is open in between. */
void play_shut(struct play *play);
void play_open(struct play *play);

/* Both are yours. */
struct books *play_books(struct play *play, int64_t held_most_ms);
struct books *play_books_catalogue(struct play *play, int64_t held_most_ms,
                                   struct catalogue **out_catalogue);
void play_digest(struct play *play, uint8_t out_digest[32]);
size_t play_size(const struct play *play); /* lines queued */

/* All lines of the books as text, one a row, for comparing. Yours: free(). */
char *play_text(const struct books *books);

/* "2026-03-03T21:40:00Z" to ms, "2026-03" to a month. Abort on nonsense. */
int64_t play_ms(const char *text);
int32_t play_month(const char *text);

#endif
