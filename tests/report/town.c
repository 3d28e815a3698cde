/* town.c - see town.h. */
#include "tests/report/town.h"

#include <stdio.h>
#include <string.h>
#include "proto/when.h"

static const char *const catalogue[] = {
    "{'kind': 'site', 'at': '2026-01-01T00:00:00Z', 'code': 'kitchen', 'role': 'kitchen', "
    "'zone': 'Europe/London', 'day_start': '04:00', 'currency': 'GBP', 'joined': '2026-01-01'}",
    "{'kind': 'site', 'code': 'quayside', 'role': 'cafe', 'zone': 'Europe/London', "
    "'day_start': '04:00', 'currency': 'GBP', 'joined': '2026-01-01'}",
    "{'kind': 'site', 'code': 'foundry', 'role': 'cafe', 'zone': 'Europe/Dublin', "
    "'day_start': '04:00', 'currency': 'EUR', 'joined': '2026-01-01'}",
    "{'kind': 'place', 'code': 'kf', 'for_site': 'kitchen', 'class': 'freezer', 'max_c': '-15'}",
    "{'kind': 'place', 'code': 'qf', 'for_site': 'quayside', 'class': 'freezer', 'max_c': '-15'}",
    "{'kind': 'place', 'code': 'ff', 'for_site': 'foundry', 'class': 'freezer', 'max_c': '-15'}",
    "{'kind': 'stream', 'code': 'food', 'destination': 'composting', 'settles': "
    "'on-collection', 'material': 'food'}",
    "{'kind': 'stream', 'code': 'slops', 'destination': 'composting', 'settles': "
    "'on-collection', 'material': 'food'}",
    "{'kind': 'stream', 'code': 'bin', 'destination': 'landfill', 'settles': 'at-once', "
    "'material': 'mixed'}",
    "{'kind': 'stream', 'code': 'sink', 'destination': 'sewer', 'settles': 'at-once', "
    "'material': 'food'}",
    "{'kind': 'stream', 'code': 'yard', 'destination': 'composting', 'settles': 'at-once', "
    "'material': 'food', 'onsite': true}",
    "{'kind': 'stream', 'code': 'farm', 'destination': 'animal_feed', 'settles': 'at-once', "
    "'material': 'food'}",
    "{'kind': 'stream', 'code': 'burn', 'destination': 'combustion_none', 'settles': 'at-once', "
    "'material': 'mixed'}",
    "{'kind': 'coffee', 'code': 'house'}",
    "{'kind': 'item', 'code': 'spirit40', 'name': 'Spirit', 'class': 'spirit', 'abv_pct': '40'}",
    "{'kind': 'item', 'code': 'sugar', 'name': 'Sugar', 'class': 'sugar'}",
    "{'kind': 'item', 'code': 'brew', 'name': 'Brew', 'class': 'coffee'}",
    "{'kind': 'product', 'code': 'liqueur', 'name': 'Liqueur', 'class': 'liqueur'}",
    "{'kind': 'product', 'code': 'syrup', 'name': 'Syrup', 'class': 'syrup'}",
    "{'kind': 'recipe', 'code': 'l1', 'product': 'liqueur', 'parts': [{'input': 'grounds', "
    "'parts': '1'}, {'input': 'sugar', 'parts': '1'}, {'input': 'spirit40', 'parts': '2'}]}",
    "{'kind': 'recipe', 'code': 's1', 'product': 'syrup', 'parts': [{'input': 'grounds', "
    "'parts': '1'}, {'input': 'sugar', 'parts': '1'}]}",
    "{'kind': 'price', 'product': 'liqueur', 'bottle_ml': 500, 'currency': 'GBP', 'list_minor': "
    "1800, 'transfer_minor': 900, 'from': '2026-01-01'}",
    "{'kind': 'price', 'product': 'liqueur', 'bottle_ml': 500, 'currency': 'EUR', 'list_minor': "
    "2100, 'transfer_minor': 1050, 'from': '2026-01-01'}",
    "{'kind': 'price', 'product': 'syrup', 'bottle_ml': 500, 'currency': 'GBP', 'list_minor': "
    "750, 'transfer_minor': 375, 'from': '2026-01-01'}",
    "{'kind': 'factors', 'edition': 'UK-2024', 'from': '2025-01-01'}",
    "{'kind': 'supply', 'at': '2026-01-02T08:00:00Z', 'lot': 'SPIRIT', 'item': 'spirit40', "
    "'supplier': 'Still House', 'supplier_lot': 'N1', 'received': '2026-01-02', 'mass_g': "
    "100000000, 'abv_pct': '40.0'}",
    "{'kind': 'supply', 'lot': 'SUGAR', 'item': 'sugar', 'supplier': 'Cane Stores', "
    "'received': '2026-01-02', 'mass_g': 100000000}",
};

struct play *
town_new_without_basis(void)
{
    struct play *play = play_new("kitchen");
    for (size_t i = 0; i < sizeof catalogue / sizeof catalogue[0]; i++)
        play_say(play, "%s", catalogue[i]);
    return play;
}

