/* Batches by rules B1 and B2; numbers worked by hand with OIML R 22 densities of the reference
 * tables (40 % vol is 948.05 kg/m3 at 20 Cel). */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <stdlib.h>
#include "tests/report/town.h"

static void
measure(struct play *play, const char *of, const char *what, const char *value, const char *unit)
{
    play_say(play,
             "{'kind': 'measure', %s, 'what': '%s', 'value': '%s', 'unit': '%s', 'method': 'm'}",
             of, what, value, unit);
}

/* Within 0.2 mL, as the rule asks. */
static bool
near(const json_t *report, const char *path, double want)
{
    double got = atof(month_word(report, path));
    if (fabs(got - want) <= 0.2)
        return true;
    fprintf(stderr, "%s: expected %.1f, got %s\n", path, want, month_word(report, path));
    return false;
}

static json_t *
march(struct play *play)
{
    play_put(play, 0);
    return month_json(play, "2026-03");
}

Test(batch, B1_stands_in_the_month_of_its_end_with_all_its_records)
{
    struct play *play = town_new();
    town_tub(play, "quayside", "T1", 1000, "2026-03-30T12:00:00Z");
    town_move(play, "quayside", "T1", "2026-03-30T13:00:00Z");
    town_mix(play, "B1", "T1", 1000, "2026-03-31T09:00:00Z");
    town_strain(play, "B1", 2900, 2700, 1050, 50, "2026-04-01T09:00:00Z");
    play_say(play, "{'kind': 'strain', 'at': '2026-05-02T09:00:00Z', 'batch': 'B1', 'station': "
                   "'F1', 'event': 'paper-change', 'loss_g': 7}");
    static const struct want none[] = {{"batches.0", "-"}};
    cr_expect(town_holds(play, 0, "2026-03", none, 1));
    cr_expect(town_holds(play, 0, "2026-05", none, 1));
    HOLDS(play, "2026-04", {"batches.B1.grounds_g", "1000"}, {"batches.B1.in_g", "4000"},
          {"batches.B1.loss_g", "57"}, {"batches.B1.gap_g", "-7"});
}

Test(batch, B2_ethanol_follows_the_liquor)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    measure(play, "'batch': 'B1'", "abv", "25.0", "% vol");
    measure(play, "'batch': 'B1', 'of': 'grounds'", "dry-matter", "38", "%");
    json_t *r = march(play);
    /* in 2000 g / 948.05 kg/m3 x 40 % = 843.8; product 2700 x 25 % = 675;
     * residue 675 x (1050 - 380) / 2900 = 155.9; loss 675 x 50 / 2900 = 11.6; gap 1.3 */
    cr_expect(near(r, "batches.B1.ethanol_in_ml", 843.8));
    cr_expect(near(r, "batches.B1.ethanol_product_ml", 675.0));
    cr_expect(near(r, "batches.B1.ethanol_residue_ml", 155.9));
    cr_expect(near(r, "batches.B1.ethanol_loss_ml", 11.6));
    cr_expect(near(r, "batches.B1.ethanol_gap_ml", 1.3));
    cr_expect(eq(str, (char *)month_word(r, "batches.B1.abv_pct"), "25"));
    cr_expect(eq(str, (char *)month_word(r, "batches.B1.abv_is"), "measured"));
    json_decref(r);
    play_free(play);
}

Test(batch, B2_dry_grounds_are_measured_or_the_house_s_or_40_pct)
{
    static const struct {
        const char *value, *unit, *limit;
        double residue_ml;
    } rows[] = {
        {NULL, NULL, NULL, 675.0 * (1050 - 400) / 2900},
        {NULL, NULL, "35", 675.0 * (1050 - 350) / 2900},
        {"38", "%", "35", 675.0 * (1050 - 380) / 2900},
        {"410.5", "g", "35", 675.0 * (1050 - 410.5) / 2900},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct play *play = town_new();
        if (rows[i].limit != NULL)
            play_say(play,
                     "{'kind': 'limits', 'code': 'grounds-dry', 'value': '%s', 'unit': 'pct', "
                     "'comparator': '<=', 'source': 'house', 'dated': '2026-01-01'}",
                     rows[i].limit);
        town_batch(play, "B1", 1, "2026-03-02");
        measure(play, "'batch': 'B1'", "abv", "25.0", "% vol");
        if (rows[i].value != NULL)
            measure(play, "'batch': 'B1', 'of': 'grounds'", "dry-matter", rows[i].value,
                    rows[i].unit);
        json_t *r = march(play);
        cr_expect(near(r, "batches.B1.ethanol_residue_ml", rows[i].residue_ml), "row %zu", i);
        json_decref(r);
        play_free(play);
    }
}

