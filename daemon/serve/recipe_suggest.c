/* recipe_suggest.c - what in stock suits a wanted flavour: coffees, sugars, spirits by their notes. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/calc/notes.h"
#include "daemon/serve/recipe.h"
#include "daemon/serve/show.h"
#include "proto/fields.h"

enum {
    NOTE_ROOM = 2048
};

struct wish {
    const char *notes[RECIPE_NOTES_MOST]; /* lent: room, or the catalogue */
    size_t n;
    char room[NOTE_ROOM];
};

/* One that suits. */
struct suit {
    const char *code;
    size_t matches;
    int64_t left_g;
    json_t *line;
};

struct suits {
    struct suit *list;
    size_t n;
    size_t others; /* in stock, without one note of the wish */
};

static void
wish_for(struct wish *wish, const char *note)
{
    if (note[strspn(note, " ")] != '\0' && wish->n < RECIPE_NOTES_MOST &&
        !calc_note_among(note, wish->notes, wish->n))
        wish->notes[wish->n++] = note;
}

static void
wish_for_all(struct wish *wish, const Knockbox__Texts *notes)
{
    for (size_t i = 0; notes != NULL && i < notes->n_v; i++)
        wish_for(wish, notes->v[i]);
}

/* "chocolate,orange" */
static enum err
read_wish(struct wish *wish, const char *text, struct err_text *why)
{
    char *save = NULL;
    if (strlen(text) >= sizeof wish->room)
        return err_set(ERR_INPUT, why, "notes: too long: expected at most %d bytes", NOTE_ROOM - 1);
    (void)snprintf(wish->room, sizeof wish->room, "%s", text);
    for (char *note = strtok_r(wish->room, ",", &save); note != NULL;
         note = strtok_r(NULL, ",", &save)) {
        if (wish->n == RECIPE_NOTES_MOST)
            return err_input(why, "notes", text, "at most 32 notes");
        wish_for(wish, note);
    }
    return wish->n > 0 ? ERR_OK : err_input(why, "notes", text, "notes, separated by commas");
}

/* What the recipe's own coffees and items taste of. */
static void
wish_of_recipe(struct recipe_ask *ask, struct wish *wish)
{
    const Knockbox__Codes *coffees = ask->recipe->coffees;
    for (size_t i = 0; coffees != NULL && i < coffees->n_v; i++) {
        const Knockbox__Coffee *coffee =
            (const Knockbox__Coffee *)recipe_get(ask, KNOCKBOX__RECORD__BODY_COFFEE, coffees->v[i]);
        wish_for_all(wish, coffee != NULL ? coffee->notes : NULL);
    }
    for (size_t i = 0; i < ask->n; i++)
        wish_for_all(wish, ask->parts[i].item != NULL ? ask->parts[i].item->notes : NULL);
}

/* ---- what suits */

static json_t *
matched(const struct wish *wish, const Knockbox__Texts *notes)
{
    json_t *list = json_array();
    for (size_t i = 0; i < wish->n; i++)
        if (calc_note_among(wish->notes[i], (const char *const *)notes->v, notes->n_v))
            (void)json_array_append_new(list,
                                        json_string(wish->notes[i] + strspn(wish->notes[i], " ")));
    return list;
}

static int
compare_suits(const void *a, const void *b)
{
    const struct suit *x = a, *y = b;
    if (x->matches != y->matches)
        return x->matches > y->matches ? -1 : 1;
    if (x->left_g != y->left_g)
        return x->left_g > y->left_g ? -1 : 1;
    return strcmp(x->code, y->code);
}

static void
offer(struct suits *suits, const struct wish *wish, const char *code, const char *name,
      const Knockbox__Texts *notes, int64_t left_g)
{
    size_t matches = notes == NULL ? 0
                                   : calc_notes_match(wish->notes, wish->n,
                                                      (const char *const *)notes->v, notes->n_v);
    if (left_g <= 0)
        return;
    if (matches == 0) {
        suits->others++;
        return;
    }
    json_t *line = json_pack("{s:s, s:o, s:I, s:o, s:I}", "code", code, "name", show_text(name),
                             "matches", (json_int_t)matches, "matched", matched(wish, notes),
                             "left_g", (json_int_t)left_g);
    suits->list[suits->n++] = (struct suit){code, matches, left_g, line};
}

/* The list in its order; ends the suits. */
static json_t *
take_list(struct suits *suits)
{
    json_t *list = json_array();
    if (suits->n > 1)
        qsort(suits->list, suits->n, sizeof *suits->list, compare_suits);
    for (size_t i = 0; i < suits->n; i++)
        (void)json_array_append_new(list, suits->list[i].line);
    free(suits->list);
    return list;
}

static bool
tub_good(const struct recipe_ask *ask, const struct recipe_tub *tub)
{
    return ask->recipe != NULL ? recipe_takes(ask, tub)
                               : tub->here && !tub->warm_over && tub->use_by >= ask->today;
}

static int64_t
grounds_left(const struct recipe_ask *ask, const char *coffee, int64_t *out_tubs)
{
    int64_t g = 0;
    *out_tubs = 0;
    for (size_t i = 0; i < ask->stock.n_tubs; i++) {
        const struct recipe_tub *tub = &ask->stock.tubs[i];
        if (strcmp(tub->coffee, coffee) != 0 || !tub_good(ask, tub))
            continue;
        g += tub->net_g;
        (*out_tubs)++;
    }
    return g;
}

