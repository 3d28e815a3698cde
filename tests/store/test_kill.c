/* test_kill.c - killed at any moment: what was acknowledged is there, and the next start works. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>
#include "tests/store/box.h"

enum {
    ROUNDS = 20
};

/* Opens the store and appends until it is killed; each commit's last number goes to `out`. */
static void
append_for_ever(struct box *box, int out)
{
    box_open(box);
    for (unsigned i = 0;; i++) {
        box_write(box, "quayside", 1 + i % 3);
        uint64_t seq = box_mark(box, "quayside").seq;
        if (write(out, &seq, sizeof seq) != sizeof seq)
            _exit(1);
    }
}

/* The last number that the child wrote before it went. */
static uint64_t
last_acked(int in, uint64_t before)
{
    uint64_t seq = before, next = 0;
    while (read(in, &next, sizeof next) == sizeof next)
        seq = next;
    return seq;
}

/* 0001-store.md, L1. KILL_ROUNDS=n for more. */
Test(kill, no_acknowledged_record_is_missing_after_kill_9, .timeout = 300)
{
    struct box box;
    const char *text = getenv("KILL_ROUNDS"), *seed_text = getenv("TEST_SEED");
    int rounds = text != NULL ? atoi(text) : ROUNDS;
    unsigned seed = seed_text != NULL ? (unsigned)atoi(seed_text) : 20260303;
    uint64_t acked = 0;
    box_init(&box, "quayside");
    srand(seed);
    for (int round = 0; round < rounds; round++) {
        struct err_text why = {.s = ""};
        uint64_t checked = 0;
        int ends[2], status = 0;
        cr_assert_eq(pipe(ends), 0);
        pid_t child = fork();
        if (child == 0) {
            (void)close(ends[0]);
            append_for_ever(&box, ends[1]);
        }
        (void)close(ends[1]);
        (void)usleep((useconds_t)(rand() % 40000)); /* from before the store is made on */
        cr_assert_eq(kill(child, SIGKILL), 0);
        cr_assert_eq(waitpid(child, &status, 0), child);
        acked = last_acked(ends[0], acked);
        (void)close(ends[0]);
        box_open(&box);
        uint64_t seq = box_mark(&box, "quayside").seq;
        cr_assert_geq(seq, acked, "seed %u, round %d", seed, round);
        cr_assert_leq(seq, acked + 3); /* at most the one that was under way */
        cr_assert_eq(store_verify(box.store, &checked, &why), ERR_OK, "%s", why.s);
        cr_assert(eq(u64, checked, seq));
        acked = seq;
        box_close(&box);
    }
    cr_assert(acked > 0);
    box_done(&box);
}

/* 0001-store.md, L6: the slot of a reader that was killed is freed at the next start. */
Test(kill, a_reader_that_was_killed_does_not_make_the_file_grow)
{
    struct box box;
    int status = 0, ends[2];
    char byte = 0;
    box_init(&box, "quayside");
    box_open(&box);
    box_write(&box, "quayside", 100);
    box_close(&box);
    cr_assert_eq(pipe(ends), 0);
    pid_t child = fork();
    if (child == 0) {
        struct store_view *view = NULL;
        box_open(&box);
        if (store_look(box.store, &view, NULL) == ERR_OK && write(ends[1], "x", 1) == 1)
            (void)pause();
        _exit(1);
    }
    cr_assert_eq(read(ends[0], &byte, 1), 1);
    cr_assert_eq(kill(child, SIGKILL), 0);
    cr_assert_eq(waitpid(child, &status, 0), child);
    box_open(&box);
    struct store_txn *txn = NULL;
    uint64_t before = kv_sizes(store_kv(box.store)).used_bytes;
    for (int i = 0; i < 300; i++) {
        cr_assert_eq(store_begin(box.store, &txn, NULL), ERR_OK);
        cr_assert_eq(store_note(txn, "acked", &i, sizeof i, NULL), ERR_OK);
        cr_assert_eq(store_commit(&txn, NULL), ERR_OK);
    }
    cr_assert_leq(kv_sizes(store_kv(box.store)).used_bytes, before + 20 * 4096);
    box_done(&box);
}

Test(kill, another_process_is_refused_while_the_store_is_open)
{
    struct box box;
    int status = 0;
    box_init(&box, "quayside");
    box_open(&box);
    pid_t child = fork();
    if (child == 0) {
        struct store *second = NULL;
        struct err_text why = {.s = ""};
        enum err e = store_open(box.dir, &box.options, &second, &why);
        _exit(e == ERR_BUSY && strstr(why.s, "another process") != NULL ? 0 : 1);
    }
    cr_assert_eq(waitpid(child, &status, 0), child);
    cr_assert_eq(status, 0);
    box_done(&box);
}
