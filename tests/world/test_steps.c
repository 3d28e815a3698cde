/* test_steps.c - every misfortune with disks and hubs, and a fault at every message of what follows.
 *
 * Each row of `scenes` is a state that disks, cards and backups get into. From the moment that the
 * machines meet again, one fault strikes after the n-th message, for n = 1, 2, ... until the scene
 * needs no more: the wire is cut (which is also what a corrupted frame comes to, since CURVE then
 * ends the connection), a machine restarts, a message comes late, once more, or in another order.
 * Sources: design page, section 3; reliability goals of this project; the scenes are own, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>

#include "tests/world/world.h"

enum {
    A = 0,
    B = 1,
    LATE_MS = 12000,     /* longer than the patience for an answer */
    VERY_LATE_MS = 40000 /* longer than that for a silent hub */
};

/* ---------------------------------------------------------------- scenes */

static void
join_all(struct world *w)
{
    for (int i = 0; i < world_machines(w); i++)
        world_join(w, i);
}

static void
cut_all(struct world *w)
{
    for (int i = 0; i < world_machines(w); i++)
        world_cut(w, i);
}

static void
settle(struct world *w)
{
    join_all(w);
    cr_assert(world_settle(w));
}

static void
backlog(struct world *w)
{
    cut_all(w);
    world_write(w, A, 450);
    world_write(w, B, 20);
    world_write(w, WORLD_HUB, 230);
    world_write_hidden(w, 20);
}

static void
old_image(struct world *w)
{
    world_write(w, A, 60);
    settle(w);
    world_save(w, A, 0);
    settle(w);
    world_write(w, A, 170);
    settle(w);
    world_put_back(w, A, 0);
}

static void
old_image_that_wrote(struct world *w)
{
    old_image(w);
    world_write(w, A, 130);
}

static void
older_image_in_two_epochs(struct world *w)
{
    old_image(w);
    settle(w); /* a new epoch */
    world_write(w, A, 15);
    settle(w);
    world_put_back(w, A, 0);
    world_write(w, A, 3);
}

static void
clone(struct world *w)
{
    world_write(w, A, 40);
    settle(w);
    int other = world_clone(w, A);
    world_write(w, A, 110);
    world_write(w, other, 30);
}

static void
old_hub(struct world *w)
{
    world_write(w, A, 60);
    world_write(w, WORLD_HUB, 20);
    settle(w);
    world_save(w, WORLD_HUB, 1);
    settle(w);
    world_write(w, A, 140);
    world_write(w, B, 5);
    settle(w);
    world_put_back(w, WORLD_HUB, 1);
}

static void
old_hub_that_wrote(struct world *w)
{
    world_write(w, WORLD_HUB, 20);
    settle(w);
    world_save(w, WORLD_HUB, 1);
    settle(w);
    world_write(w, WORLD_HUB, 15); /* the cafés have them */
    world_write(w, A, 10);
    settle(w);
    world_put_back(w, WORLD_HUB, 1);
    world_write(w, WORLD_HUB, 4); /* the numbers once more */
}

static void
both_old(struct world *w)
{
    world_write(w, A, 30);
    settle(w);
    world_save(w, WORLD_HUB, 1);
    settle(w);
    world_write(w, A, 30);
    settle(w);
    world_save(w, A, 0);
    world_put_back(w, WORLD_HUB, 1);
    world_put_back(w, A, 0);
    world_write(w, A, 110);
}

/* The café's image is older than the hub's copy: the hub has records that the café lost. */
static void
both_old_cafe_older(struct world *w)
{
    world_write(w, A, 30);
    settle(w);
    world_save(w, A, 0);
    settle(w);
    world_write(w, A, 130);
    settle(w);
    world_save(w, WORLD_HUB, 1);
    world_put_back(w, A, 0);
    world_write(w, A, 20); /* before it is heard: a fork */
}

static void
empty_card(struct world *w)
{
    world_write(w, A, 230);
    world_write(w, WORLD_HUB, 40);
    settle(w);
    world_wipe(w, A);
    world_write(w, A, 4);
}

static void
empty_hub(struct world *w)
{
    world_write(w, A, 130);
    world_write(w, B, 70);
    settle(w);
    world_wipe(w, WORLD_HUB);
}

static const struct scene {
    const char *name;
    void (*prepare)(struct world *w);
    bool forked;     /* people must be told */
    bool other_hub;  /* the café must say so */
    unsigned epochs; /* of A in the end, at most */
    bool all_at_a;   /* A's store holds all of its site in the end; not the other way of a fork */
} scenes[] = {
    {"a backlog", backlog, false, false, 1, true},
    {"an old image", old_image, false, false, 2, true},
    {"an old image that wrote", old_image_that_wrote, true, false, 2, false},
    {"an image from before the last epoch", older_image_in_two_epochs, true, false, 3, false},
    {"a clone", clone, true, false, 3, false},
    {"an old copy of the hub", old_hub, false, true, 1, true},
    {"an old copy of the hub that wrote", old_hub_that_wrote, false, true, 1, true},
    {"old copies of both", both_old, false, true, 1, true},
    {"old copies of both, the café's older", both_old_cafe_older, true, false, 2, false},
    {"an empty card", empty_card, true, false, 3, true},
    {"an empty hub", empty_hub, false, true, 1, true},
};

/* ---------------------------------------------------------------- faults */

static void
cut(struct world *w, unsigned n)
{
    (void)n;
    cut_all(w);
}

static void
cut_a(struct world *w, unsigned n)
{
    (void)n;
    world_cut(w, A);
    world_pass(w, 3000);
}

