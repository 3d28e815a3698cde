/* randoms.c - see randoms.h. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "proto/when.h"
#include "tests/report/randoms.h"
#include "tests/report/town.h"

struct dice {
    uint64_t state;
};

static uint64_t throw(struct dice * dice, uint64_t sides)
{
    dice->state = dice->state * 6364136223846793005U + 1442695040888963407U;
    return (dice->state >> 33) % sides;
}

static const char *
one_of(struct dice *dice, const char *const *words, size_t n)
{
    return words[throw(dice, n)];
}

static const char *const cafes[] = {"quayside", "foundry"};
static const char *const sites[] = {"quayside", "foundry", "kitchen"};
static const char *const streams[] = {"food", "food", "slops", "bin",
                                      "sink", "yard", "farm",  "nowhere"};
static const char *const ends[] = {"composting", "landfill", "anaerobic_digestion", "sewer"};

/* A moment of February to April, on any minute; many fall together. */
static const char *
moment(struct dice *dice, char text[WHEN_TEXT])
{
    int64_t from = play_ms("2026-02-10T00:00:00Z");
    return when_print(from + (int64_t) throw(dice, 70 * 48) * 1800000, 0, text);
}

/* The same, and now and then the hub hears of it days later: goes between the quotes of `at`. */
static const char *
heard(struct dice *dice, char text[96])
{
    char at[WHEN_TEXT], held[WHEN_TEXT];
    (void)moment(dice, at);
    if (throw(dice, 4) > 0)
        return strcpy(text, at);
    (void)when_print(play_ms(at) + (int64_t) throw(dice, 30 * 24) * 3600000, 0, held);
    snprintf(text, 96, "%s', 'held': '%s", at, held);
    return text;
}

static void
say_tub(struct play *play, struct dice *dice)
{
    char at[WHEN_TEXT], tub[16];
    snprintf(tub, sizeof tub, "T%d", (int) throw(dice, 40));
    town_tub(play, one_of(dice, cafes, 2), tub, 200 + (int) throw(dice, 4000), moment(dice, at));
}

static void
say_way(struct play *play, struct dice *dice)
{
    char at[96];
    int tub = (int) throw(dice, 42);
    if (throw(dice, 3) > 0)
        play_say(play,
                 "{'kind': 'handover', 'at': '%s', 'site': '%s', 'run': 'R%d', 'tubs': ['T%d', "
                 "'T%d']}",
                 heard(dice, at), one_of(dice, cafes, 2), (int) throw(dice, 5), tub, tub + 1);
    else
        play_say(play,
                 "{'kind': 'receive', 'at': '%s', 'tubs': [{'tub': 'T%d', 'gross_g': %d, "
                 "'accepted': %s}]}",
                 heard(dice, at), tub, 100 + (int) throw(dice, 4500),
                 throw(dice, 5) > 0 ? "true" : "false");
}

static void
say_mix(struct play *play, struct dice *dice)
{
    char at[WHEN_TEXT], started[WHEN_TEXT];
    (void)strcpy(started, moment(dice, at));
    play_say(play,
             "{'kind': 'mix', 'at': '%s', 'batch': 'B%d', 'recipe': '%s', 'inputs': [{'tub': "
             "'T%d', 'mass_g': %d, 'empty': %s}, {'lot': '%s', 'mass_g': %d}], 'vessel': 'V', "
             "'started': '%s'}",
             started, (int) throw(dice, 8), throw(dice, 9) > 0 ? "l1" : "x", (int) throw(dice, 42),
             (int) throw(dice, 3000), throw(dice, 3) > 0 ? "false" : "true",
             throw(dice, 4) > 0 ? "SPIRIT" : "L1", (int) throw(dice, 6000), started);
}

