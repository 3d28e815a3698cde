/* recipe_read.c - a recipe of the catalogue, with the items that take the place of its own. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include "daemon/serve/recipe.h"
#include "proto/decimal.h"
#include "proto/nearest.h"

const ProtobufCMessage *
recipe_get(const struct recipe_ask *ask, uint32_t kind, const char *code)
{
    return catalogue_get(ask->catalogue, kind, code, ask->today);
}

void
recipe_say(json_t *list, const char *format, ...)
{
    char text[512];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    (void)json_array_append_new(list, json_string(text));
}

double
recipe_number(const char *decimal)
{
    struct decimal value;
    struct err_text ignored; /* checked when it was written */
    if (decimal == NULL || decimal[0] == '\0' || decimal_parse(decimal, &value, &ignored) != ERR_OK)
        return NAN;
    return decimal_double(&value);
}

enum err
recipe_arg(const struct recipe_ask *ask, const char *name, double least, double most, double *out,
           struct err_text *why)
{
    const char *text = call_arg(ask->call, name);
    char want[96];
    if (text == NULL)
        return ERR_OK;
    double value = decimal_is_number(text) ? recipe_number(text) : NAN;
    if (!isnan(value) && value >= least && value <= most) {
        *out = value;
        return ERR_OK;
    }
    (void)snprintf(want, sizeof want, "a number from %.10g to %.10g", least, most);
    return err_input(why, name, text, want);
}

static enum err
say_missing(const struct recipe_ask *ask, uint32_t kind, const char *field, const char *what,
            const char *code, struct err_text *why)
{
    const char *const *keys = NULL;
    struct nearest nearest = {code, NULL, 0};
    char want[128];
    unsigned n = catalogue_keys(ask->catalogue, kind, &keys);
    for (unsigned i = 0; i < n; i++)
        nearest_offer(&nearest, keys[i]);
    if (nearest.best != NULL)
        (void)snprintf(want, sizeof want, "%s of the catalogue (did you mean %.64s?)", what,
                       nearest.best);
    else
        (void)snprintf(want, sizeof want, "%s of the catalogue", what);
    return err_input(why, field, code, want);
}

/* ---- parts */

