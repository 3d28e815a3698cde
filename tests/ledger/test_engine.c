/* test_engine.c - the tables: another format, another store, a kill at any moment, rows and facts.
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>
#include "daemon/ledger/tables.h"
#include "proto/ledger.pb-c.h"
#include "tests/ledger/random.h"

static void
set_meta(struct play *play, const char *name, int64_t number)
{
    struct err_text why = {.s = ""};
    struct tables tables;
    struct kv_txn *txn = NULL;
    struct kv *kv = store_kv(play_store(play));
    cr_assert(eq(int, tables_open(kv, &tables, &why), ERR_OK));
    cr_assert(eq(int, kv_write(kv, &txn, &why), ERR_OK));
    cr_assert(eq(int, meta_put(txn, &tables, name, number, &why), ERR_OK));
    cr_assert(eq(int, kv_commit(&txn, &why), ERR_OK));
}

static void
check_digest(struct play *play, const uint8_t want[32], const char *what)
{
    uint8_t got[32];
    play_digest(play, got);
    cr_expect(eq(int, memcmp(want, got, sizeof got), 0), "%s", what);
}

Test(engine, tables_of_another_format_or_of_another_store_are_made_anew)
{
    uint8_t want[32];
    struct play *play = play_new("kitchen");
    random_month(play, 77, 200);
    play_put(play, 0);
    play_digest(play, want);
    set_meta(play, "format", LEDGER_FORMAT + 1);
    play_restart(play);
    check_digest(play, want, "another format");
    set_meta(play, "applied", 1000000);
    play_restart(play);
    check_digest(play, want, "further than the store");
    play_restart(play);
    check_digest(play, want, "as it was left");
    play_free(play);
}

/* In a process of its own, which is killed after some time. */
static void
catch_up_and_die(struct play *play, long after_us, bool rebuild)
{
    pid_t child = fork();
    cr_assert(ne(int, child, -1));
    if (child == 0) {
        struct err_text why = {.s = ""};
        play_open(play);
        if (rebuild)
            (void)ledger_rebuild(play_ledger(play), NULL, &why);
        else
            (void)ledger_catch_up(play_ledger(play), &why);
        _exit(0);
    }
    const struct timespec wait = {0, after_us * 1000};
    (void)nanosleep(&wait, NULL);
    (void)kill(child, SIGKILL);
    (void)waitpid(child, NULL, 0);
}

Test(engine, a_kill_at_any_moment_loses_nothing_and_doubles_nothing)
{
    uint8_t want[32];
    struct play *play = play_new("kitchen");
    random_month(play, 78, 3000);
    play_append(play);
    play_shut(play);
    for (long after_us = 2000; after_us < 200000; after_us = after_us * 8 / 5)
        catch_up_and_die(play, after_us, after_us % 2 == 1);
    play_open(play);
    struct err_text why = {.s = ""};
    cr_assert(eq(int, ledger_catch_up(play_ledger(play), &why), ERR_OK), "%s", why.s);
    uint8_t got[32];
    play_digest(play, got);
    cr_assert(eq(int, ledger_rebuild(play_ledger(play), NULL, &why), ERR_OK), "%s", why.s);
    play_digest(play, want);
    cr_expect(eq(int, memcmp(want, got, sizeof got), 0));
    play_free(play);
}

