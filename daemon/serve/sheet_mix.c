/* sheet_mix.c - today's batches: what to weigh for each, and in which vessel. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/sheet.h"
#include "daemon/serve/show.h"

struct mixing {
    struct sheet *sheet;
    struct recipe_stock stock; /* what the day's batches before left */
    const char *vessels[64];   /* lent by the catalogue: free ones, smallest first */
    int64_t holds_ml[64];
    size_t n_vessels;
};

/* ---- vessels */

static bool
is_taken(const struct sheet *sheet, const char *vessel)
{
    for (size_t i = 0; i < sheet->under_way.n; i++)
        if (!sheet->under_way.batches[i].started &&
            strcmp(sheet->under_way.batches[i].vessel, vessel) == 0)
            return true;
    return false;
}

static void
add_vessel(struct mixing *m, const char *code, int64_t holds_ml)
{
    size_t i = m->n_vessels;
    if (i == sizeof m->vessels / sizeof m->vessels[0])
        return;
    for (; i > 0 && m->holds_ml[i - 1] > holds_ml; i--) {
        m->vessels[i] = m->vessels[i - 1];
        m->holds_ml[i] = m->holds_ml[i - 1];
    }
    m->vessels[i] = code;
    m->holds_ml[i] = holds_ml;
    m->n_vessels++;
}

static void
find_vessels(struct mixing *m)
{
    const struct catalogue *catalogue = ledger_catalogue(m->sheet->ledger);
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(catalogue, KNOCKBOX__RECORD__BODY_VESSEL, &keys);
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Vessel *v = (const Knockbox__Vessel *)catalogue_get(
            catalogue, KNOCKBOX__RECORD__BODY_VESSEL, keys[i], m->sheet->day);
        if (v != NULL && (!v->has_to || v->to >= m->sheet->day) && !is_taken(m->sheet, keys[i]))
            add_vessel(m, keys[i], v->holds_ml);
    }
}

/* The smallest free one that holds so much, at a gram a millilitre; NULL: none. */
static const char *
take_vessel(struct mixing *m, int64_t g)
{
    for (size_t i = 0; i < m->n_vessels; i++) {
        const char *code = m->vessels[i];
        if (m->holds_ml[i] < g)
            continue;
        m->n_vessels--;
        memmove(m->vessels + i, m->vessels + i + 1, (m->n_vessels - i) * sizeof *m->vessels);
        memmove(m->holds_ml + i, m->holds_ml + i + 1, (m->n_vessels - i) * sizeof *m->holds_ml);
        return code;
    }
    return NULL;
}

/* ---- what to weigh */

static void
use_lot(struct recipe_stock *stock, const char *lot, int64_t g)
{
    for (size_t i = 0; i < stock->n_lots; i++) {
        if (strcmp(stock->lots[i].lot, lot) != 0)
            continue;
        stock->lots[i].left_g -= g;
        if (stock->lots[i].left_g > 0)
            return;
        stock->n_lots--;
        memmove(stock->lots + i, stock->lots + i + 1, (stock->n_lots - i) * sizeof *stock->lots);
        return;
    }
}

/* The next batch of the day finds what this one left. */
static void
use_lots(struct mixing *m, const json_t *parts)
{
    size_t i, k;
    json_t *part, *lot;
    json_array_foreach((json_t *)(uintptr_t)parts, i, part)
    {
        json_array_foreach(json_object_get(part, "lots"), k, lot)
            use_lot(&m->stock, json_string_value(json_object_get(lot, "lot")),
                    json_integer_value(json_object_get(lot, "take_g")));
    }
}

/* The card of a recipe for so much grounds, asked for as a person asks. */
static enum err
card_of(struct mixing *m, const char *recipe, int64_t grounds_g, json_t **out_card,
        struct err_text *why)
{
    struct sheet *sheet = m->sheet;
    char mass[32], name[] = "grounds_g";
    Knockbox__Arg arg = KNOCKBOX__ARG__INIT, *args[] = {&arg};
    Knockbox__Request request = KNOCKBOX__REQUEST__INIT;
    struct call call = *sheet->call;
    struct recipe_ask ask = {.call = &call,
                             .ledger = sheet->ledger,
                             .catalogue = ledger_catalogue(sheet->ledger),
                             .site = call.serve->options.site,
                             .today = sheet->day,
                             .stock = m->stock};
    (void)snprintf(mass, sizeof mass, "%lld", (long long)grounds_g);
    arg.name = name;
    arg.value = mass;
    request.n_args = 1;
    request.args = args;
    call.request = &request;
    ask.at = show_site(&call, ask.site, ask.today);
    ask.assumed = json_array();
    ask.cautions = json_array();
    enum err e = recipe_read(&ask, recipe, why);
    if (e == ERR_OK)
        e = recipe_records_load(&ask, why);
    if (e == ERR_OK)
        e = recipe_lines(&ask, why);
    if (e == ERR_OK)
        e = recipe_card(&ask, true, out_card, why);
    for (size_t i = 0; i < m->stock.n_tubs; i++)
        m->stock.tubs[i].take_g = 0; /* the plan says which tubs, not the card */
    json_decref(ask.assumed);
    json_decref(ask.cautions);
    return e;
}