static void
say_strain(struct play *play, struct dice *dice)
{
    char at[96];
    play_say(play,
             "{'kind': 'strain', 'at': '%s', 'site': '%s', 'batch': 'B%d', 'station': 'F1', "
             "'event': '%s', 'product_g': %d, 'product_ml': %d, 'residue_g': %d, 'loss_g': %d}",
             heard(dice, at), throw(dice, 4) > 0 ? "kitchen" : "quayside", (int) throw(dice, 8),
             throw(dice, 2) > 0 ? "end" : "paper-change", (int) throw(dice, 4000),
             (int) throw(dice, 4000), (int) throw(dice, 3000), (int) throw(dice, 200));
}

static void
say_residue(struct play *play, struct dice *dice)
{
    char at[96], batch[32] = "";
    if (throw(dice, 3) > 0)
        snprintf(batch, sizeof batch, "'batch': 'B%d', ", (int) throw(dice, 9));
    play_say(play, "{'kind': 'residue', 'at': '%s', 'site': '%s', %s'mass_g': %d, 'stream': '%s'}",
             heard(dice, at), throw(dice, 3) > 0 ? "kitchen" : "foundry", batch,
             1 + (int) throw(dice, 2500), one_of(dice, streams, 8));
}

static void
say_collection(struct play *play, struct dice *dice)
{
    char at[96];
    play_say(play,
             "{'kind': 'collection', 'at': '%s', 'site': '%s', 'stream': '%s', 'mass_g': %d, "
             "'destination': '%s', 'emptied': %s}",
             heard(dice, at), one_of(dice, sites, 3), one_of(dice, streams, 8),
             (int) throw(dice, 4000), one_of(dice, ends, 4), throw(dice, 2) > 0 ? "true" : "false");
}

static void
say_close(struct play *play, struct dice *dice)
{
    char at[WHEN_TEXT], day[DAY_TEXT], stream[40] = "";
    (void)day_print((int32_t)(play_ms(moment(dice, at)) / 86400000), day);
    if (throw(dice, 4) > 0)
        snprintf(stream, sizeof stream, ", 'stream': '%s'", one_of(dice, streams, 8));
    play_say(play,
             "{'kind': 'close', 'at': '%s', 'site': '%s', 'day': '%s', 'uncaptured_g': %d, "
             "'uncaptured_method': 'estimated'%s}",
             at, one_of(dice, cafes, 2), day, (int) throw(dice, 900), stream);
}

static void
say_discard(struct play *play, struct dice *dice)
{
    static const char *const whats[] = {"tub", "lot", "batch"};
    static const char *const letters[] = {"T", "L", "B"};
    char at[96];
    size_t which = throw(dice, 3);
    bool count = which < 2 && throw(dice, 2) > 0;
    play_say(play,
             "{'kind': 'discard', 'at': '%s', 'site': '%s', 'what': '%s', 'code': '%s%d', '%s': "
             "%d, 'reason': 'x', 'stream': '%s'}",
             heard(dice, at), one_of(dice, sites, 3), whats[which], letters[which],
             (int) throw(dice, which == 0 ? 42 : 6), count ? "count" : "mass_g",
             1 + (int) throw(dice, count ? 3 : 2500), one_of(dice, streams, 8));
}

static void
say_discarded_tub(struct play *play, struct dice *dice)
{
    char at[96];
    bool count = throw(dice, 2) > 0;
    play_say(play,
             "{'kind': 'discard', 'at': '%s', 'site': '%s', 'what': 'tub', 'code': 'T%d', '%s': "
             "%d, 'reason': 'x', 'stream': '%s'}",
             heard(dice, at), one_of(dice, sites, 3), (int) throw(dice, 42),
             count ? "count" : "mass_g", 1 + (int) throw(dice, count ? 1 : 2500),
             one_of(dice, streams, 8));
}

