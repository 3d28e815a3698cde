/* town.h - an invented town for tests of the report: a kitchen and two cafés of Saltmere.
 *
 * kitchen (GBP, London), quayside (GBP, London), foundry (EUR, Dublin), all since 2026-01-01, days
 * begin at 04:00. Streams, of any site: food (composting, on collection), slops (as food, of another
 * name), bin (landfill, mixed), sink (drain), yard (composting, on site), farm (animal feed),
 * burn (incineration without energy, mixed): all but food and slops settle at once.
 * Recipes l1 (liqueur) and s1 (syrup), items spirit40, sugar, brew; bottles of 500 mL: liqueur
 * 18.00 / 9.00 GBP, 21.00 / 10.50 EUR (list / transfer), syrup 7.50 / 3.75 GBP only.
 * Factors UK-2024; basis by-product.
 */
#ifndef TESTS_REPORT_TOWN_H
#define TESTS_REPORT_TOWN_H

#include <jansson.h>
#include "tests/report/month.h"

struct play *town_new(void);
/* The same without a basis. */
struct play *town_new_without_basis(void);

/* A weighed tub of net grams at a café (box 100 g more), recorded at `at`. */
void town_tub(struct play *play, const char *site, const char *tub, int net_g, const char *at);
/* Handed over and received at its weight an hour later. */
void town_move(struct play *play, const char *site, const char *tub, const char *at);
/* A batch of one tub with as much sugar and twice the spirit, from supplies SUGAR and SPIRIT. */
void town_mix(struct play *play, const char *batch, const char *tub, int grounds_g, const char *at);
/* Its one strain, `end`. */
void town_strain(struct play *play, const char *batch, int product_g, int product_ml, int residue_g,
                 int loss_g, const char *at);
/* Tub, way to the kitchen, batch and strain in one: grounds 1000 g per unit, 4000 g in, product
 * 2900 g in 2700 mL, residue 1050 g, loss 50 g. Begins at `day`T06:00Z. */
void town_batch(struct play *play, const char *batch, int units, const char *day);
/* Bottles of 500 mL at the kitchen, then a decision ("" for none). */
void town_bottle(struct play *play, const char *batch, const char *lot, int count,
                 const char *decision, const char *at);

/* One figure of a month and what it has to be. */
struct want {
    const char *path, *word;
};

/* Puts what is queued, in order or shuffled by the seed, and compares. Says what differs; also
 * whether the month adds up. */
bool town_holds(struct play *play, uint64_t seed, const char *month, const struct want *wants,
                size_t n);
/* Rows of {path, word} for a month of a play, which it ends. */
#define HOLDS(play, month, ...)                                                       \
    do {                                                                              \
        static const struct want wants[] = {__VA_ARGS__};                             \
        cr_expect(town_holds(play, 0, month, wants, sizeof wants / sizeof wants[0])); \
        play_free(play);                                                              \
    } while (0)

/* Is such a discrepancy in the month? Puts what is queued. */
bool town_flags(struct play *play, const char *month, const char *code, const char *subject);

#endif