/* Who mixes needs no prices. */
static json_t *
part_json(const json_t *part)
{
    static const char *const names[] = {"input", "name",    "class",    "mass_g",
                                        "lots",  "short_g", "alcoholic"};
    json_t *one = json_object();
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        json_t *value = json_object_get(part, names[i]);
        (void)json_object_set(one, names[i], value != NULL ? value : json_null());
    }
    return one;
}

static void
put_card(struct mixing *m, json_t *batch, const json_t *card)
{
    static const char *const names[] = {"total_g",   "product_ml", "bottles",
                                        "bottle_ml", "abv_pct",    "reminders"};
    json_t *parts = json_array(), *part;
    size_t i;
    json_array_foreach(json_object_get(card, "parts"), i, part)(void)
        json_array_append_new(parts, part_json(part));
    for (i = 0; i < sizeof names / sizeof names[0]; i++)
        (void)json_object_set(batch, names[i], json_object_get(card, names[i]));
    (void)json_object_set_new(batch, "parts", parts);
    use_lots(m, parts);
    const char *vessel = take_vessel(m, json_integer_value(json_object_get(card, "total_g")));
    (void)json_object_set_new(batch, "vessel", show_text(vessel));
}

/* A recipe that cannot be worked out is told, and the others stand. */
static enum err
weigh(struct mixing *m, json_t *batch, struct err_text *why)
{
    struct err_text refused = {.s = ""};
    const char *recipe = json_string_value(json_object_get(batch, "recipe"));
    int64_t g = json_integer_value(json_object_get(batch, "grounds_g"));
    json_t *card = NULL;
    enum err e = card_of(m, recipe, g, &card, &refused);
    if (e == ERR_OK)
        put_card(m, batch, card);
    json_decref(card);
    if (e != ERR_INPUT && e != ERR_NOT_FOUND && e != ERR_OK)
        return err_set(e, why, "%s", refused.s);
    if (e != ERR_OK)
        (void)json_object_set_new(batch, "why", json_string(refused.s));
    return ERR_OK;
}

/* ---- batches */

/* Mixed today already: its vessel and code are known, and nothing is left to weigh. */
static bool
is_mixed(struct sheet *sheet, json_t *batch)
{
    const char *recipe = json_string_value(json_object_get(batch, "recipe"));
    for (size_t i = 0; i < sheet->under_way.n; i++) {
        struct under_way *one = &sheet->under_way.batches[i];
        if (one->taken || one->mixed_day != sheet->day || strcmp(one->recipe, recipe) != 0)
            continue;
        one->taken = true;
        (void)json_object_set_new(batch, "batch", json_string(one->batch));
        (void)json_object_set_new(batch, "vessel", show_text(one->vessel));
        return true;
    }
    (void)json_object_set_new(batch, "batch", json_null());
    return false;
}

static enum err
mix_batches(struct mixing *m, json_t *list, struct err_text *why)
{
    size_t i;
    json_t *from;
    json_array_foreach(json_object_get(m->sheet->today, "mix"), i, from)
    {
        json_t *tubs = NULL, *batch = json_copy(from);
        (void)json_array_append_new(list, batch);
        enum err e = sheet_tubs(m->sheet, json_object_get(from, "tubs"), &tubs, why);
        (void)json_object_set_new(batch, "tubs", tubs);
        if (e == ERR_OK && !is_mixed(m->sheet, batch))
            e = weigh(m, batch, why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

enum err
sheet_mix(struct sheet *sheet, struct err_text *why)
{
    struct mixing m = {.sheet = sheet};
    json_t *list = json_array();
    (void)json_object_set_new(sheet->answer, "mix", list);
    if (json_array_size(json_object_get(sheet->today, "mix")) == 0)
        return ERR_OK;
    struct recipe_ask ask = {.call = sheet->call,
                             .ledger = sheet->ledger,
                             .catalogue = ledger_catalogue(sheet->ledger),
                             .site = sheet->call->serve->options.site,
                             .today = sheet->day};
    enum err e = recipe_stock_load(&ask, why);
    m.stock = ask.stock;
    find_vessels(&m);
    if (e == ERR_OK)
        e = mix_batches(&m, list, why);
    recipe_stock_done(&m.stock);
    return e;
}