static int64_t
item_left(const struct recipe_ask *ask, const char *item)
{
    int64_t g = 0;
    for (size_t i = 0; i < ask->stock.n_lots; i++)
        if (strcmp(ask->stock.lots[i].item, item) == 0 && recipe_lot_good(ask, &ask->stock.lots[i]))
            g += ask->stock.lots[i].left_g;
    return g;
}

static void
offer_grounds(struct recipe_ask *ask, const struct wish *wish, struct suits *suits)
{
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(ask->catalogue, KNOCKBOX__RECORD__BODY_COFFEE, &keys);
    suits->list = calloc(n + 1, sizeof *suits->list);
    for (unsigned i = 0; i < n && suits->list != NULL; i++) {
        const Knockbox__Coffee *coffee =
            (const Knockbox__Coffee *)recipe_get(ask, KNOCKBOX__RECORD__BODY_COFFEE, keys[i]);
        int64_t tubs = 0;
        size_t had = suits->n;
        if (coffee == NULL)
            continue;
        offer(suits, wish, keys[i], coffee->name, coffee->notes, grounds_left(ask, keys[i], &tubs));
        if (suits->n > had)
            (void)json_object_set_new(suits->list[had].line, "tubs", json_integer(tubs));
    }
}

/* Items of a class; of sugars only dry ones, or only liquid ones. */
static void
offer_items(struct recipe_ask *ask, const struct wish *wish, Knockbox__ItemClass class, bool wet,
            struct suits *suits)
{
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(ask->catalogue, KNOCKBOX__RECORD__BODY_ITEM, &keys);
    suits->list = calloc(n + 1, sizeof *suits->list);
    for (unsigned i = 0; i < n && suits->list != NULL; i++) {
        const Knockbox__Item *item =
            (const Knockbox__Item *)recipe_get(ask, KNOCKBOX__RECORD__BODY_ITEM, keys[i]);
        if (item == NULL || item->class_ != class || (item->has_dry && !item->dry) != wet)
            continue;
        size_t had = suits->n;
        offer(suits, wish, keys[i], item->name, item->notes, item_left(ask, keys[i]));
        if (suits->n > had && class == KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SPIRIT)
            (void)json_object_set_new(suits->list[had].line, "abv_pct", show_text(item->abv_pct));
        if (suits->n > had && class == KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SUGAR)
            (void)json_object_set_new(suits->list[had].line, "dry",
                                      item->has_dry ? json_boolean(item->dry) : json_null());
    }
}

static void
put_list(json_t *answer, const char *name, struct suits *suits)
{
    size_t others = suits->others;
    json_t *list = take_list(suits);
    (void)json_object_set_new(answer, name, list);
    (void)json_object_set_new(json_object_get(answer, "others"), name,
                              json_integer((json_int_t)others));
}

static json_t *
answer_for(struct recipe_ask *ask, const struct wish *wish)
{
    static const struct {
        const char *name;
        Knockbox__ItemClass class;
        bool wet;
    } rows[] = {
        {"sugar", KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SUGAR, false},
        {"spirit", KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SPIRIT, false},
        {"coffee", KNOCKBOX__ITEM_CLASS__ITEM_CLASS_COFFEE, false},
        {"not_for_the_base", KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SUGAR, true},
    };
    json_t *answer = json_pack("{s:[], s:{}}", "notes", "others");
    struct suits grounds = {.n = 0};
    for (size_t i = 0; i < wish->n; i++)
        (void)json_array_append_new(json_object_get(answer, "notes"),
                                    json_string(wish->notes[i] + strspn(wish->notes[i], " ")));
    (void)json_object_set_new(answer, "recipe",
                              show_text(ask->recipe != NULL ? ask->recipe->code : NULL));
    (void)json_object_set_new(answer, "day", show_day(ask->today));
    offer_grounds(ask, wish, &grounds);
    put_list(answer, "grounds", &grounds);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct suits suits = {.n = 0};
        offer_items(ask, wish, rows[i].class, rows[i].wet, &suits);
        put_list(answer, rows[i].name, &suits);
    }
    (void)json_object_set_new(answer, "why_not_for_the_base",
                              json_string(calc_recipe_fault_text(CALC_RECIPE_WET_SUGAR)));
    (void)json_object_set_new(answer, "source",
                              json_string("notes of the catalogue; common practice, no source"));
    return answer;
}

enum err
recipe_suggest(struct recipe_ask *ask, json_t **out_answer, struct err_text *why)
{
    const char *notes = call_arg(ask->call, "notes");
    struct wish wish = {.n = 0};
    enum err e = ERR_OK;
    if (notes != NULL)
        e = read_wish(&wish, notes, why);
    else if (ask->recipe != NULL)
        wish_of_recipe(ask, &wish);
    else
        e = err_input(why, "notes", "", "notes=chocolate,orange, or a recipe");
    if (e == ERR_OK && wish.n == 0)
        e = err_set(ERR_INPUT, why, "%s: neither its coffees nor its items have notes: say notes=",
                    ask->recipe->code);
    if (e == ERR_OK)
        *out_answer = answer_for(ask, &wish);
    return e;
}