static void
restart_hub(struct world *w, unsigned n)
{
    (void)n;
    world_restart(w, WORLD_HUB);
}

static void
restart_cafe(struct world *w, unsigned n)
{
    (void)n;
    world_restart(w, A);
}

static void
restart_both_and_write(struct world *w, unsigned n)
{
    (void)n;
    world_restart(w, A);
    world_restart(w, WORLD_HUB);
    world_write(w, B, 2);
    world_write(w, WORLD_HUB, 2);
}

static void
cut_twice(struct world *w, unsigned n)
{
    cut_all(w);
    join_all(w);
    if (world_run(w, n % 5 + 1))
        cut_all(w);
}

static const struct fault {
    const char *name;
    void (*strike)(struct world *w, unsigned n); /* after the n-th message; NULL: set before */
    int64_t hold_ms, repeat_ms;
} faults[] = {
    {"cut", cut, 0, 0},
    {"one wire cut", cut_a, 0, 0},
    {"cut twice", cut_twice, 0, 0},
    {"hub restarts", restart_hub, 0, 0},
    {"café restarts", restart_cafe, 0, 0},
    {"both restart and write", restart_both_and_write, 0, 0},
    {"late", NULL, LATE_MS, 0},
    {"very late", NULL, VERY_LATE_MS, 0},
    {"once more", NULL, 0, 1},
    {"once more and late", NULL, 0, LATE_MS},
};

/* ---------------------------------------------------------------- what must hold */

static void
judge(struct world *w, const struct scene *scene, const char *when)
{
    for (int i = 0; i < 2; i++) {
        struct tally t = world_tally(w, i);
        cr_assert(t.lost == 0 && t.twice == 0 && t.foreign == 0,
                  "%s: café %d: %u lost, %u twice, %u foreign", when, i, t.lost, t.twice,
                  t.foreign);
        cr_assert(world_down_missing(w, i) == 0 && world_down_extra(w, i) == 0, "%s: café %d, down",
                  when, i);
    }
    cr_assert(world_chains_fit(w), "%s: a chain is broken", when);
    cr_assert(world_forked(w, A) == scene->forked, "%s: forked is %d", when, world_forked(w, A));
    cr_assert(world_forked(w, B) == false, "%s: B is no fork", when);
    cr_assert(world_other_hub(w, A) == scene->other_hub, "%s: another hub: %d", when,
              world_other_hub(w, A));
    cr_assert(world_epochs(w, A) <= scene->epochs, "%s: %u epochs", when, world_epochs(w, A));
    cr_assert(world_own_missing(w, A) == 0 || scene->all_at_a == false, "%s: %u missing at A", when,
              world_own_missing(w, A));
}

/* false: the scene needed fewer than n messages. */
static bool
play(const struct scene *scene, const struct fault *fault, unsigned n)
{
    char when[160];
    struct world *w = world_new(2, world_seed(7000) + n);
    (void)snprintf(when, sizeof when, "%s, %s after message %u", scene->name, fault->name, n);
    scene->prepare(w);
    join_all(w);
    if (fault->hold_ms > 0)
        world_hold(w, n, fault->hold_ms);
    if (fault->repeat_ms > 0)
        world_repeat(w, n, fault->repeat_ms);
    bool more = world_run(w, n);
    if (fault->strike != NULL)
        fault->strike(w, n);
    for (int i = 0; i < world_machines(w); i++)
        if (world_is_cut(w, i))
            world_join(w, i);
    cr_assert(world_settle(w), "%s: no end", when);
    judge(w, scene, when);
    for (int i = 0; i < world_machines(w); i++) /* and life goes on */
        world_write(w, i, 3);
    world_write(w, WORLD_HUB, 3);
    cr_assert(world_settle(w), "%s: no end after more", when);
    judge(w, scene, when);
    world_free(w);
    return more;
}

/* Every n, or with another start in each scene every `step`-th; TEST_STEP=1: every one of all. */
static void
play_all(const struct fault *fault, unsigned step)
{
    unsigned plays = 0;
    step = getenv("TEST_STEP") != NULL ? (unsigned)atoi(getenv("TEST_STEP")) : step;
    for (unsigned i = 0; i < sizeof scenes / sizeof scenes[0]; i++) {
        unsigned n = 1 + i % step;
        plays++;
        for (; play(&scenes[i], fault, n); n += step)
            plays++;
        cr_expect(n > 4, "%s needs only %u messages", scenes[i].name, n);
    }
    printf("%s: %u plays of %zu scenes\n", fault->name, plays, sizeof scenes / sizeof scenes[0]);
}

Test(steps, the_wire_is_cut_after_any_message, .timeout = 200)
{
    play_all(&faults[0], 1);
}

Test(steps, one_wire_is_cut_after_any_message, .timeout = 200)
{
    play_all(&faults[1], 4);
}

Test(steps, the_wire_is_cut_twice, .timeout = 200)
{
    play_all(&faults[2], 4);
}

Test(steps, the_hub_restarts_after_any_message, .timeout = 200)
{
    play_all(&faults[3], 1);
}

Test(steps, the_cafe_restarts_after_any_message, .timeout = 200)
{
    play_all(&faults[4], 1);
}

Test(steps, both_restart_after_any_message_and_write, .timeout = 200)
{
    play_all(&faults[5], 4);
}

Test(steps, any_message_is_late, .timeout = 200)
{
    play_all(&faults[6], 4);
    play_all(&faults[7], 4);
}

Test(steps, any_message_comes_once_more, .timeout = 200)
{
    play_all(&faults[8], 4);
    play_all(&faults[9], 4);
}
