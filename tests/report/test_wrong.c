/* Wrong answers that reports of this kind usually give: for each a month in which the right figure and the
 * wrong one differ. Rules by their numbers (docs/report-rules.md); figures worked by hand. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "tests/report/closing.h"
#include "tests/report/town.h"

#define TUB_ID "019d0000-0000-7000-8000-00000000000a"

/* 4 kg of grounds go into a batch, which leaves 4.2 kg of residue. */
static void
batch(struct play *play)
{
    town_batch(play, "B1", 4, "2026-03-02");
}

static void
put_residue(struct play *play, int mass_g, const char *stream)
{
    play_say(play,
             "{'kind': 'residue', 'at': '2026-03-05T12:00:00Z', 'batch': 'B1', 'mass_g': %d, "
             "'stream': '%s'}",
             mass_g, stream);
}

static void
compost(struct play *play)
{
    batch(play);
    put_residue(play, 4200, "yard");
}

static void
drain(struct play *play)
{
    batch(play);
    put_residue(play, 1000, "sink");
    put_residue(play, 3200, "bin");
}

static void
feed(struct play *play)
{
    batch(play);
    put_residue(play, 4200, "farm");
}

static void
collect_in_april(struct play *play)
{
    batch(play);
    put_residue(play, 4200, "food");
    play_say(play, "{'kind': 'collection', 'at': '2026-04-02T12:00:00Z', 'stream': 'food', "
                   "'mass_g': 4200, 'destination': 'composting'}");
}

static void
tub(struct play *play)
{
    town_tub(play, "quayside", "T1", 2000, "2026-03-02T20:00:00Z");
}

static void
moved_tub(struct play *play)
{
    tub(play);
    town_move(play, "quayside", "T1", "2026-03-03T06:00:00Z");
}

static void
say_tub(struct play *play, const char *at, const char *held)
{
    play_say(
        play,
        "{'kind': 'tub', 'id': '" TUB_ID "', 'at': '%s', 'held': '%s', 'site': 'quayside', "
        "'tub': 'T1', 'coffee': 'house', 'origin': 'espresso', 'gross_g': 2100, 'tare_g': 100, "
        "'method': 'weighed', 'first_knock': '%s', 'frozen': '%s', 'place': 'qf'}",
        at, held, at, at);
}

static void
void_tub(struct play *play)
{
    say_tub(play, "2026-03-02T20:00:00Z", "2026-03-02T20:00:01Z");
    play_say(play, "{'kind': 'correct', 'at': '2026-03-03T08:00:00Z', 'site': 'quayside', "
                   "'record': '" TUB_ID "', 'void': true, 'reason': 'typed twice'}");
}

/* London is an hour ahead of UTC then, days begin at 04:00. */
static void
last_night(struct play *play)
{
    say_tub(play, "2026-04-01T02:30:00Z", "2026-04-01T02:30:01Z");
    play_say(play, "{'kind': 'close', 'at': '2026-04-01T02:40:00Z', 'site': 'quayside', 'day': "
                   "'2026-03-31', 'uncaptured_g': 700, 'uncaptured_method': 'weighed', 'stream': "
                   "'bin'}");
}

static void
late_tub(struct play *play)
{
    must_close(play, "2026-03", "2026-04-03T17:00:00Z");
    say_tub(play, "2026-03-02T20:00:00Z", "2026-04-05T12:00:00Z");
}

static void
short_ton(struct play *play)
{
    play_say(play, "{'kind': 'factors', 'at': '2026-01-01T00:00:00Z', 'edition': 'US-OWN', 'from': "
                   "'2026-02-01', 'rows': [{'id': 'U-L', 'material': 'mixed', 'class': 'waste', "
                   "'treatment': 'landfill', 'value': '0.67', 'unit': 'tCO2e/short_ton', "
                   "'boundary': 'b', 'purpose': 'inventory', 'gwp_basis': 'AR5', 'source': 's'}]}");
    play_say(play, "{'kind': 'close', 'at': '2026-03-02T22:00:00Z', 'site': 'quayside', 'day': "
                   "'2026-03-02', 'uncaptured_g': 1000000, 'uncaptured_method': 'weighed', "
                   "'stream': 'bin'}");
}

static void
sell(struct play *play, const char *site, int count, int unit_minor, const char *currency)
{
    play_say(play,
             "{'kind': 'sale', 'at': '2026-03-09T12:00:00Z', 'site': '%s', 'product': 'liqueur', "
             "'bottle_ml': 500, 'count': %d, 'unit_minor': %d, 'currency': '%s'}",
             site, count, unit_minor, currency);
}

static void
two_currencies(struct play *play)
{
    sell(play, "quayside", 1, 1800, "GBP");
    sell(play, "foundry", 1, 2100, "EUR");
}

static void
partly_estimated(struct play *play)
{
    tub(play);
    play_say(play, "{'kind': 'close', 'at': '2026-03-02T22:00:00Z', 'site': 'quayside', 'day': "
                   "'2026-03-02', 'uncaptured_g': 2000, 'uncaptured_method': 'estimated', "
                   "'stream': 'bin'}");
}

static void
received_lighter(struct play *play)
{
    tub(play);
    play_say(play, "{'kind': 'receive', 'at': '2026-03-03T07:00:00Z', 'run': 'R', 'tubs': [{'tub': "
                   "'T1', 'gross_g': 2060}]}");
}