struct play *
town_new(void)
{
    struct play *play = town_new_without_basis();
    play_say(play, "{'kind': 'basis', 'at': '2026-01-01T00:00:00Z', 'basis': 'by-product', "
                   "'stage': 'processing', 'from': '2026-01-01', 'reason': 'kept clean', "
                   "'decided_by': 'OF'}");
    return play;
}

/* Some minutes after an instant. */
static const char *
after(const char *at, int minutes, char text[WHEN_TEXT])
{
    return when_print(play_ms(at) + minutes * INT64_C(60000), 0, text);
}

void
town_tub(struct play *play, const char *site, const char *tub, int net_g, const char *at)
{
    play_say(play,
             "{'kind': 'tub', 'at': '%s', 'site': '%s', 'tub': '%s', 'coffee': 'house', 'origin': "
             "'espresso', 'gross_g': %d, 'tare_g': 100, 'method': 'weighed', 'first_knock': '%s', "
             "'frozen': '%s', 'place': '%s'}",
             at, site, tub, net_g + 100, at, at, site[0] == 'q' ? "qf" : "ff");
}

void
town_move(struct play *play, const char *site, const char *tub, const char *at)
{
    char text[WHEN_TEXT];
    play_say(play, "{'kind': 'handover', 'at': '%s', 'site': '%s', 'run': 'R', 'tubs': ['%s']}", at,
             site, tub);
    play_say(play, "{'kind': 'receive', 'at': '%s', 'run': 'R', 'tubs': [{'tub': '%s'}]}",
             after(at, 60, text), tub);
}

void
town_mix(struct play *play, const char *batch, const char *tub, int grounds_g, const char *at)
{
    play_say(play,
             "{'kind': 'mix', 'at': '%s', 'batch': '%s', 'recipe': 'l1', 'inputs': [{'tub': '%s', "
             "'mass_g': %d}, {'lot': 'SUGAR', 'mass_g': %d}, {'lot': 'SPIRIT', 'mass_g': %d}], "
             "'vessel': 'V1', 'started': '%s'}",
             at, batch, tub, grounds_g, grounds_g, 2 * grounds_g, at);
}

void
town_strain(struct play *play, const char *batch, int product_g, int product_ml, int residue_g,
            int loss_g, const char *at)
{
    play_say(play,
             "{'kind': 'strain', 'at': '%s', 'batch': '%s', 'station': 'F1', 'event': 'end', "
             "'product_g': %d, 'product_ml': %d, 'residue_g': %d, 'loss_g': %d}",
             at, batch, product_g, product_ml, residue_g, loss_g);
}

void
town_batch(struct play *play, const char *batch, int units, const char *day)
{
    char begin[WHEN_TEXT], tub[80], text[WHEN_TEXT];
    (void)snprintf(begin, sizeof begin, "%sT06:00:00Z", day);
    (void)snprintf(tub, sizeof tub, "T-%s", batch);
    town_tub(play, "quayside", tub, 1000 * units, begin);
    town_move(play, "quayside", tub, after(begin, 10, text));
    town_mix(play, batch, tub, 1000 * units, after(begin, 120, text));
    town_strain(play, batch, 2900 * units, 2700 * units, 1050 * units, 50 * units,
                after(begin, 180, text));
}

void
town_bottle(struct play *play, const char *batch, const char *lot, int count, const char *decision,
            const char *at)
{
    char text[WHEN_TEXT];
    play_say(play,
             "{'kind': 'bottle', 'at': '%s', 'batch': '%s', 'lot': '%s', 'bottle_ml': 500, "
             "'count': %d, 'product_g': %d}",
             at, batch, lot, count, count * 540);
    if (decision[0] != '\0')
        play_say(play,
                 "{'kind': 'release', 'at': '%s', 'lot': '%s', 'decision': '%s', 'licence': "
                 "'PREMISES-1'}",
                 after(at, 10, text), lot, decision);
}

bool
town_holds(struct play *play, uint64_t seed, const char *month, const struct want *wants, size_t n)
{
    if (seed != 0)
        play_shuffle(play, seed);
    play_put(play, seed != 0 ? 5 : 0);
    json_t *report = month_json(play, month);
    bool same = month_adds_up(report);
    for (size_t i = 0; i < n; i++) {
        const char *got = month_word(report, wants[i].path);
        if (strcmp(got, wants[i].word) == 0)
            continue;
        fprintf(stderr, "%s %s: expected %s, got %s\n", month, wants[i].path, wants[i].word, got);
        same = false;
    }
    json_decref(report);
    return same;
}

bool
town_flags(struct play *play, const char *month, const char *code, const char *subject)
{
    play_put(play, 0);
    json_t *report = month_json(play, month);
    size_t i;
    json_t *row;
    bool found = false;
    json_array_foreach(month_at(report, "quality.discrepancies"), i, row)
    {
        found = found || (strcmp(month_word(row, "code"), code) == 0 &&
                          strcmp(month_word(row, "subject"), subject) == 0);
    }
    json_decref(report);
    return found;
}