static void
say_bottles(struct play *play, struct dice *dice)
{
    char at[WHEN_TEXT];
    int lot = (int) throw(dice, 5), count = 1 + (int) throw(dice, 12);
    const char *site = one_of(dice, cafes, 2);
    (void)moment(dice, at);
    switch (throw(dice, 6)) {
    case 0:
        play_say(play,
                 "{'kind': 'bottle', 'at': '%s', 'batch': 'B%d', 'lot': 'L%d', 'bottle_ml': 500, "
                 "'count': %d, 'product_g': %d}",
                 at, (int) throw(dice, 9), lot, count, count * 540);
        break;
    case 1:
        play_say(play, "{'kind': 'release', 'at': '%s', 'lot': 'L%d', 'decision': '%s'}", at, lot,
                 throw(dice, 2) > 0 ? "release" : "hold");
        break;
    case 2:
        play_say(play,
                 "{'kind': 'dispatch', 'at': '%s', 'lot': 'L%d', 'to_site': '%s', 'count': %d}", at,
                 lot, site, count);
        break;
    case 3:
        play_say(play,
                 "{'kind': 'accept', 'at': '%s', 'site': '%s', 'lot': 'L%d', 'count': %d, "
                 "'broken': %d}",
                 at, site, lot, count, (int) throw(dice, 2));
        break;
    case 4:
        play_say(play,
                 "{'kind': 'stocktake', 'at': '%s', 'site': '%s', 'place': '%s', 'tubs': ['T1', "
                 "'T%d'], 'bottles': [{'lot': 'L%d', 'count': %d}]}",
                 at, site, site[0] == 'q' ? "qf" : "ff", (int) throw(dice, 42), lot, count);
        break;
    default:
        play_say(play,
                 "{'kind': 'sale', 'at': '%s', 'site': '%s', 'lot': 'L%d', 'count': %d, "
                 "'unit_minor': 1900, 'currency': '%s'}",
                 at, site, lot, count, site[0] == 'q' ? "GBP" : "EUR");
    }
}

/* Voids or brings back one of the lines said so far. */
static void
say_correction(struct play *play, struct dice *dice)
{
    char at[WHEN_TEXT];
    play_say(play,
             "{'kind': 'correct', 'at': '%s', 'site': 'kitchen', 'record': "
             "'019c0000-0000-7000-8000-%012llx', 'void': true, 'reason': 'x'}",
             moment(dice, at), (unsigned long long)(30 + throw(dice, play_size(play))));
}

static struct play *
play_of(struct dice *dice, bool waste)
{
    static void (*const say[])(struct play *, struct dice *) = {
        say_tub,     say_tub,        say_way,   say_way,     say_mix,     say_strain,
        say_residue, say_collection, say_close, say_discard, say_bottles, say_bottles};
    struct play *play = town_new();
    if (waste)
        play_say(play, "{'kind': 'basis', 'at': '2026-01-03T00:00:00Z', 'basis': 'waste', "
                       "'stage': 'food-service', 'from': '2026-01-01', 'reason': 'x', "
                       "'decided_by': 'OF'}");
    for (int i = 0; i < 220; i++) {
        size_t which = throw(dice, sizeof say / sizeof say[0]);
        say[waste && say[which] == say_discard ? 0 : which](play, dice);
    }
    for (int i = 0; waste && i < 12; i++)
        say_discarded_tub(play, dice);
    for (int i = 0; i < 6; i++)
        say_correction(play, dice);
    play_say(play, "{'kind': 'recall', 'at': '2026-03-20T12:00:00Z', 'code': 'R', 'of': 'batch', "
                   "'of_code': 'B1', 'reason': 'x'}");
    return play;
}

struct play *
random_open_months(uint64_t seed, bool waste)
{
    struct dice dice = {seed};
    return play_of(&dice, waste);
}

struct play *
random_months(uint64_t seed, bool waste)
{
    struct dice dice = {seed};
    struct play *play = play_of(&dice, waste);
    if (throw(&dice, 2) > 0) { /* some months are closed in the middle of it */
        play_say(play, "{'kind': 'period-close', 'at': '2026-03-05T12:00:00Z', 'month': "
                       "'2026-02', 'edition': 'UK-2024'}");
        play_say(play, "{'kind': 'period-close', 'at': '2026-04-06T12:00:00Z', 'month': "
                       "'2026-03', 'edition': 'UK-2024'}");
    }
    return play;
}

uint64_t
randoms_number(const char *name, uint64_t otherwise)
{
    const char *text = getenv(name);
    return text != NULL ? strtoull(text, NULL, 10) : otherwise;
}
