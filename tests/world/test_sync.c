/* test_sync.c - sync between real stores over a wire that breaks.
 *
 * Sources: design page, section 3 (what must hold); the faults are those of the reliability goals of
 * this project; the scenarios themselves are own, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>

#include "tests/world/world.h"

enum {
    A = 0,
    B = 1
};

static void
all_is_there(struct world *w, int cafe)
{
    struct tally t = world_tally(w, cafe);
    cr_expect(eq(u32, t.lost, 0));
    cr_expect(eq(u32, t.twice, 0));
    cr_expect(eq(u32, t.foreign, 0));
    cr_expect(eq(u32, world_down_missing(w, cafe), 0));
    cr_expect(eq(u32, world_down_extra(w, cafe), 0));
    cr_expect(world_chains_fit(w));
}

Test(sync, a_site_catches_up_and_sees_what_it_may_of_the_hub)
{
    struct world *w = world_new(2, 1);
    world_write(w, A, 350);
    world_write(w, WORLD_HUB, 120);
    world_write_hidden(w, 30);
    world_write(w, WORLD_HUB, 5);
    cr_assert(world_settle(w));
    all_is_there(w, A);
    all_is_there(w, B);
    cr_expect(eq(u32, world_tally(w, A).held, 350));
    cr_expect(eq(u32, world_epochs(w, A), 1));
    cr_expect(eq(u64, world_behind(w, A), 0));
    cr_expect(world_online(w, A));
    world_free(w);
}

Test(sync, nothing_happens_twice_when_all_is_repeated)
{
    struct world *w = world_new(1, 2);
    world_write(w, A, 120);
    world_write(w, WORLD_HUB, 20);
    cr_assert(world_settle(w));
    for (int i = 0; i < 5; i++) {
        world_join(w, A);
        cr_assert(world_settle(w));
    }
    all_is_there(w, A);
    cr_expect(eq(u32, world_epochs(w, A), 1));
    cr_expect(not(world_forked(w, A)));
    world_free(w);
}

/* The link is cut after the n-th message, for every n until the whole talk fits before the cut. */
Test(sync, a_cut_after_any_message_loses_nothing, .timeout = 100)
{
    unsigned whole = 0;
    for (unsigned n = 0; n == 0 || n <= whole; n++) {
        struct world *w = world_new(1, 100 + n);
        world_cut(w, A);
        world_write(w, A, 450);
        world_write(w, WORLD_HUB, 230);
        world_join(w, A);
        unsigned before = world_delivered(w, A);
        if (n > 0)
            world_cut_after(w, A, n);
        cr_assert(world_settle(w), "cut after %u", n);
        if (n == 0)
            whole = world_delivered(w, A) - before;
        world_write(w, A, 3); /* goes on while cut off */
        if (world_is_cut(w, A))
            world_join(w, A);
        cr_assert(world_settle(w), "cut after %u, joined again", n);
        struct tally t = world_tally(w, A);
        cr_assert(t.lost == 0 && t.twice == 0 && t.foreign == 0, "cut after %u", n);
        cr_assert(world_down_missing(w, A) == 0, "cut after %u", n);
        world_free(w);
    }
    cr_expect(whole >= 10, "%u messages", whole);
}

Test(sync, a_hub_that_restarts_after_any_message_loses_nothing, .timeout = 100)
{
    for (unsigned n = 1; n < 16; n++) {
        struct world *w = world_new(1, 200 + n);
        world_cut(w, A);
        world_write(w, A, 450);
        world_join(w, A);
        unsigned until = world_delivered(w, A) + n;
        for (int i = 0; i < 100 && world_delivered(w, A) < until; i++)
            world_step(w);
        world_restart(w, WORLD_HUB);
        world_join(w, A);
        cr_assert(world_settle(w), "restart after %u", n);
        struct tally t = world_tally(w, A);
        cr_assert(t.lost == 0 && t.twice == 0 && t.foreign == 0, "restart after %u", n);
        world_free(w);
    }
}

