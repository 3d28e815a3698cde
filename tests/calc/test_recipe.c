/* The recipe book's arithmetic, notes and money. Rules of the trade: common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "daemon/calc/currency.h"
#include "daemon/calc/notes.h"
#include "daemon/calc/recipe.h"
#include "tests/calc/near.h"

#define GROUNDS(parts)                         \
    {                                          \
        CALC_GROUNDS, parts, 60, 55, 65, false \
    }
#define SUGAR(parts)                      \
    {                                     \
        CALC_SUGAR, parts, 0, 0, 0, false \
    }
#define SPIRIT(parts)                         \
    {                                         \
        CALC_SPIRIT, parts, 40, 40, 40, false \
    }
#define COFFEE(parts)                            \
    {                                            \
        CALC_COFFEE, parts, 1.3, 1.3, 1.3, false \
    }

static const struct calc_recipe_line liqueur[] = {GROUNDS(1), SUGAR(1), SPIRIT(1), COFFEE(2)};
static const struct calc_recipe_line syrup[] = {GROUNDS(1), SUGAR(1), COFFEE(1)};

static struct calc_recipe_card
card(const struct calc_recipe_line *lines, size_t n, struct calc_recipe_size size)
{
    struct calc_recipe recipe = {.lines = lines, .count = n, .yield_said = NAN};
    struct calc_recipe_card c;
    cr_assert(calc_recipe(&recipe, &size, &c) == CALC_RECIPE_GOOD);
    return c;
}

/* Common practice, no source: 100 g grounds give about 300 g of liqueur, 150 g of syrup. */
Test(recipe, a_hundred_grams_of_grounds_give_what_is_usual)
{
    struct calc_recipe_card c = card(liqueur, 4, (struct calc_recipe_size){.grounds_g = 100});
    EXPECT_NEAR(c.product_g, 300, 1e-9, "liqueur");
    EXPECT_NEAR(c.total_g, 500, 1e-9, "mix");
    c = card(syrup, 3, (struct calc_recipe_size){.grounds_g = 100});
    EXPECT_NEAR(c.product_g, 150, 1e-9, "syrup");
    EXPECT_NEAR(c.liquor.abv_pct, 0, 1e-12, "no spirit in it");
}

/* By hand: 333 g ethanol of 1000 g spirit of 40 % are 421.9 ml; 4600 g of liquor at 1.078 kg/l. */
Test(recipe, the_usual_liqueur_is_near_ten_per_cent)
{
    struct calc_recipe_card c = card(liqueur, 4, (struct calc_recipe_size){.grounds_g = 1000});
    EXPECT_NEAR(c.liquor.abv_pct, 9.9, 0.1, "strength");
    cr_assert(c.abv_low < c.liquor.abv_pct && c.liquor.abv_pct < c.abv_high);
    cr_assert(c.sugar_low < c.liquor.sugar_g_per_l && c.liquor.sugar_g_per_l < c.sugar_high);
}

/* Scaling: what is weighed for a volume gives that volume back, and strength knows no size. */
Test(recipe, a_wanted_volume_comes_back_and_strength_knows_no_size)
{
    double abv = card(liqueur, 4, (struct calc_recipe_size){.grounds_g = 1}).liquor.abv_pct;
    for (double ml = 1; ml <= 1e9; ml *= 10) {
        struct calc_recipe_card c = card(liqueur, 4, (struct calc_recipe_size){.product_ml = ml});
        EXPECT_NEAR(c.product_ml, ml, 1e-9 * ml, "%g ml", ml);
        EXPECT_NEAR(c.liquor.abv_pct, abv, 1e-12, "%g ml", ml);
        EXPECT_NEAR(c.product_g, 3 * c.grounds_g, 1e-9 * ml, "%g ml", ml);
        cr_assert(c.product_ml_low < ml && ml < c.product_ml_high);
    }
}

Test(recipe, own_batches_move_the_yield_and_with_it_what_is_weighed)
{
    static const double yields[20] = {2.4, 2.4, 2.4, 2.4, 2.4, 2.4, 2.4, 2.4, 2.4, 2.4,
                                      2.4, 2.4, 2.4, 2.4, 2.4, 2.4, 2.4, 2.4, 2.4, 2.4};
    struct calc_recipe recipe = {liqueur, 4, NAN, yields, 20};
    struct calc_recipe_size size = {.product_g = 3000};
    struct calc_recipe_card c;
    cr_assert(calc_recipe(&recipe, &size, &c) == CALC_RECIPE_GOOD);
    cr_assert(c.yield.mean > 2.4 && c.yield.mean < 2.6);
    EXPECT_NEAR(c.grounds_g, 3000 / c.yield.mean, 1e-6, "more grounds than the usual kilogram");
}