static const struct wrong {
    const char *name;
    void (*happens)(struct play *play);
    const char *month, *path, *right, *wrong;
} wrongs[] = {
    {"S7 W6 first use is no destination", batch, "2026-03", "waste.diverted_kg", "0.000", "4.000"},
    {"S7 it is told apart", batch, "2026-03", "first_use_kg", "4.000", "0.000"},
    {"W2 residue waits at its batch: it has no end yet", batch, "2026-03", "waste.waiting_kg",
     "4.200", "0.000"},
    {"W1 grounds used are not waste, and again as residue", compost, "2026-03",
     "waste.generated_kg", "4.200", "8.200"},
    {"W6 nor diverted twice", compost, "2026-03", "waste.diverted_kg", "4.200", "8.200"},
    {"E3 treatment of one's own is not bought: not in the inventory", compost, "2026-03",
     "emissions.inventory_kg_co2e", "0", "0.037728"},
    {"W6 what was drained is not disposed of", drain, "2026-03", "waste.disposed_kg", "3.200",
     "4.200"},
    {"W6 nor generated", drain, "2026-03", "waste.generated_kg", "3.200", "4.200"},
    {"W6 but it has its row", drain, "2026-03", "waste.drain_kg", "1.000", "0.000"},
    {"E1 what has no factor is not 0", feed, "2026-03", "emissions.lines.animal_feed.kg_co2e",
     "not quantified", "0"},
    {"E1 its mass is told", feed, "2026-03", "emissions.not_quantified_kg", "4.200", "0.000"},
    {"W4 an end is in the month that settled it", collect_in_april, "2026-03", "waste.diverted_kg",
     "0.000", "4.200"},
    {"W4 there it is", collect_in_april, "2026-04", "waste.diverted_kg", "4.200", "0.000"},
    {"G1 net, not gross", tub, "2026-03", "grounds.captured_kg", "2.000", "2.100"},
    {"S1 what is moved is not filled again", moved_tub, "2026-03", "stock.filled_kg", "2.000",
     "4.000"},
    {"S1 nor lost on the way", moved_tub, "2026-03", "stock.unexplained_kg", "0.000", "-2.000"},
    {"G1 S4 a weight at receipt changes no figure of the grounds", received_lighter, "2026-03",
     "grounds.captured_kg", "2.000", "1.960"},
    {"S4 it is a difference of the stock", received_lighter, "2026-03", "stock.unexplained_kg",
     "-0.040", "0.000"},
    {"R1 a void counts no more", void_tub, "2026-03", "grounds.captured_kg", "0.000", "2.000"},
    {"T1 T3 the last night's tub is that night's", last_night, "2026-03", "grounds.captured_kg",
     "2.000", "0.000"},
    {"T1 and its close", last_night, "2026-03", "grounds.uncaptured_kg", "0.700", "0.000"},
    {"T4 not the next month's", last_night, "2026-04", "grounds.generated_kg", "0.000", "2.700"},
    {"R6 what came late changes no closed month", late_tub, "2026-03", "grounds.captured_kg",
     "0.000", "2.000"},
    {"R7 nor a total of the next", late_tub, "2026-04", "grounds.captured_kg", "0.000", "2.000"},
    {"R7 it is told there", late_tub, "2026-04", "stock.late_kg", "2.000", "0.000"},
    {"E3 a short ton is no tonne", short_ton, "2026-03", "emissions.inventory_kg_co2e",
     "738.548578", "670"},
    {"P2 pounds", two_currencies, "2026-03", "product.1.sold_minor", "1800", "3900"},
    {"P2 and euros are never added", two_currencies, "2026-03", "product.0.sold_minor", "2100",
     "3900"},
    {"G2 an estimate is not weighed", partly_estimated, "2026-03", "quality.estimated_share_pct",
     "50.0000", "0.0000"},
    {"G3 what was not kept was generated", partly_estimated, "2026-03", "grounds.capture_rate_pct",
     "50.0000", "100.0000"},
};

Test(wrong, each_usual_wrong_answer_is_not_given)
{
    for (size_t i = 0; i < sizeof wrongs / sizeof wrongs[0]; i++) {
        struct play *play = town_new();
        struct want want = {wrongs[i].path, wrongs[i].right};
        cr_assert(ne(str, (char *)wrongs[i].right, (char *)wrongs[i].wrong));
        wrongs[i].happens(play);
        cr_expect(town_holds(play, i, wrongs[i].month, &want, 1), "%s", wrongs[i].name);
        play_free(play);
    }
}

Test(wrong, N8_yen_have_no_decimals_and_dinars_three)
{
    struct play *play = town_new();
    sell(play, "quayside", 1, 1200, "JPY");
    sell(play, "quayside", 2, 1234, "KWD");
    play_put(play, 0);
    char *words = month_text(play, "2026-03", true);
    cr_expect(strstr(words, "JPY 1,200") != NULL, "%s", words);
    cr_expect(strstr(words, "KWD 2.468") != NULL, "%s", words);
    cr_expect(strstr(words, "JPY 12.00") == NULL && strstr(words, "KWD 24.68") == NULL);
    free(words);
    play_free(play);
}