Test(sync, a_site_works_alone_for_weeks_and_then_catches_up)
{
    struct world *w = world_new(1, 3);
    cr_assert(world_settle(w));
    world_cut(w, A);
    for (int day = 0; day < 21; day++) {
        world_write(w, A, 40);
        world_write(w, WORLD_HUB, 10);
        world_pass(w, 86400000);
    }
    cr_expect(not(world_online(w, A)));
    world_restart(w, A);
    world_join(w, A);
    cr_assert(world_settle(w));
    all_is_there(w, A);
    cr_expect(eq(u32, world_tally(w, A).held, 840));
    world_free(w);
}

Test(sync, a_hub_from_an_old_copy_gets_the_rest_again)
{
    struct world *w = world_new(2, 4);
    world_write(w, A, 60);
    world_write(w, B, 10);
    cr_assert(world_settle(w));
    world_save(w, WORLD_HUB, 0);
    world_join(w, A);
    world_write(w, A, 140);
    cr_assert(world_settle(w));
    world_put_back(w, WORLD_HUB, 0);
    world_join(w, A);
    world_join(w, B);
    cr_assert(world_settle(w));
    all_is_there(w, A);
    all_is_there(w, B);
    cr_expect(eq(u32, world_epochs(w, A), 1));
    cr_expect(not(world_forked(w, A)));
    world_free(w);
}

Test(sync, a_hub_that_lost_all_is_filled_by_its_sites)
{
    struct world *w = world_new(2, 5);
    world_write(w, A, 130);
    world_write(w, B, 70);
    cr_assert(world_settle(w));
    world_wipe(w, WORLD_HUB);
    world_join(w, A);
    world_join(w, B);
    cr_assert(world_settle(w));
    cr_expect(eq(u32, world_tally(w, A).lost, 0));
    cr_expect(eq(u32, world_tally(w, B).lost, 0));
    cr_expect(eq(u32, world_tally(w, A).held, 130));
    world_free(w);
}

Test(sync, a_site_that_lost_its_card_has_all_back_and_uses_no_number_twice)
{
    struct world *w = world_new(1, 12);
    world_write(w, A, 230);
    world_write(w, WORLD_HUB, 40);
    cr_assert(world_settle(w));
    world_wipe(w, A);
    world_write(w, A, 4); /* before it has been heard */
    world_join(w, A);
    cr_assert(world_settle(w));
    world_write(w, A, 3);
    cr_assert(world_settle(w));
    all_is_there(w, A);
    cr_expect(eq(u32, world_tally(w, A).held, 237));
    cr_expect(eq(u32, world_epochs(w, A), 3),
              "the hub's, its own of the same number, and the next");
    cr_expect(world_forked(w, A));
    world_free(w);
}

/* Two stores behind one address and one key, now the one and now the other. */
Test(sync, two_hubs_by_mistake_are_told_and_each_gets_all)
{
    struct world *w = world_new(1, 13);
    world_write(w, WORLD_HUB, 5);
    world_write(w, A, 50);
    cr_assert(world_settle(w));
    cr_expect(not(world_other_hub(w, A)));
    world_save(w, WORLD_HUB, 0);
    world_wipe(w, WORLD_HUB);
    world_write(w, WORLD_HUB, 7);
    world_join(w, A);
    world_write(w, A, 20);
    cr_assert(world_settle(w));
    cr_expect(world_other_hub(w, A));
    cr_expect(eq(u32, world_tally(w, A).held, 70));
    world_put_back(w, WORLD_HUB, 0);
    world_join(w, A);
    world_write(w, A, 10);
    cr_assert(world_settle(w));
    cr_expect(world_other_hub(w, A));
    all_is_there(w, A);
    cr_expect(eq(u32, world_tally(w, A).held, 80));
    world_free(w);
}

