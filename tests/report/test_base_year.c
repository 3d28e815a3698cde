/* The base year beside a month, and when it is to be computed anew. Worked by hand; the idea is that
 * of the GHG Protocol's Corporate Standard, chapter 5, from memory. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/report_month.h"
#include "tests/report/closing.h"
#include "tests/report/town.h"

/* The base year is January and February, at 5 %. */
static struct play *
town_with_base_year(const char *threshold_pct)
{
    struct play *play = town_new();
    play_say(play,
             "{'kind': 'basis', 'at': '2026-01-02T00:00:00Z', 'basis': 'by-product', 'stage': "
             "'food-service', 'from': '2026-01-01', 'reason': 'x', 'decided_by': 'OF', "
             "'base_year': {'first': '2026-01', 'last': '2026-02', 'threshold_pct': '%s', "
             "'policy': 'bought or sold'}}",
             threshold_pct);
    return play;
}

static void
say_uncaptured(struct play *play, const char *site, const char *day, int mass_g, const char *held)
{
    play_say(play,
             "{'kind': 'close', 'at': '%sT20:00:00Z', 'held': '%s', 'site': '%s', 'day': '%s', "
             "'uncaptured_g': %d, 'uncaptured_method': 'estimated', 'stream': 'bin'}",
             day, held, site, day, mass_g);
}

/* 10 kg of January and 10 kg of February to landfill, 4 kg of March. */
static struct play *
three_months(const char *threshold_pct)
{
    struct play *play = town_with_base_year(threshold_pct);
    say_uncaptured(play, "quayside", "2026-01-10", 10000, "2026-01-10T21:00:00Z");
    must_close(play, "2026-01", "2026-02-02T12:00:00Z");
    say_uncaptured(play, "quayside", "2026-02-10", 10000, "2026-02-10T21:00:00Z");
    must_close(play, "2026-02", "2026-03-02T12:00:00Z");
    say_uncaptured(play, "quayside", "2026-03-10", 4000, "2026-03-10T21:00:00Z");
    return play;
}

Test(base_year, its_figures_stand_beside_the_months_own)
{
    struct play *play = three_months("5");
    HOLDS(play, "2026-03", {"base_year.first", "2026-01"}, {"base_year.last", "2026-02"},
          {"base_year.threshold_pct", "5"}, {"base_year.figures.0.figure", "grounds.generated_kg"},
          {"base_year.figures.0.current", "4.000"}, {"base_year.figures.0.now", "20.000"},
          {"base_year.figures.0.first", "20.000"}, {"base_year.figures.0.same_month", "null"},
          {"base_year.figures.0.change_pct", "0.0000"}, {"base_year.figures.0.over", "false"},
          {"base_year.figures.1.now", "0.000"}, {"base_year.figures.1.change_pct", "null"},
          {"base_year.figures.2.figure", "waste.disposed_kg"},
          {"base_year.figures.2.now", "20.000"},
          {"base_year.figures.3.figure", "emissions.inventory_kg_co2e"});
}

Test(base_year, the_month_of_the_same_name_stands_beside_it_a_year_later)
{
    struct play *play = three_months("5");
    say_uncaptured(play, "quayside", "2027-02-10", 7000, "2027-02-10T21:00:00Z");
    HOLDS(play, "2027-02", {"base_year.figures.0.current", "7.000"},
          {"base_year.figures.0.same_month", "10.000"});
}

/* 1 kg late in January: 20 to 21 kg is 5 %, no more than 5; by 1.001 kg it is. */
Test(base_year, restatements_beyond_the_threshold_are_flagged_and_at_it_are_not)
{
    static const struct {
        int late_g;
        const char *pct, *over;
    } rows[] = {{1000, "5.0000", "false"}, {1001, "5.0050", "true"}};
    for (size_t i = 0; i < 2; i++) {
        struct play *play = three_months("5");
        say_uncaptured(play, "foundry", "2026-01-11", rows[i].late_g, "2026-03-03T12:00:00Z");
        must_restate(play, "2026-01", "the foundry was late", "2026-03-04T12:00:00Z");
        json_t *march = month_json(play, "2026-03");
        cr_expect(eq(str, (char *)month_word(march, "base_year.figures.0.first"), "20.000"));
        cr_expect(eq(str, (char *)month_word(march, "base_year.figures.0.change_pct"),
                     (char *)rows[i].pct));
        cr_expect(
            eq(str, (char *)month_word(march, "base_year.figures.0.over"), (char *)rows[i].over));
        const char *last = month_word(march, "cautions.0");
        cr_expect(eq(int, strstr(last, "computed anew") != NULL, i == 1), "%s", last);
        json_decref(march);
        play_free(play);
    }
}

Test(base_year, a_closed_month_keeps_the_base_year_it_was_closed_with)
{
    struct play *play = three_months("5");
    must_close(play, "2026-03", "2026-04-02T12:00:00Z");
    char *before = month_text(play, "2026-03", false);
    say_uncaptured(play, "foundry", "2026-01-11", 9000, "2026-04-03T12:00:00Z");
    must_restate(play, "2026-01", "the foundry was late", "2026-04-04T12:00:00Z");
    char *after = month_text(play, "2026-03", false);
    cr_expect(eq(str, before, after));
    cr_expect(ne(ptr, strstr(before, "base_year"), NULL));
    free(before);
    free(after);
    HOLDS(play, "2026-04", {"base_year.figures.0.now", "29.000"},
          {"base_year.figures.0.over", "true"});
}

