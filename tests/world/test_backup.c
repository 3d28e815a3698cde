/* test_backup.c - what the hub declares to stand in a backup, and whom a site believes.
 *
 * Source: docs/sync-protocol.md, "What stands in a backup"; the numbers by hand. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "tests/world/world.h"

enum {
    A = 0,
    B = 1
};

Test(backup, a_site_is_told_with_the_next_record_and_on_each_connection)
{
    struct world *w = world_new(2, 1);
    world_write(w, A, 5);
    world_write(w, B, 9);
    cr_assert(world_settle(w));
    cr_expect(eq(u64, world_in_backup(w, A), 0));
    world_back_up(w);
    world_write(w, A, 3);
    cr_assert(world_settle(w));
    cr_expect(eq(u64, world_in_backup(w, A), 5));
    cr_expect(eq(u64, world_in_backup(w, B), 0)); /* has sent nothing since */
    world_join(w, A);
    world_join(w, B);
    cr_assert(world_settle(w));
    cr_expect(eq(u64, world_in_backup(w, A), 5));
    cr_expect(eq(u64, world_in_backup(w, B), 9));
    world_back_up(w);
    world_join(w, A);
    cr_assert(world_settle(w));
    cr_expect(eq(u64, world_in_backup(w, A), 8));
    world_free(w);
}

/* A hub that is another one than the one that declared it has declared nothing. */
Test(backup, another_hub_declares_its_own_or_none)
{
    struct world *w = world_new(1, 2);
    world_write(w, A, 20);
    cr_assert(world_settle(w));
    world_back_up(w);
    world_join(w, A);
    cr_assert(world_settle(w));
    cr_expect(eq(u64, world_in_backup(w, A), 20));
    world_wipe(w, WORLD_HUB);
    world_join(w, A);
    cr_assert(world_settle(w));
    cr_expect(world_other_hub(w, A));
    cr_expect(eq(u64, world_in_backup(w, A), 0));
    world_free(w);
}

/* The declared place lies beyond the branch, so it is not told; the talk comes to an end. */
Test(backup, of_an_epoch_that_went_two_ways_ends_the_talk)
{
    struct world *w = world_new(1, 3);
    world_write(w, A, 60);
    cr_assert(world_settle(w));
    world_save(w, A, 0);
    world_join(w, A);
    world_write(w, A, 20);
    cr_assert(world_settle(w));
    world_back_up(w); /* to record 80 of epoch 1 */
    world_put_back(w, A, 0);
    world_write(w, A, 7);
    world_join(w, A);
    cr_assert(world_settle(w));
    world_write(w, A, 4);
    cr_assert(world_settle(w));
    world_join(w, A);
    cr_assert(world_settle(w));
    struct tally t = world_tally(w, A);
    cr_expect(t.lost == 0 && t.twice == 0 && t.foreign == 0);
    cr_expect(world_in_backup(w, A) <= 80);
    cr_expect(world_chains_fit(w));
    world_free(w);
}