Test(sync, a_site_from_an_old_image_takes_its_records_back_and_opens_a_new_epoch)
{
    struct world *w = world_new(1, 6);
    world_write(w, A, 60);
    cr_assert(world_settle(w));
    world_save(w, A, 0);
    world_join(w, A);
    world_write(w, A, 170);
    cr_assert(world_settle(w));
    world_put_back(w, A, 0);
    world_join(w, A);
    cr_assert(world_settle(w));
    cr_expect(eq(u32, world_epochs(w, A), 2));
    world_write(w, A, 5);
    cr_assert(world_settle(w));
    all_is_there(w, A);
    cr_expect(eq(u32, world_tally(w, A).held, 235));
    cr_expect(not(world_forked(w, A)));
    world_join(w, A); /* and it stays so */
    cr_assert(world_settle(w));
    cr_expect(eq(u32, world_epochs(w, A), 2));
    world_free(w);
}

Test(sync, an_old_image_that_wrote_before_it_was_heard_is_a_fork_and_loses_nothing)
{
    struct world *w = world_new(1, 7);
    world_write(w, A, 60);
    cr_assert(world_settle(w));
    world_save(w, A, 0);
    world_join(w, A);
    world_write(w, A, 20);
    cr_assert(world_settle(w));
    world_put_back(w, A, 0);
    world_write(w, A, 7); /* the numbers 61 to 67 once more */
    world_join(w, A);
    cr_assert(world_settle(w));
    all_is_there(w, A);
    cr_expect(eq(u32, world_tally(w, A).held, 87));
    cr_expect(world_forked(w, A));
    cr_expect(eq(u32, world_epochs(w, A), 2));
    world_restart(w, WORLD_HUB); /* people still see it */
    world_join(w, A);
    cr_assert(world_settle(w));
    cr_expect(world_forked(w, A));
    cr_expect(eq(u32, world_epochs(w, A), 2));
    world_free(w);
}

/* One card, two machines, both alive: three ways of mixing. */
Test(sync, a_cloned_card_is_found_and_both_ways_are_kept)
{
    static const struct {
        unsigned before, a_then, b_then;
    } rows[] = {{40, 10, 10}, {40, 3, 25}, {1, 30, 1}, {0, 5, 5}};
    for (unsigned i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct world *w = world_new(1, 300 + i);
        world_write(w, A, rows[i].before);
        cr_assert(world_settle(w));
        int clone = world_clone(w, A);
        world_write(w, A, rows[i].a_then);
        world_write(w, clone, rows[i].b_then);
        world_join(w, A);
        world_join(w, clone);
        cr_assert(world_settle(w), "row %u", i);
        for (int more = 0; more < 5; more++) {
            world_write(w, A, 2);
            world_write(w, clone, 2);
            cr_assert(world_settle(w), "row %u", i);
        }
        struct tally t = world_tally(w, A);
        cr_expect(t.lost == 0 && t.twice == 0 && t.foreign == 0, "row %u: %u %u %u", i, t.lost,
                  t.twice, t.foreign);
        cr_expect(rows[i].before == 0 || world_forked(w, A), "row %u", i);
        cr_expect(world_epochs(w, A) + world_epochs(w, clone) <= 8, "row %u", i);
        cr_expect(world_chains_fit(w), "row %u", i);
        world_free(w);
    }
}

/* Never two records of one number: the clone took back what the first had written before it wrote. The
 * first goes on in its epoch, on the same connection or on a new one. */
Test(sync, a_cloned_card_is_found_when_the_two_write_in_turn)
{
    for (int joined = 0; joined < 2; joined++) {
        struct world *w = world_new(1, 350);
        world_write(w, A, 40);
        cr_assert(world_settle(w));
        int clone = world_clone(w, A);
        world_join(w, A);
        world_write(w, A, 10);
        cr_assert(world_settle(w));
        if (joined == 0)
            world_cut(w, A);
        world_join(w, clone);
        cr_assert(world_settle(w));
        world_write(w, clone, 3);
        cr_assert(world_settle(w));
        cr_expect(not(world_forked(w, A)), "so far it is an old image");
        if (joined == 0)
            world_join(w, A);
        world_write(w, A, 2);
        cr_assert(world_settle(w));
        cr_expect(world_forked(w, A), "joined %d", joined);
        world_restart(w, WORLD_HUB); /* people still see it */
        world_join(w, A);
        world_join(w, clone);
        cr_assert(world_settle(w));
        cr_expect(world_forked(w, A), "joined %d", joined);
        cr_expect(eq(u32, world_tally(w, A).held, 55));
        cr_expect(eq(u32, world_tally(w, A).lost, 0));
        cr_expect(world_epochs(w, A) == 2 && world_epochs(w, clone) == 2, "%u and %u epochs",
                  world_epochs(w, A), world_epochs(w, clone));
        cr_expect(world_chains_fit(w));
        world_free(w);
    }
}

