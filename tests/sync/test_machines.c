/* test_machines.c - small decisions of sync: how long to wait, whom to believe.
 *
 * Sources: the measured figures of the wire (docs/decisions/0003-wire.md); rows by hand. The talk
 * between machines is in tests/world. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "daemon/sync/branch.h"
#include "daemon/sync/hub_machine.h"
#include "daemon/sync/site_net.h"
#include "daemon/sync/wire.h"

static const struct {
    uint64_t commit_us;
    size_t sites;
    uint64_t wait_us;
} gather[] = {
    {0, 2, 0},      {210, 2, 21},     {210, 1, 0},       {210, 0, 0},
    {9999, 8, 999}, {10000, 8, 1000}, {42400, 40, 1000}, {42400, 1, 0},
};

Test(hub, gathers_a_tenth_of_a_commit_and_never_for_one_site_alone)
{
    for (size_t i = 0; i < sizeof gather / sizeof gather[0]; i++)
        cr_expect(hub_gather_us(gather[i].commit_us, gather[i].sites) == gather[i].wait_us,
                  "row %zu", i);
}

Test(site, is_patient_between_one_and_one_and_a_half_times_the_setting)
{
    uint64_t least = UINT64_MAX, most = 0;
    for (uint32_t chance = 0; chance < 5000; chance += 7) {
        uint64_t ms = site_net_patience_ms(30000, chance);
        least = ms < least ? ms : least;
        most = ms > most ? ms : most;
    }
    cr_expect(eq(u64, least, 30000));
    cr_expect(most > 44000 && most <= 45000, "%llu", (unsigned long long)most);
}

Test(patience, is_short_only_where_a_quick_hub_has_answered)
{
    cr_expect(eq(u64, site_net_silence_ms(30000, true, 41000), SITE_SILENCE_MS));
    cr_expect(eq(u64, site_net_silence_ms(30000, false, 41000), 41000));
    cr_expect(eq(u64, site_net_silence_ms(5000, true, 7000), 5000)); /* sync.retry 5s */
    cr_expect(SITE_SILENCE_MS + SITE_BEAT_MS / 2 < 15000, "a dead line is renewed within 15 s");
}

static const struct {
    uint32_t version;
    enum err e;
} versions[] = {{WIRE_VERSION, ERR_OK},
                {WIRE_OLDEST, ERR_OK},
                {WIRE_VERSION + 1, ERR_FORMAT},
                {1000, ERR_FORMAT},
                {0, ERR_FORMAT}};

Test(wire, a_newer_version_is_refused_in_words)
{
    for (size_t i = 0; i < sizeof versions / sizeof versions[0]; i++) {
        struct err_text why = {.s = ""};
        cr_expect(wire_check_version(versions[i].version, "the hub", &why) == versions[i].e,
                  "row %zu", i);
        if (versions[i].e != ERR_OK)
            cr_expect(strstr(why.s, "upgrade") != NULL, "%s", why.s);
    }
}

static const struct {
    uint64_t len, standing;
} standing[] = {{3, 3}, {9, 9}, {10, 9}, {50, 9}, {0, 0}};

Test(branch, what_stands_ends_before_the_first_branch)
{
    static const struct branch branches[] = {
        {.epoch = 2, .seq = 1, .into = 3},
        {.epoch = 1, .seq = 30, .into = 2},
        {.epoch = 1, .seq = 10, .into = 4},
    };
    for (size_t i = 0; i < sizeof standing / sizeof standing[0]; i++) {
        struct log_mark log = {.epoch = 1, .seq = standing[i].len};
        cr_expect(branch_standing(branches, 3, &log) == standing[i].standing, "row %zu", i);
    }
    struct log_mark other = {.epoch = 1, .mark = {9}, .seq = 50};
    cr_expect(branch_standing(branches, 3, &other) == 50);
}

Test(wire, a_frame_that_is_no_message_is_refused)
{
    static const struct {
        const char *bytes;
        size_t len;
    } frames[] = {
        {"", 0},        {"\x00", 1}, {"\x0a", 1}, {"\x0a\x05xx", 4}, {"\xff\xff\xff\xff", 4},
        {"\x0a\x00", 2} /* a Hello without its version */};
    struct arena arena;
    const Knockbox__Wire *message = NULL;
    cr_assert(arena_init(&arena, ARENA_FRAME, NULL) == ERR_OK);
    for (size_t i = 0; i < sizeof frames / sizeof frames[0]; i++) {
        struct err_text why = {.s = ""};
        enum err e =
            wire_unpack((const uint8_t *)frames[i].bytes, frames[i].len, &arena, &message, &why);
        cr_expect(e == ERR_INPUT, "row %zu: %d", i, e);
    }
    arena_done(&arena);
}
