/* recipe.h - inside of the word `recipe`: what catalogue, stock and records say of one recipe.
 *
 * A file each: recipe_read.c the catalogue, recipe_stock.c tubs and ingredient lots,
 * recipe_records.c the kitchen's own batches, recipe_size.c how much, recipe_card.c the answer, recipe_suggest.c flavours.
 */
#ifndef DAEMON_SERVE_RECIPE_H
#define DAEMON_SERVE_RECIPE_H

#include <jansson.h>
#include "daemon/calc/recipe.h"
#include "daemon/serve/call.h"

enum {
    RECIPE_CODE = 65,
    RECIPE_PARTS_MOST = 32,
    RECIPE_NOTES_MOST = 32,
    RECIPE_BATCHES_MOST = CALC_YIELD_BATCHES_MOST,
};

/* Code of the limit that says how long a syrup on coffee keeps at a site, in days. */
#define RECIPE_KEEPS_LIMIT "syrup-coffee-keeps"

struct recipe_tub {
    char tub[RECIPE_CODE], coffee[RECIPE_CODE], site[RECIPE_CODE];
    int64_t net_g, frozen_ms;
    int32_t use_by; /* INT32_MAX: none */
    bool warm_over, here;
    int64_t take_g;
};

struct recipe_lot {
    char lot[RECIPE_CODE], item[RECIPE_CODE], currency[4];
    int64_t left_g, mass_g, cost_minor; /* cost_minor -1: not known */
    int32_t best_before, received;      /* INT32_MAX: none */
    double abv_pct;                     /* NAN: not known */
};

/* All that is there, sorted: tubs by (use_by, frozen, label), lots by (best_before, received,
 * lot). */
struct recipe_stock {
    struct recipe_tub *tubs;
    size_t n_tubs, room_tubs;
    struct recipe_lot *lots;
    size_t n_lots, room_lots;
    bool no_memory;
};

/* One part of the recipe, exchanged items already in their place. */
struct recipe_part {
    const char *input;          /* of the recipe; lent by the catalogue */
    const char *item_code;      /* what takes its place; NULL: grounds */
    const Knockbox__Item *item; /* NULL: grounds, or the catalogue does not have it */
    double parts;
    struct calc_recipe_line line;
};

/* What the kitchen's own batches of this recipe say. */
struct recipe_records {
    double yields[RECIPE_BATCHES_MOST]; /* g/g, oldest first */
    size_t n_yields;
    double dissolved_s, strain_s, papers; /* sums */
    size_t n_dissolved, n_strain, n_papers;
    double moisture, moisture_low, moisture_high; /* of the grounds, % mass: sum, least, most */
    size_t n_moisture;
};

struct recipe_ask {
    struct call *call;
    struct ledger *ledger;
    const struct catalogue *catalogue;
    const char *site;
    const Knockbox__Site *at; /* NULL: the catalogue does not have it */
    int32_t today;
    const Knockbox__Recipe *recipe;
    const Knockbox__Product *product; /* NULL: not in the catalogue */
    struct recipe_part parts[RECIPE_PARTS_MOST];
    struct calc_recipe_line lines[RECIPE_PARTS_MOST];
    size_t n;
    struct recipe_stock stock;
    struct recipe_records records;
    json_t *assumed, *cautions;
};

/* The catalogue's version of today, NULL when there is none. */
const ProtobufCMessage *recipe_get(const struct recipe_ask *ask, uint32_t kind, const char *code);
void recipe_say(json_t *list, const char *format, ...) __attribute__((format(printf, 2, 3)));
double recipe_number(const char *decimal); /* NAN for NULL and "" */
/* A number of the request. ERR_INPUT: not a number, or outside. *out stays when not given. */
enum err recipe_arg(const struct recipe_ask *ask, const char *name, double least, double most,
                    double *out, struct err_text *why);

/* Reads the recipe `code` with the exchanges of the request into parts.
 * ERR_NOT_FOUND: no such recipe or item; ERR_INPUT: an item of another class. */
enum err recipe_read(struct recipe_ask *ask, const char *code, struct err_text *why);
/* Fills the lines' strengths from lots, items, arguments and records; then ERR_INPUT when the
 * recipe itself is refused, a liquid sweetener in the base. */
enum err recipe_lines(struct recipe_ask *ask, struct err_text *why);

enum err recipe_stock_load(struct recipe_ask *ask, struct err_text *why);
void recipe_stock_done(struct recipe_stock *stock);
/* May the tub go into this recipe today: here, in date, not too warm, a coffee that it takes? */
bool recipe_takes(const struct recipe_ask *ask, const struct recipe_tub *tub);
bool recipe_lot_good(const struct recipe_ask *ask, const struct recipe_lot *lot);
/* Takes the tubs named in `list` ("T1,T2") whole. ERR_INPUT: one is not there. */
enum err recipe_take_named(struct recipe_ask *ask, const char *list, int64_t *out_g,
                           struct err_text *why);
/* Takes whole tubs at hand while the mix fits; their grounds. */
int64_t recipe_take_fitting(struct recipe_ask *ask, double grounds_most_g);
/* Takes so much, the last tub in part; what is missing. */
int64_t recipe_take_mass(struct recipe_ask *ask, int64_t grounds_g);

/* Lots of an item that give so much, oldest first, and what they cost. */
struct recipe_cost {
    json_t *lots;    /* [{lot, take_g, best_before}]; yours */
    int64_t short_g; /* more than all lots have */
    bool known;
    double minor; /* of recipe_currency(); also what is short, at the pack's price or the newest */
};
void recipe_take_item(const struct recipe_ask *ask, const struct recipe_part *part, int64_t mass_g,
                      struct recipe_cost *out);
const char *recipe_currency(const struct recipe_ask *ask); /* of the site, else of a lot; NULL */
/* Seconds of work on one batch; -1: the recipe does not say. */
double recipe_work_s(const struct recipe_ask *ask, double grounds_g);

enum err recipe_records_load(struct recipe_ask *ask, struct err_text *why);

/* [{step, text, time, source, batches}], own records in place of usual times. Yours. */
json_t *recipe_steps(const struct recipe_ask *ask);

/* A card in the making. */
struct recipe_card {
    struct recipe_ask *ask;
    bool scale;
    const char *by; /* what decided the size */
    struct calc_recipe recipe;
    struct calc_recipe_size size;
    struct calc_recipe_card c;
    int64_t grounds_short_g;
    double cost_minor;
    bool cost_known;
    json_t *unpriced, *answer;
};

/* The size that the request asks for, with the tubs that it takes: recipe_size.c.
 * ERR_INPUT, ERR_USAGE: two sizes, names that the catalogue does not have, no tub at hand. */
enum err recipe_size(struct recipe_card *card, struct err_text *why);
void recipe_take_tubs(struct recipe_card *card); /* for a mass that a person wanted */
void recipe_say_size(struct recipe_card *card);  /* cautions: batch, vessel, tubs */
unsigned recipe_market(const char *word);        /* eu, uk, us, all; 0: no such market */

/* `show` and `scale`; `suggest`. */
enum err recipe_card(struct recipe_ask *ask, bool scale, json_t **out_answer, struct err_text *why);
enum err recipe_suggest(struct recipe_ask *ask, json_t **out_answer, struct err_text *why);

#endif