Test(sync, an_image_older_than_the_last_epoch_is_shown_to_people)
{
    struct world *w = world_new(1, 351);
    world_write(w, A, 40);
    cr_assert(world_settle(w));
    world_save(w, A, 0);
    world_join(w, A);
    world_write(w, A, 10);
    cr_assert(world_settle(w));
    for (int i = 0; i < 2;
         i++) { /* the second time it fits the first epoch, and lacks the second */
        cr_expect(not(world_forked(w, A)));
        world_put_back(w, A, 0);
        world_join(w, A);
        cr_assert(world_settle(w));
        world_write(w, A, 5);
        cr_assert(world_settle(w));
    }
    cr_expect(world_forked(w, A));
    all_is_there(w, A);
    cr_expect(eq(u32, world_tally(w, A).held, 60));
    world_free(w);
}

/* The café has all that either of two copies acknowledged; what tells them apart is what the first
 * wrote itself. */
Test(sync, a_copy_of_the_hub_that_lacks_the_hubs_own_records_is_told)
{
    struct world *w = world_new(1, 352);
    world_write(w, WORLD_HUB, 5);
    world_write(w, A, 20);
    cr_assert(world_settle(w));
    world_save(w, WORLD_HUB, 0);
    world_join(w, A);
    world_write(w, WORLD_HUB, 2);
    cr_assert(world_settle(w));
    cr_expect(not(world_other_hub(w, A)));
    world_put_back(w, WORLD_HUB, 0);
    world_join(w, A);
    cr_assert(world_settle(w));
    cr_expect(world_other_hub(w, A));
    world_free(w);
}

Test(sync, a_fork_cut_after_any_message_loses_nothing, .timeout = 100)
{
    for (unsigned n = 1; n < 14; n++) {
        struct world *w = world_new(1, 400 + n);
        world_write(w, A, 60);
        cr_assert(world_settle(w));
        world_save(w, A, 0);
        world_join(w, A);
        world_write(w, A, 150);
        cr_assert(world_settle(w));
        world_put_back(w, A, 0);
        world_write(w, A, 130);
        for (unsigned cut = n; cut > 0; cut = cut > 3 ? cut - 3 : 0) {
            world_join(w, A);
            world_cut_after(w, A, cut);
            cr_assert(world_settle(w));
            world_restart(w, A);
        }
        world_join(w, A);
        cr_assert(world_settle(w), "cut after %u", n);
        struct tally t = world_tally(w, A);
        cr_assert(t.lost == 0 && t.twice == 0 && t.foreign == 0, "cut after %u: %u %u %u", n,
                  t.lost, t.twice, t.foreign);
        cr_assert(world_forked(w, A), "cut after %u", n);
        cr_assert(world_epochs(w, A) == 2, "cut after %u: %u epochs", n, world_epochs(w, A));
        world_free(w);
    }
}

Test(sync, hub_and_site_from_old_copies_at_once_lose_nothing_that_one_of_them_has)
{
    struct world *w = world_new(1, 8);
    world_write(w, A, 30);
    cr_assert(world_settle(w));
    world_save(w, WORLD_HUB, 0);
    world_join(w, A);
    world_write(w, A, 30);
    cr_assert(world_settle(w));
    world_save(w, A, 1);
    world_put_back(w, WORLD_HUB, 0);
    world_put_back(w, A, 1);
    world_write(w, A, 10);
    world_join(w, A);
    cr_assert(world_settle(w));
    all_is_there(w, A);
    cr_expect(eq(u32, world_tally(w, A).held, 70));
    world_free(w);
}