Test(recipe, the_catalogue_s_yield_stands_in_for_common_practice)
{
    struct calc_recipe recipe = {liqueur, 4, 2.8, NULL, 0};
    struct calc_recipe_size size = {.grounds_g = 1000};
    struct calc_recipe_card c;
    cr_assert(calc_recipe(&recipe, &size, &c) == CALC_RECIPE_GOOD);
    EXPECT_NEAR(c.product_g, 2800, 1e-9, "said");
}

Test(recipe, a_liquid_sweetener_is_refused_in_the_base_with_the_reason)
{
    struct calc_recipe_line lines[] = {GROUNDS(1), {CALC_SUGAR, 1, 0, 0, 0, true}, COFFEE(1)};
    struct calc_recipe recipe = {.lines = lines, .count = 3, .yield_said = NAN};
    cr_assert(calc_recipe_check(&recipe) == CALC_RECIPE_WET_SUGAR);
    cr_assert(strstr(calc_recipe_fault_text(CALC_RECIPE_WET_SUGAR), "brings its own water") !=
              NULL);
    lines[0].parts = 0; /* no grounds, no base */
    cr_assert(calc_recipe_check(&recipe) == CALC_RECIPE_GOOD);
    struct calc_recipe dry = {&(struct calc_recipe_line){CALC_GROUNDS, 1, 0, 0, 0, false}, 1, NAN,
                              NULL, 0};
    struct calc_recipe_card c;
    cr_assert(calc_recipe(&dry, &(struct calc_recipe_size){.grounds_g = 1}, &c) == CALC_RECIPE_DRY);
    lines[0].parts = lines[1].parts = lines[2].parts = 0;
    cr_assert(calc_recipe_check(&recipe) == CALC_RECIPE_EMPTY);
}

Test(recipe, without_grounds_nothing_stays_behind)
{
    static const struct calc_recipe_line lines[] = {SUGAR(1), COFFEE(1)};
    struct calc_recipe recipe = {.lines = lines, .count = 2, .yield_said = NAN};
    struct calc_recipe_size by_grounds = {.grounds_g = 100};
    struct calc_recipe_card c = card(lines, 2, (struct calc_recipe_size){.product_g = 500});
    EXPECT_NEAR(c.product_g, 500, 1e-9, "product");
    EXPECT_NEAR(c.total_g, 500, 1e-9, "mix");
    cr_assert(calc_recipe(&recipe, &by_grounds, &c) == CALC_RECIPE_NO_GROUNDS);
}

Test(recipe, notes_are_counted_once_whatever_their_case)
{
    static const char *const wanted[] = {"chocolate", "Orange", " orange "};
    static const char *const has[] = {"ORANGE", "nut", ""};
    cr_assert(eq(sz, calc_notes_match(wanted, 3, has, 3), 1));
    cr_assert(eq(sz, calc_notes_match(wanted, 3, has, 0), 0));
    cr_assert(not(calc_note_same("", "")));
    cr_assert(not(calc_note_same("orange", "orange peel")));
}

/* ISO 4217, from memory: GBP 2, JPY 0, KWD 3, CLF 4 decimals. */
Test(recipe, money_has_the_decimals_of_its_currency)
{
    static const struct {
        int64_t minor;
        const char *currency, *text;
    } rows[] = {
        {1205, "GBP", "GBP 12.05"}, {5, "GBP", "GBP 0.05"},
        {-5, "GBP", "GBP -0.05"},   {1205, "JPY", "JPY 1205"},
        {1205, "KWD", "KWD 1.205"}, {1205, "CLF", "CLF 0.1205"},
        {0, "XXX", "XXX 0.00"},     {INT64_MIN, "JPY", "JPY -9223372036854775808"},
    };
    char text[CALC_MONEY_TEXT];
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_assert(eq(str, (char *)calc_money_print(rows[i].minor, rows[i].currency, text),
                     (char *)rows[i].text));
}

Test(recipe, every_step_has_words)
{
    for (int i = 0; i < CALC_STEPS; i++)
        cr_assert(calc_step_at((enum calc_step_id)i)->text[0] != '\0');
}
