/* test_mend.c - one head page is rubbish: mended from its twin, said, and nothing used twice.
 *
 * Source: docs/decisions/0001-store.md, "One head page"; that copying the good page opens the file
 * again was tried for this project. What is tried beyond it is common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include "daemon/store/kv_page.h"
#include "tests/store/box.h"

/* A closed store with `n` records, a commit each. */
static void
fill(struct box *box, unsigned n)
{
    box_init(box, "quayside");
    box_open(box);
    for (unsigned i = 0; i < n; i++)
        box_write(box, "quayside", 1);
    box_close(box);
}

/* Rubbish over head page `page`; what stood there before is gone. */
static void
spoil(struct box *box, unsigned page, uint8_t with)
{
    size_t len = 0;
    uint8_t *bytes = box_slurp(box->dir, "data.mdb", &len);
    memset(bytes + (size_t)page * PAGE_SIZE, with, PAGE_SIZE);
    box_spill(box->dir, "data.mdb", bytes, len);
    free(bytes);
}

static bool
has(const struct box *box, const char *name)
{
    char path[512];
    struct stat st;
    snprintf(path, sizeof path, "%s/%s", box->dir, name);
    return stat(path, &st) == 0;
}

static void
expect_whole(struct box *box, uint64_t records)
{
    struct err_text why = {.s = ""};
    uint64_t checked = 0;
    cr_expect(eq(int, store_verify(box->store, &checked, &why), ERR_OK), "%s", why.s);
    cr_expect(eq(u64, checked, records));
}

/* The newer of the two was spoilt at an even number of commits or at an odd one: one time nothing is
 * missing, the other time the last record. Either way the next record stands in a new epoch. */
Test(mend, either_head_page_comes_back_from_the_other)
{
    unsigned short_ones = 0;
    for (unsigned n = 7; n <= 8; n++)
        for (unsigned page = 0; page < 2; page++) {
            struct box box;
            uint8_t before[8];
            size_t len = 0;
            fill(&box, n);
            box_open(&box);
            memcpy(before, store_generation(box.store), 8);
            box_close(&box);
            spoil(&box, page, page == 0 ? 0xA5 : 0);
            box_open(&box);
            cr_assert(store_mended(box.store) != NULL);
            cr_expect(strstr(store_mended(box.store), "head.bad.1") != NULL);
            uint64_t there = box_count(&box);
            cr_expect(there == n || there == n - 1, "%llu of %u", (unsigned long long)there, n);
            short_ones += there == n - 1;
            expect_whole(&box, there);
            cr_expect(memcmp(before, store_generation(box.store), 8) != 0);
            box_write(&box, "quayside", 1);
            cr_expect(eq(u32, box_mark(&box, "quayside").epoch, 2));
            cr_expect(eq(u64, box_mark(&box, "quayside").seq, 1));
            uint8_t *aside = box_slurp(box.dir, "head.bad.1", &len);
            cr_expect(len == PAGE_SIZE && aside[0] == (page == 0 ? 0xA5 : 0));
            free(aside);
            box_reopen(&box);
            cr_expect(store_mended(box.store) == NULL);
            expect_whole(&box, there + 1);
            box_done(&box);
        }
    cr_expect(eq(u32, short_ones, 2));
}

Test(mend, a_second_time_keeps_both_bad_pages)
{
    struct box box;
    fill(&box, 5);
    spoil(&box, 0, 1);
    box_open(&box);
    box_close(&box);
    spoil(&box, 1, 2);
    box_open(&box);
    cr_expect(strstr(store_mended(box.store), "head.bad.2") != NULL);
    cr_expect(has(&box, "head.bad.1") && has(&box, "head.bad.2"));
    cr_expect(eq(u32, box_mark(&box, "quayside").epoch, 3));
    box_done(&box);
}

/* Killed between the mend and the new epoch: the next open makes it. */
Test(mend, that_was_cut_short_still_gives_a_new_epoch)
{
    struct box box;
    fill(&box, 5);
    box_spill(box.dir, "head.bad", "the bad page", 12);
    box_open(&box);
    cr_assert(store_mended(box.store) != NULL);
    cr_expect(eq(u32, box_mark(&box, "quayside").epoch, 2));
    cr_expect(has(&box, "head.bad") == false);
    expect_whole(&box, 5);
    box_done(&box);
}

/* Opening fails with these words and data.mdb is as it was. */
static void
refuses(struct box *box, const char *words)
{
    struct err_text why = {.s = ""};
    size_t before_len = 0, after_len = 0;
    uint8_t *before = box_slurp(box->dir, "data.mdb", &before_len);
    cr_expect(eq(int, store_open(box->dir, &box->options, &box->store, &why), ERR_DAMAGED));
    uint8_t *after = box_slurp(box->dir, "data.mdb", &after_len);
    cr_expect(strstr(why.s, words) != NULL, "%s", why.s);
    cr_expect(before_len == after_len && memcmp(before, after, before_len) == 0);
    cr_expect(has(box, "head.bad") == false);
    free(before);
    free(after);
}

Test(mend, is_for_a_daemon_not_for_who_only_reads)
{
    struct box box;
    fill(&box, 5);
    spoil(&box, 1, 9);
    box.options.read_only = true;
    refuses(&box, "the next start of the daemon mends it");
    box_done(&box);
}

Test(mend, never_trusts_a_head_page_that_leads_to_damage)
{
    struct box box;
    size_t len = 0;
    fill(&box, 5);
    uint8_t *bytes = box_slurp(box.dir, "data.mdb", &len);
    memset(bytes, 3, PAGE_SIZE);
    memset(bytes + (size_t)2 * PAGE_SIZE, 3, len - (size_t)2 * PAGE_SIZE);
    box_spill(box.dir, "data.mdb", bytes, len);
    free(bytes);
    refuses(&box, "damaged");
    box_done(&box);
}
