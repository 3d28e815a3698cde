/* sheet_under_way.c - what steeps and strains, and what is ready to be bottled. */
#include <string.h>
#include "daemon/serve/alcohol.h"
#include "daemon/serve/sheet.h"
#include "daemon/serve/show.h"
#include "proto/when.h"

static const char *
text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text != NULL ? text : "";
}

/* The plan's line of this batch: by its code, else by recipe and day, when it was to come still. */
static const json_t *
planned(const struct sheet *sheet, const struct under_way *one)
{
    const json_t *all = json_object_get(sheet->plan, "strain"), *found = NULL;
    char mixed[DAY_TEXT];
    (void)day_print(one->mixed_day, mixed);
    for (size_t i = 0; i < json_array_size(all); i++) {
        const json_t *line = json_array_get(all, i);
        if (strcmp(text_of(line, "batch"), one->batch) == 0)
            return line;
        if (text_of(line, "batch")[0] == '\0' && strcmp(text_of(line, "from"), mixed) == 0 &&
            strcmp(text_of(line, "recipe"), one->recipe) == 0)
            found = line;
    }
    return found;
}

static const Knockbox__Recipe *
recipe_of(const struct sheet *sheet, const char *recipe)
{
    return recipe[0] != '\0'
               ? (const Knockbox__Recipe *)catalogue_get(ledger_catalogue(sheet->ledger),
                                                         KNOCKBOX__RECORD__BODY_RECIPE, recipe,
                                                         sheet->day)
               : NULL;
}

/* As planned, else as the recipe says; a batch whose straining ended is ready now. */
static bool
ready_day(const struct sheet *sheet, const struct under_way *one, int32_t *out_day)
{
    const json_t *line = planned(sheet, one);
    const Knockbox__Recipe *recipe = recipe_of(sheet, one->recipe);
    if (one->ended) {
        *out_day = sheet->day;
        return true;
    }
    if (line != NULL && day_parse(text_of(line, "ready"), out_day))
        return true;
    if (recipe == NULL || !recipe->has_strain_days)
        return false;
    *out_day = one->mixed_day + (int32_t)recipe->strain_days;
    return true;
}

static json_t *
batch_json(const struct sheet *sheet, const struct under_way *one, bool known, int32_t ready)
{
    const struct catalogue *catalogue = ledger_catalogue(sheet->ledger);
    const Knockbox__Recipe *recipe = recipe_of(sheet, one->recipe);
    const char *state = one->ended ? "strained" : one->started ? "straining" : "steeping";
    bool yields = recipe != NULL && recipe->has_yield_ml_per_kg;
    return json_pack(
        "{s:s, s:o, s:o, s:b, s:o, s:o, s:s, s:o, s:o, s:I, s:o}", "batch", one->batch, "recipe",
        show_text(one->recipe), "product", show_text(one->product), "alcoholic",
        alcohol_in_recipe(catalogue, one->recipe, sheet->day), "vessel", show_text(one->vessel),
        "station", show_text(one->station), "state", state, "mixed", show_day(one->mixed_day),
        "ready", known ? show_day(ready) : json_null(), "grounds_g", (json_int_t)one->grounds_g,
        "ml", yields ? json_integer(one->grounds_g * recipe->yield_ml_per_kg / 1000) : json_null());
}

enum err
sheet_under_way(struct sheet *sheet, struct err_text *why)
{
    json_t *strain = json_array(), *bottle = json_array();
    (void)why;
    for (size_t i = 0; i < sheet->under_way.n; i++) {
        const struct under_way *one = &sheet->under_way.batches[i];
        int32_t ready = 0;
        bool known = ready_day(sheet, one, &ready);
        (void)json_array_append_new(known && ready <= sheet->day ? bottle : strain,
                                    batch_json(sheet, one, known, ready));
    }
    (void)json_object_set_new(sheet->answer, "strain", strain);
    (void)json_object_set_new(sheet->answer, "bottle", bottle);
    return ERR_OK;
}
