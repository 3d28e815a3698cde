/* kitchen.h - the planning problem of a kitchen, out of its books and catalogue.
 *
 * What nobody has written down is assumed by common practice and listed in words, so that people
 * see what the plan rests on. docs/planning.md tells what each number means.
 */
#ifndef DAEMON_SERVE_KITCHEN_H
#define DAEMON_SERVE_KITCHEN_H

#include <jansson.h>
#include "daemon/ledger/ledger.h"
#include "daemon/plan/problem.h"

enum {
    KITCHEN_TAIL_DAYS = 7,
    KITCHEN_DAYS = 14,
    KITCHEN_DAYS_MOST = 60
};

struct kitchen_ask {
    struct ledger *ledger;   /* lent, caught up */
    const char *site;        /* the kitchen's */
    int32_t today;           /* day 0 */
    int days;                /* 1 .. KITCHEN_DAYS_MOST */
    const json_t *published; /* the plan that the kitchen works by, lent; NULL: none */
    json_t *yields;          /* NULL, or a list that gets what recipes give, each with the range of
                              * nine batches in ten: {recipe, ml_per_kg, low_ml_per_kg,
                              * high_ml_per_kg, batches}; lent */
};

/* *out_problem is yours, settled; *out_assumed is a list of sentences, yours.
 * ERR_INPUT: the catalogue holds something that no plan can be made with; `why` says what. */
enum err kitchen_problem(const struct kitchen_ask *ask, struct problem **out_problem,
                         json_t **out_assumed, struct err_text *why);

/* ---- inside: the parts, a file each */

struct kitchen {
    const struct kitchen_ask *ask;
    const struct catalogue *catalogue;
    const Knockbox__Site *site; /* NULL: the catalogue does not have it */
    struct problem *p;
    json_t *assumed;
    struct outlook *outlook; /* outlook.h */
    enum err failed;         /* ERR_MEM sticks */
};

/* A sentence for people: "12 recipes say nothing about ...". Told once. */
void kitchen_assume(struct kitchen *k, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* One more member at the end of a list of the problem, all zero; NULL: no memory. */
void *kitchen_add(struct kitchen *k, void *list, int *n, size_t size);
/* Where `id` is in an unsorted list whose members begin with it; -1: not there. */
int kitchen_find(const void *list, int n, size_t size, const char *id);
void kitchen_name(char id[PROBLEM_ID_SIZE], const char *code);

/* The version of a code in force today. */
const ProtobufCMessage *kitchen_get(const struct kitchen *k, uint32_t kind, const char *code);
unsigned kitchen_keys(const struct kitchen *k, uint32_t kind, const char *const **out_keys);

/* Places of a profile (a coffee) and a site, added when they are new; -1: no memory, or too many. */
int kitchen_profile(struct kitchen *k, const char *coffee);
int kitchen_site(struct kitchen *k, const char *site);

/* Money of a product a litre, of the hub's currency: at list and as a café is charged. */
struct kitchen_price {
    bool known;
    int64_t list_cents_per_l, transfer_cents_per_l, buy_in_cents_per_l;
};
struct kitchen_price kitchen_price_of(const struct kitchen *k, const char *product);

/* Does the kitchen work on the day? */
bool kitchen_works(const struct kitchen_ask *ask, int32_t day);

typedef enum err kitchen_part(struct kitchen *k, struct err_text *why);
kitchen_part kitchen_days, kitchen_routes, kitchen_recipes, kitchen_products, kitchen_supplies,
    kitchen_bottles, kitchen_straining, kitchen_orders, kitchen_sales, kitchen_tubs,
    kitchen_forecast, kitchen_outlook, kitchen_yields, kitchen_previous;

#endif