static bool
kind_of(const Knockbox__Item *item, enum calc_input_kind *out)
{
    static const struct {
        Knockbox__ItemClass class;
        enum calc_input_kind kind;
    } rows[] = {
        {KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SPIRIT, CALC_SPIRIT},
        {KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SUGAR, CALC_SUGAR},
        {KNOCKBOX__ITEM_CLASS__ITEM_CLASS_COFFEE, CALC_COFFEE},
        {KNOCKBOX__ITEM_CLASS__ITEM_CLASS_WATER, CALC_WATER},
        {KNOCKBOX__ITEM_CLASS__ITEM_CLASS_OTHER, CALC_WATER}, /* as the report counts it */
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (item != NULL && rows[i].class == item->class_) {
            *out = rows[i].kind;
            return true;
        }
    return false;
}

/* The argument that exchanges an item of the class, NULL: none does. */
static const char *
exchange_name(const Knockbox__Item *item)
{
    switch (item != NULL ? item->class_ : KNOCKBOX__ITEM_CLASS__ITEM_CLASS_OTHER) {
    case KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SPIRIT:
        return "spirit";
    case KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SUGAR:
        return "sugar";
    case KNOCKBOX__ITEM_CLASS__ITEM_CLASS_COFFEE:
        return "coffee";
    default:
        return NULL;
    }
}

static enum err
exchange(struct recipe_ask *ask, struct recipe_part *part, struct err_text *why)
{
    const char *name = exchange_name(part->item);
    const char *code = name != NULL ? call_arg(ask->call, name) : NULL;
    char want[96];
    if (code == NULL)
        return ERR_OK;
    const Knockbox__Item *item =
        (const Knockbox__Item *)recipe_get(ask, KNOCKBOX__RECORD__BODY_ITEM, code);
    if (item == NULL)
        return say_missing(ask, KNOCKBOX__RECORD__BODY_ITEM, name, "an item", code, why);
    if (item->class_ != part->item->class_) {
        (void)snprintf(want, sizeof want, "an item of class %s, as %.40s is", name, part->input);
        return err_input(why, name, code, want);
    }
    part->item_code = item->code;
    part->item = item;
    return ERR_OK;
}

static enum err
read_part(struct recipe_ask *ask, const Knockbox__Part *from, struct err_text *why)
{
    struct recipe_part *part = &ask->parts[ask->n];
    *part = (struct recipe_part){.input = from->input, .parts = recipe_number(from->parts)};
    if (strcmp(from->input, "grounds") == 0) {
        part->line.kind = CALC_GROUNDS;
    } else {
        part->item_code = from->input;
        part->item =
            (const Knockbox__Item *)recipe_get(ask, KNOCKBOX__RECORD__BODY_ITEM, from->input);
        enum err e = exchange(ask, part, why);
        if (e != ERR_OK)
            return e;
        if (!kind_of(part->item, &part->line.kind))
            return err_set(ERR_INPUT, why,
                           "recipe %s: %.64s is no item of the catalogue that can go into a mix",
                           ask->recipe->code, from->input);
    }
    part->line.parts = part->parts;
    part->line.wet = part->item != NULL && part->item->has_dry && !part->item->dry;
    ask->n++;
    return ERR_OK;
}

enum err
recipe_read(struct recipe_ask *ask, const char *code, struct err_text *why)
{
    enum err e = ERR_OK;
    ask->recipe = (const Knockbox__Recipe *)recipe_get(ask, KNOCKBOX__RECORD__BODY_RECIPE, code);
    if (ask->recipe == NULL)
        return say_missing(ask, KNOCKBOX__RECORD__BODY_RECIPE, "code", "a recipe", code, why);
    ask->product = (const Knockbox__Product *)recipe_get(ask, KNOCKBOX__RECORD__BODY_PRODUCT,
                                                         ask->recipe->product);
    if (ask->recipe->n_parts > RECIPE_PARTS_MOST)
        return err_set(ERR_INPUT, why, "recipe %s has more than %d parts", code, RECIPE_PARTS_MOST);
    for (size_t i = 0; i < ask->recipe->n_parts && e == ERR_OK; i++)
        e = read_part(ask, ask->recipe->parts[i], why);
    return e;
}

/* ---- strengths */

static double
spirit_strength(struct recipe_ask *ask, const struct recipe_part *part)
{
    for (size_t i = 0; i < ask->stock.n_lots; i++) {
        const struct recipe_lot *lot = &ask->stock.lots[i];
        if (strcmp(lot->item, part->item_code) == 0 && recipe_lot_good(ask, lot) &&
            !isnan(lot->abv_pct))
            return lot->abv_pct;
    }
    double abv = recipe_number(part->item->abv_pct);
    if (!isnan(abv))
        return abv;
    recipe_say(ask->assumed, "%s has %g %% vol: nobody wrote its strength down.", part->item_code,
               CALC_SPIRIT_ABV);
    return CALC_SPIRIT_ABV;
}

static double
coffee_strength(struct recipe_ask *ask, const struct recipe_part *part)
{
    double tds = recipe_number(part->item->tds_pct);
    if (!isnan(tds))
        return tds;
    recipe_say(ask->assumed, "%s has %g %% dissolved solids, as a filter brew.", part->item_code,
               CALC_BREW_TDS);
    return CALC_BREW_TDS;
}

static enum err
grounds_moisture(struct recipe_ask *ask, struct calc_recipe_line *line, struct err_text *why)
{
    const struct recipe_records *own = &ask->records;
    double said = NAN;
    enum err e = recipe_arg(ask, "moisture_pct", 0, 100, &said, why);
    if (!isnan(said)) {
        line->pct = line->low = line->high = said;
    } else if (own->n_moisture > 0) {
        line->pct = own->moisture / (double)own->n_moisture;
        line->low = own->moisture_low;
        line->high = own->moisture_high;
    } else {
        line->pct = CALC_GROUNDS_MOISTURE;
        line->low = CALC_GROUNDS_MOISTURE_LOW;
        line->high = CALC_GROUNDS_MOISTURE_HIGH;
        if (e == ERR_OK)
            recipe_say(ask->assumed, "The grounds hold %g to %g %% water.",
                       CALC_GROUNDS_MOISTURE_LOW, CALC_GROUNDS_MOISTURE_HIGH);
    }
    return e;
}

static enum err
fill_line(struct recipe_ask *ask, struct recipe_part *part, struct err_text *why)
{
    struct calc_recipe_line *line = &part->line;
    if (line->kind == CALC_GROUNDS)
        return grounds_moisture(ask, line, why);
    if (line->kind == CALC_SPIRIT)
        line->pct = spirit_strength(ask, part);
    else if (line->kind == CALC_COFFEE)
        line->pct = coffee_strength(ask, part);
    else if (line->kind == CALC_SUGAR && !part->item->has_dry)
        recipe_say(ask->assumed, "%s is a dry sugar: its catalogue line does not say dry or not.",
                   part->item_code);
    line->low = line->high = line->pct;
    return ERR_OK;
}

static enum err
refuse(const struct recipe_ask *ask, enum calc_recipe_fault fault, struct err_text *why)
{
    const char *code = ask->recipe->code;
    for (size_t i = 0; i < ask->n && fault == CALC_RECIPE_WET_SUGAR; i++)
        if (ask->parts[i].line.wet && ask->parts[i].line.kind == CALC_SUGAR)
            code = ask->parts[i].item_code;
    (void)err_input(why, fault == CALC_RECIPE_WET_SUGAR ? "sugar" : "parts", code, "a dry sugar");
    (void)snprintf(why->s, sizeof why->s, "%s: %s: %s", ask->recipe->code, code,
                   calc_recipe_fault_text(fault));
    return ERR_INPUT;
}

enum err
recipe_lines(struct recipe_ask *ask, struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t i = 0; i < ask->n && e == ERR_OK; i++) {
        e = fill_line(ask, &ask->parts[i], why);
        ask->lines[i] = ask->parts[i].line;
    }
    struct calc_recipe recipe = {.lines = ask->lines, .count = ask->n};
    enum calc_recipe_fault fault = calc_recipe_check(&recipe);
    if (e == ERR_OK && fault != CALC_RECIPE_GOOD)
        return refuse(ask, fault, why);
    return e;
}
