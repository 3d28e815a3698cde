/* write_sugar.c - the base takes a dry sugar: recipes and mixes of a person are asked again. */
#include <stdio.h>
#include <string.h>
#include "daemon/calc/recipe.h"
#include "daemon/serve/show.h"
#include "daemon/serve/write.h"

static bool
is_wet_sugar(const struct writing *writing, const char *item_code)
{
    const struct catalogue *catalogue = ledger_catalogue(writing->call->serve->options.ledger);
    int32_t today = show_today(writing->call, writing->call->serve->options.site);
    const Knockbox__Item *item = (const Knockbox__Item *)catalogue_get(
        catalogue, KNOCKBOX__RECORD__BODY_ITEM, item_code, today);
    return item != NULL && item->class_ == KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SUGAR &&
           item->has_dry && !item->dry;
}

static enum err
refuse(const char *field, const char *got, struct err_text *why)
{
    (void)err_input(why, field, got, "a dry sugar");
    (void)snprintf(why->s, sizeof why->s, "%s: %s: %s", field, got,
                   calc_recipe_fault_text(CALC_RECIPE_WET_SUGAR));
    return ERR_INPUT;
}

static enum err
check_recipe(const struct writing *writing, const Knockbox__Recipe *recipe, struct err_text *why)
{
    const char *wet = NULL;
    bool grounds = false;
    for (size_t i = 0; i < recipe->n_parts; i++) {
        const char *input = recipe->parts[i]->input;
        grounds = grounds || strcmp(input, "grounds") == 0;
        if (is_wet_sugar(writing, input))
            wet = input;
    }
    return grounds && wet != NULL ? refuse("parts", wet, why) : ERR_OK;
}

/* What a lot is of, out of the books; *out_wet stays when they do not have it. */
static enum err
look_up_lot(struct writing *writing, const char *lot, bool *out_wet, struct err_text *why)
{
    ProtobufCMessage *row = NULL;
    enum err e = writing_look_up(writing, why);
    if (e == ERR_OK)
        e = ledger_row(writing->call->serve->options.ledger, SUBJECT_SUPPLY, lot, &writing->other,
                       &row, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK;
    const char *item = e == ERR_OK ? ((const Knockbox__SupplyRow *)row)->item : NULL;
    *out_wet = item != NULL && is_wet_sugar(writing, item);
    return e;
}

static enum err
check_mix(struct writing *writing, const Knockbox__Mix *mix, struct err_text *why)
{
    bool grounds = false, wet = false;
    for (size_t i = 0; i < mix->n_inputs; i++)
        grounds = grounds || (mix->inputs[i]->tub != NULL && mix->inputs[i]->tub[0] != '\0');
    enum err e = grounds ? ledger_catch_up(writing->call->serve->options.ledger, why) : ERR_OK;
    for (size_t i = 0; grounds && i < mix->n_inputs && e == ERR_OK; i++) {
        const char *lot = mix->inputs[i]->lot;
        if (lot != NULL && lot[0] != '\0')
            e = look_up_lot(writing, lot, &wet, why);
        if (wet)
            return refuse("inputs", lot, why);
    }
    return e;
}

enum err
draft_check_sugar(struct writing *writing, const struct draft *draft, struct err_text *why)
{
    if (draft->kind->number == KNOCKBOX__RECORD__BODY_RECIPE)
        return check_recipe(writing, draft->record->recipe, why);
    if (draft->kind->number == KNOCKBOX__RECORD__BODY_MIX)
        return check_mix(writing, draft->record->mix, why);
    return ERR_OK;
}