/* A café that joins, and its records in the same commit; then its new telephone number. */
Test(engine, a_new_site_is_taken_in_beside_the_others)
{
    uint8_t got[32], want[32];
    struct err_text why = {.s = ""};
    struct play *play = play_new("kitchen");
    random_month(play, 81, 200);
    play_put(play, 0);
    play_say(play, "{'kind': 'site', 'code': 'gamma', 'role': 'cafe', 'zone': 'Europe/London', "
                   "'day_start': '04:00', 'currency': 'GBP', 'joined': '2026-03-01'}");
    play_say(play, "{'kind': 'close', 'site': 'gamma', 'at': '2026-03-02T20:00:00Z', 'day': "
                   "'2026-03-02', 'uncaptured_g': 100, 'uncaptured_method': 'weighed', 'stream': "
                   "'bin'}");
    play_put(play, 0);
    play_say(play, "{'kind': 'site', 'code': 'gamma', 'role': 'cafe', 'zone': 'Europe/London', "
                   "'day_start': '04:00', 'currency': 'GBP', 'joined': '2026-03-01', 'contact': "
                   "'555'}");
    play_put(play, 0);
    struct books *books = play_books(play, INT64_MAX);
    cr_expect(eq(i64, books_sum(books, MEASURE_UNCAPTURED, 0, INT32_MAX, "gamma"), 100));
    books_free(books);
    play_digest(play, got);
    cr_assert(eq(int, ledger_rebuild(play_ledger(play), NULL, &why), ERR_OK));
    play_digest(play, want);
    cr_expect(eq(int, memcmp(want, got, sizeof got), 0));
    play_free(play);
}

/* ---- rows and facts */

struct seen {
    char last[64];
    size_t n;
};

static bool
see_row(void *owner, const char *code, const ProtobufCMessage *message)
{
    struct seen *seen = owner;
    cr_expect(lt(int, strcmp(seen->last, code), 0), "in order of code");
    cr_expect(eq(str, ((const Knockbox__TubRow *)message)->tub, (char *)code));
    (void)snprintf(seen->last, sizeof seen->last, "%s", code);
    return ++seen->n < 5;
}

static bool
see_fact(void *owner, const struct fact *fact)
{
    struct seen *seen = owner;
    (void)fact;
    seen->n++;
    return true;
}

Test(engine, rows_come_in_order_of_code_until_the_reader_has_enough)
{
    struct err_text why = {.s = ""};
    struct seen seen = {"", 0};
    struct play *play = play_new("kitchen");
    random_month(play, 79, 300);
    play_put(play, 0);
    cr_expect(eq(int, ledger_rows(play_ledger(play), SUBJECT_TUB, see_row, &seen, &why), ERR_OK));
    cr_expect(eq(sz, seen.n, 5));
    play_free(play);
}

Test(engine, an_unknown_row_is_not_found_and_an_unknown_subject_has_no_facts)
{
    struct err_text why = {.s = ""};
    struct arena arena;
    struct seen seen = {"", 0};
    ProtobufCMessage *row = NULL;
    struct play *play = play_new("kitchen");
    cr_assert(eq(int, arena_init(&arena, ARENA_RECORD, &why), ERR_OK));
    cr_expect(eq(int, ledger_row(play_ledger(play), SUBJECT_TUB, "T", &arena, &row, &why),
                 ERR_NOT_FOUND));
    cr_expect(
        eq(int, ledger_facts(play_ledger(play), SUBJECT_TUB, "T", INT64_MAX, see_fact, &seen, &why),
           ERR_OK));
    cr_expect(eq(sz, seen.n, 0));
    arena_done(&arena);
    play_free(play);
}

/* A query that asks another inside (a report that looks up rows) shares its snapshot. */
static bool
ask_inside(void *owner, const struct fact *fact)
{
    struct play *play = owner;
    struct err_text why = {.s = ""};
    struct arena arena;
    ProtobufCMessage *row = NULL;
    (void)fact;
    cr_assert(eq(int, arena_init(&arena, ARENA_RECORD, &why), ERR_OK));
    cr_expect(
        eq(int, ledger_row(play_ledger(play), SUBJECT_TUB, "T1", &arena, &row, &why), ERR_OK));
    arena_done(&arena);
    return true;
}

Test(engine, a_query_may_ask_inside_another)
{
    struct err_text why = {.s = ""};
    struct play *play = play_new("kitchen");
    random_month(play, 80, 300);
    play_put(play, 0);
    cr_expect(eq(
        int, ledger_facts(play_ledger(play), SUBJECT_TUB, "T1", INT64_MAX, ask_inside, play, &why),
        ERR_OK));
    play_free(play);
}