Test(sync, the_hubs_own_log_from_an_old_copy_goes_on_in_a_new_epoch)
{
    struct world *w = world_new(2, 9);
    world_write(w, WORLD_HUB, 20);
    cr_assert(world_settle(w));
    world_save(w, WORLD_HUB, 0);
    world_join(w, A);
    world_join(w, B);
    world_write(w, WORLD_HUB, 15); /* seen by the cafés, then lost by the hub */
    cr_assert(world_settle(w));
    world_put_back(w, WORLD_HUB, 0);
    world_write(w, WORLD_HUB, 4); /* the numbers 21 to 24 once more */
    world_join(w, A);
    world_join(w, B);
    cr_assert(world_settle(w));
    world_write(w, WORLD_HUB, 6);
    cr_assert(world_settle(w));
    cr_expect(eq(u32, world_down_missing(w, A), 0));
    cr_expect(eq(u32, world_down_missing(w, B), 0));
    cr_expect(world_chains_fit(w));
    world_free(w);
}

Test(sync, lost_repeated_and_shuffled_messages_change_nothing, .timeout = 100)
{
    for (uint64_t seed = 500; seed < 510; seed++) {
        struct world *w = world_new(2, world_seed(seed));
        world_weather(w, 100, 200, 200);
        for (int i = 0; i < 10; i++) {
            world_write(w, A, 60);
            world_write(w, B, 5);
            world_write(w, WORLD_HUB, 7);
            world_pass(w, 30000);
        }
        world_weather(w, 0, 0, 0);
        cr_assert(world_settle(w), "seed %llu", (unsigned long long)seed);
        struct tally t = world_tally(w, A);
        cr_expect(t.lost == 0 && t.twice == 0, "seed %llu", (unsigned long long)seed);
        cr_expect(world_down_missing(w, A) + world_down_missing(w, B) == 0, "seed %llu",
                  (unsigned long long)seed);
        cr_expect(world_epochs(w, A) == 1 && !world_forked(w, A), "seed %llu",
                  (unsigned long long)seed);
        world_free(w);
    }
}

Test(sync, the_hub_shows_how_far_behind_a_site_is_and_how_its_clock_differs)
{
    struct world *w = world_new(1, 10);
    world_shift_clock(w, A, -90000);
    world_cut(w, A);
    world_write(w, A, 1000);
    world_join(w, A);
    while (world_behind(w, A) == 0)
        world_step(w);
    cr_expect(world_behind(w, A) > 500);
    cr_assert(world_settle(w));
    world_pass(w, 15000);
    cr_expect(eq(u64, world_behind(w, A), 0));
    int64_t offset = world_offset(w, A);
    cr_expect(offset >= -91000 && offset <= -89000, "%lld", (long long)offset);
    world_free(w);
}

Test(sync, a_clock_that_jumps_loses_nothing)
{
    static const int64_t jumps[] = {-315360000000, -86400000, -1000, 1000, 86400000, 4000000000000};
    struct world *w = world_new(1, 11);
    for (unsigned i = 0; i < sizeof jumps / sizeof jumps[0]; i++) {
        world_shift_clock(w, A, jumps[i]);
        world_write(w, A, 20);
        world_shift_clock(w, WORLD_HUB, jumps[5 - i]);
        cr_assert(world_settle(w), "jump %u", i);
    }
    all_is_there(w, A);
    cr_expect(eq(u32, world_epochs(w, A), 1));
    world_free(w);
}

