/* test_salvage.c - records out of a store that does not open.
 *
 * Common practice, no source: what is found is compared with what was written. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/store/kv_page.h"
#include "daemon/store/salvage.h"
#include "tests/store/box.h"

enum {
    RECORDS = 63
};

/* A closed store with 60 short records of the site, three on pages of their own, five of another. */
static void
fill(struct box *box)
{
    box_init(box, "quayside");
    box_open(box);
    box_write(box, "quayside", 60);
    box_write(box, "paper-cafe", 5);
    box_write_sized(box, "quayside", 3, 4000);
    box_close(box);
}

/* All that was found follows the chain of what was written; how many it is. */
static size_t
found(struct box *box)
{
    struct salvage *s = NULL;
    struct err_text why = {.s = ""};
    cr_assert(salvage_read(box->dir, "quayside", &s, &why) == ERR_OK, "%s", why.s);
    size_t n = salvage_count(s);
    for (size_t i = 0; i < n; i++) {
        const struct stored *record = salvage_at(s, i);
        cr_expect(eq(str, (char *)record->site, "quayside"));
        cr_expect(eq(u32, record->epoch, 1));
        cr_expect(eq(i64, record->held_ms, box->now_ms));
        cr_expect(i == 0 || salvage_at(s, i - 1)->seq < record->seq);
    }
    salvage_free(s);
    return n;
}

Test(salvage, finds_every_record_of_a_whole_store_and_of_one_without_its_heads)
{
    struct box box;
    size_t len = 0;
    fill(&box);
    cr_expect(eq(sz, found(&box), RECORDS));
    uint8_t *bytes = box_slurp(box.dir, "data.mdb", &len);
    memset(bytes, 0xEE, (size_t)2 * PAGE_SIZE);
    box_spill(box.dir, "data.mdb", bytes, len);
    cr_expect(eq(sz, found(&box), RECORDS));
    free(bytes);
    box_done(&box);
}

Test(salvage, leaves_out_what_is_not_as_it_was_written)
{
    struct box box;
    size_t len = 0, at = 0;
    fill(&box);
    uint8_t *bytes = box_slurp(box.dir, "data.mdb", &len);
    uint8_t *hit = bytes;
    while ((hit = memmem(hit, len - (size_t)(hit - bytes), "tub lid", 7)) != NULL) {
        if (at++ % 2 == 0)
            hit[0] = 'T';
        hit++;
    }
    box_spill(box.dir, "data.mdb", bytes, len);
    size_t n = found(&box);
    cr_expect(n >= 3 && n < RECORDS, "%zu", n);
    box_spill(box.dir, "data.mdb", bytes, len / 2 + 1000);
    cr_expect(found(&box) < RECORDS);
    box_spill(box.dir, "data.mdb", bytes, 0);
    cr_expect(eq(sz, found(&box), 0));
    free(bytes);
    box_done(&box);
}

/* Rubbish may hide records, never make one, and never ends the program. */
Test(salvage, bears_rubbish_anywhere, .timeout = 60)
{
    struct box box;
    size_t len = 0;
    const char *given = getenv("TEST_SEED");
    unsigned seed = given != NULL ? (unsigned)strtoul(given, NULL, 10) : 20260303;
    fill(&box);
    uint8_t *whole = box_slurp(box.dir, "data.mdb", &len), *bytes = malloc(len);
    for (int i = 0; i < 100; i++) {
        memcpy(bytes, whole, len);
        for (int k = 0; k < 60; k++)
            bytes[(size_t)rand_r(&seed) % len] = (uint8_t)rand_r(&seed);
        box_spill(box.dir, "data.mdb", bytes, len);
        cr_expect(found(&box) <= RECORDS, "seed %u", seed);
    }
    free(whole);
    free(bytes);
    box_done(&box);
}