Test(batch, B2_strength_is_the_last_measured_of_the_batch_else_of_lots_that_agree)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    town_bottle(play, "B1", "L1", 2, "release", "2026-03-03T10:00:00Z");
    town_bottle(play, "B1", "L2", 2, "release", "2026-03-03T11:00:00Z");
    measure(play, "'lot': 'L1'", "abv", "24.0", "% vol");
    measure(play, "'lot': 'L2'", "abv", "24", "% vol");
    json_t *r = march(play);
    cr_expect(eq(str, (char *)month_word(r, "batches.B1.abv_pct"), "24"));
    json_decref(r);
    measure(play, "'lot': 'L2'", "abv", "24.3", "% vol"); /* they agree no more */
    r = march(play);
    cr_expect(eq(str, (char *)month_word(r, "batches.B1.abv_is"), "estimated"));
    json_decref(r);
    measure(play, "'batch': 'B1'", "abv", "25.1", "% vol");
    measure(play, "'batch': 'B1'", "abv", "24.9", "% vol");
    r = march(play);
    cr_expect(eq(str, (char *)month_word(r, "batches.B1.abv_pct"), "24.9"));
    json_decref(r);
    play_free(play);
}

Test(batch, B2_the_abv_of_the_supply_wins_over_the_item_s)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'supply', 'at': '2026-01-03T08:00:00Z', 'lot': 'S50', 'item': "
                   "'spirit40', 'supplier': 'X', 'received': '2026-01-03', 'mass_g': 5000, "
                   "'abv_pct': '50'}");
    play_say(play, "{'kind': 'supply', 'lot': 'S40', 'item': 'spirit40', 'supplier': 'X', "
                   "'received': '2026-01-03', 'mass_g': 5000}");
    play_say(play, "{'kind': 'mix', 'at': '2026-03-02T09:00:00Z', 'batch': 'B1', 'recipe': 'l1', "
                   "'inputs': [{'lot': 'S50', 'mass_g': 930}, {'lot': 'S40', 'mass_g': 948}], "
                   "'vessel': 'V1', 'started': '2026-03-02T09:00:00Z'}");
    town_strain(play, "B1", 1800, 1900, 0, 0, "2026-03-03T09:00:00Z");
    json_t *r = march(play);
    /* 930 g at 50 % (930.14 kg/m3 of the reference table) is 999.8 mL, half of it ethanol: 499.9;
     * 948 g at 40 % is 999.9 mL: 400.0 */
    cr_expect(near(r, "batches.B1.ethanol_in_ml", 899.9));
    json_decref(r);
    play_free(play);
}

Test(batch, a_strength_that_nobody_stated_leaves_ethanol_out)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'item', 'code': 'rum', 'name': 'Rum', 'class': 'spirit'}");
    play_say(play, "{'kind': 'supply', 'at': '2026-01-03T08:00:00Z', 'lot': 'RUM', 'item': 'rum', "
                   "'supplier': 'X', 'received': '2026-01-03', 'mass_g': 5000}");
    play_say(play, "{'kind': 'mix', 'at': '2026-03-02T09:00:00Z', 'batch': 'B1', 'recipe': 'l1', "
                   "'inputs': [{'lot': 'RUM', 'mass_g': 1000}], 'vessel': 'V1', 'started': "
                   "'2026-03-02T09:00:00Z'}");
    town_strain(play, "B1", 990, 1000, 0, 0, "2026-03-03T09:00:00Z");
    HOLDS(play, "2026-03", {"batches.B1.ethanol_in_ml", "-"}, {"batches.B1.abv_pct", "-"},
          {"batches.B1.ethanol_product_ml", "-"}, {"batches.B1.gap_g", "10"});
}

Test(batch, bottles_taken_back_bring_their_ethanol)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    measure(play, "'batch': 'B1'", "abv", "25.0", "% vol");
    town_bottle(play, "B1", "L1", 5, "release", "2026-03-03T10:00:00Z");
    play_say(play, "{'kind': 'mix', 'at': '2026-03-04T09:00:00Z', 'batch': 'B2', 'recipe': 'l1', "
                   "'inputs': [{'lot': 'L1', 'mass_g': 1450}], 'vessel': 'V1', 'started': "
                   "'2026-03-04T09:00:00Z'}");
    town_strain(play, "B2", 1450, 1350, 0, 0, "2026-03-05T09:00:00Z");
    json_t *r = march(play);
    cr_expect(near(r, "batches.B2.ethanol_in_ml", 337.5)); /* half of 2700 mL at 25 % */
    json_decref(r);
    play_free(play);
}