/* Anything in any order; the seed tells what. */
static void
one_random_life(uint64_t seed)
{
    struct world *w = world_new(3, seed);
    static const int64_t shifts[] = {0, -315360000000, -86400000, -1000, 1000, 86400000};
    bool image = false, hub_image = false;
    int clones = 0;
    for (int i = 0; i < 60; i++) {
        int cafe = (int)world_chance(w, 3 + (unsigned)clones);
        switch (world_chance(w, 17)) {
        case 0:
        case 1:
        case 2:
        case 3:
            world_write(w, cafe, 1 + world_chance(w, 150));
            break;
        case 4:
            world_write(w, WORLD_HUB, 1 + world_chance(w, 20));
            break;
        case 5:
            world_cut(w, cafe);
            break;
        case 6:
        case 7:
            world_join(w, cafe);
            break;
        case 8:
            world_weather(w, world_chance(w, 200), world_chance(w, 200), world_chance(w, 200));
            break;
        case 9:
            world_restart(w, world_chance(w, 2) == 0 ? WORLD_HUB : cafe);
            break;
        case 10: /* of a site that the hub has in full, so nothing is lost by the image itself */
            world_weather(w, 0, 0, 0);
            for (int k = 0; k < 3 + clones; k++)
                world_join(w, k);
            cr_assert(world_settle(w), "seed %llu", (unsigned long long)seed);
            world_save(w, 0, 0);
            image = true;
            break;
        case 11:
            if (image) {
                world_weather(w, 0, 0, 0);
                world_join(w, 0);
                cr_assert(world_settle(w), "seed %llu", (unsigned long long)seed);
                world_put_back(w, 0, 0);
            }
            break;
        case 13:
            world_shift_clock(w, world_chance(w, 2) == 0 ? WORLD_HUB : cafe,
                              shifts[world_chance(w, 6)]);
            break;
        case 14: /* what only the lost disk had would be lost: everybody holds his own first */
        case 15:
            world_weather(w, 0, 0, 0);
            for (int k = 0; k < 3 + clones; k++)
                world_join(w, k);
            cr_assert(world_settle(w), "seed %llu", (unsigned long long)seed);
            /* the way of a fork that a lost card wrote is at the hub only */
            if (hub_image && world_own_missing(w, 0) == 0 && world_chance(w, 2) == 0)
                world_put_back(w, WORLD_HUB, 1);
            else
                world_save(w, WORLD_HUB, 1);
            hub_image = true;
            break;
        case 12:
            if (clones < 2) {
                (void)world_clone(w, 1);
                clones++;
            }
            break;
        default:
            world_pass(w, 1000 * (1 + world_chance(w, 60)));
        }
        for (unsigned k = world_chance(w, 40); k > 0; k--)
            world_step(w);
    }
    world_weather(w, 0, 0, 0);
    for (int k = 0; k < 3 + clones; k++)
        world_join(w, k);
    cr_assert(world_settle(w), "seed %llu did not end", (unsigned long long)seed);
    for (int k = 0; k < 3; k++) {
        struct tally t = world_tally(w, k);
        /* A clone of a machine with unsent records sends them too, under the same ids: they count
         * once, as the ledger's tests show. */
        bool cloned = k == 1 && clones > 0;
        cr_assert(t.lost == 0 && t.foreign == 0 && (cloned || t.twice == 0),
                  "seed %llu, café %d: %u %u %u", (unsigned long long)seed, k, t.lost, t.foreign,
                  t.twice);
        cr_assert(world_down_missing(w, k) == 0, "seed %llu, café %d", (unsigned long long)seed, k);
    }
    cr_assert(world_chains_fit(w), "seed %llu", (unsigned long long)seed);
    world_free(w);
}

Test(sync, random_lives_lose_nothing, .timeout = 110)
{
    uint64_t first = world_seed(1000);
    printf("lives from seed %llu on\n", (unsigned long long)first);
    unsigned n = getenv("TEST_RUNS") != NULL ? (unsigned)atoi(getenv("TEST_RUNS")) : 20;
    for (unsigned i = 0; i < n; i++)
        one_random_life(first + i);
}

/* The same old copy of the hub put back more than once: forks in several epochs of its log, an old
 * one and a new one in one message. */
Test(sync, a_new_fork_of_the_hub_is_told_beside_an_old_one)
{
    one_random_life(20261238);
}