Test(base_year, months_that_are_open_or_were_closed_without_figures_leave_it_unknown)
{
    struct play *play = town_with_base_year("5");
    say_uncaptured(play, "quayside", "2026-01-10", 10000, "2026-01-10T21:00:00Z");
    play_say(play, "{'kind': 'period-close', 'at': '2026-02-02T12:00:00Z', 'month': '2026-01', "
                   "'edition': 'UK-2024'}");
    HOLDS(play, "2026-03", {"base_year.figures.0.now", "null"},
          {"base_year.figures.0.change_pct", "null"}, {"base_year.figures.0.over", "false"},
          {"cautions.0", "base year: 2 of its months are not closed, or were closed without "
                         "figures"});
}

/* The foundry leaves after February with half of the grounds; a café comes in March. */
Test(base_year, sites_that_came_or_left_are_told_and_flagged_beyond_the_threshold)
{
    struct play *play = town_with_base_year("10");
    say_uncaptured(play, "quayside", "2026-01-10", 10000, "2026-01-10T21:00:00Z");
    say_uncaptured(play, "foundry", "2026-01-10", 10000, "2026-01-10T21:00:00Z");
    must_close(play, "2026-01", "2026-02-02T12:00:00Z");
    must_close(play, "2026-02", "2026-03-02T12:00:00Z");
    play_say(play, "{'kind': 'site', 'at': '2026-03-01T00:00:00Z', 'code': 'foundry', 'role': "
                   "'cafe', 'zone': 'Europe/Dublin', 'day_start': '04:00', 'currency': 'EUR', "
                   "'joined': '2026-01-01', 'left': '2026-02-28', 'from': '2026-01-01'}");
    play_say(play, "{'kind': 'site', 'at': '2026-03-01T00:00:00Z', 'code': 'pier', 'role': "
                   "'cafe', 'zone': 'Europe/London', 'day_start': '04:00', 'currency': 'GBP', "
                   "'joined': '2026-03-01'}");
    say_uncaptured(play, "quayside", "2026-03-10", 9000, "2026-03-10T21:00:00Z");
    say_uncaptured(play, "pier", "2026-03-10", 1000, "2026-03-10T21:00:00Z");
    HOLDS(play, "2026-03", {"base_year.sites.0.site", "foundry"},
          {"base_year.sites.0.change", "left"}, {"base_year.sites.0.share_pct", "50.0000"},
          {"base_year.sites.1.site", "pier"}, {"base_year.sites.1.change", "joined"},
          {"base_year.sites.1.share_pct", "10.0000"}, {"base_year.sites.2", "-"},
          {"cautions.0", "base year: sites that left since make 50.0000 % of the grounds, more "
                         "than 10 %: if they were bought or sold it is to be computed anew, if "
                         "they were opened or shut it is not"});
}

Test(base_year, a_month_inside_of_it_and_one_sites_report_have_none)
{
    struct play *play = three_months("5");
    play_put(play, 0);
    struct report_ask site = {.month = play_month("2026-03"), .site = "quayside"};
    json_t *one = month_asked(play, &site);
    cr_expect(eq(str, (char *)month_word(one, "base_year.first"), "-"));
    json_decref(one);
    HOLDS(play, "2026-02", {"base_year.first", "-"});
}

/* Lines of different GWP bases are not added: that month closes without an inventory. */
Test(base_year, a_close_without_one_of_the_figures_leaves_only_that_one_unknown)
{
    struct play *play = town_with_base_year("5");
    play_say(play,
             "{'kind': 'factors', 'at': '2026-01-02T00:00:00Z', 'edition': 'MIXED', 'from': "
             "'2026-01-01', 'rows': [{'id': 'M-1', 'material': 'mixed', 'class': 'm', 'treatment': "
             "'landfill', 'value': '500', 'unit': 'kgCO2e/t', 'boundary': 'b', 'purpose': "
             "'inventory', 'gwp_basis': 'AR4', 'source': 's'}, {'id': 'M-2', 'material': 'food', "
             "'class': 'm', 'treatment': 'composting', 'value': '9', 'unit': 'kgCO2e/t', "
             "'boundary': 'b', 'purpose': 'inventory', 'gwp_basis': 'AR5', 'source': 's'}]}");
    say_uncaptured(play, "quayside", "2026-01-10", 10000, "2026-01-10T21:00:00Z");
    play_say(play, "{'kind': 'collection', 'at': '2026-01-11T10:00:00Z', 'site': 'kitchen', "
                   "'stream': 'food', 'mass_g': 500, 'destination': 'composting'}");
    must_close(play, "2026-01", "2026-02-02T12:00:00Z");
    must_close(play, "2026-02", "2026-03-02T12:00:00Z");
    HOLDS(play, "2026-03", {"base_year.figures.0.now", "10.000"},
          {"base_year.figures.3.now", "null"});
}
