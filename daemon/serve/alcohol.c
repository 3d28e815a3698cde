/* alcohol.c - which recipes and products are made on spirit. */
#include "daemon/serve/alcohol.h"

#include <string.h>
#include "proto/decimal.h"

static bool
is_above_0(const char *decimal)
{
    struct decimal value;
    struct err_text ignored; /* checked when it was written */
    return decimal != NULL && decimal_parse(decimal, &value, &ignored) == ERR_OK &&
           value.mantissa > 0;
}

static const ProtobufCMessage *
find(const struct catalogue *catalogue, uint32_t kind, const char *code, int32_t day)
{
    return code != NULL && code[0] != '\0' ? catalogue_get(catalogue, kind, code, day) : NULL;
}

static bool
is_spirit(const struct catalogue *catalogue, const char *code, int32_t day)
{
    const Knockbox__Item *item =
        (const Knockbox__Item *)find(catalogue, KNOCKBOX__RECORD__BODY_ITEM, code, day);
    return item != NULL && item->class_ == KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SPIRIT;
}

bool
alcohol_in_recipe(const struct catalogue *catalogue, const char *recipe, int32_t day)
{
    const Knockbox__Recipe *r =
        (const Knockbox__Recipe *)find(catalogue, KNOCKBOX__RECORD__BODY_RECIPE, recipe, day);
    for (size_t i = 0; r != NULL && i < r->n_parts; i++)
        if (is_above_0(r->parts[i]->parts) && is_spirit(catalogue, r->parts[i]->input, day))
            return true;
    return false;
}

bool
alcohol_in_product(const struct catalogue *catalogue, const char *product, int32_t day)
{
    const Knockbox__Product *p =
        (const Knockbox__Product *)find(catalogue, KNOCKBOX__RECORD__BODY_PRODUCT, product, day);
    const char *const *keys = NULL;
    if (p != NULL && is_above_0(p->label_abv_pct))
        return true;
    unsigned n = catalogue_keys(catalogue, KNOCKBOX__RECORD__BODY_RECIPE, &keys);
    for (unsigned i = 0; product != NULL && i < n; i++) {
        const Knockbox__Recipe *r =
            (const Knockbox__Recipe *)find(catalogue, KNOCKBOX__RECORD__BODY_RECIPE, keys[i], day);
        if (r != NULL && strcmp(r->product, product) == 0 &&
            alcohol_in_recipe(catalogue, keys[i], day))
            return true;
    }
    return false;
}

static void
mark_list(const struct catalogue *catalogue, json_t *list, int32_t day)
{
    for (size_t i = 0; i < json_array_size(list); i++) {
        json_t *one = json_array_get(list, i);
        const char *recipe = json_string_value(json_object_get(one, "recipe"));
        (void)json_object_set_new(one, "alcoholic",
                                  json_boolean(alcohol_in_recipe(catalogue, recipe, day)));
    }
}

void
alcohol_mark_plan(const struct catalogue *catalogue, json_t *view, int32_t day)
{
    static const char *const lists[] = {"thaw", "mix", "bottle"};
    json_t *days = json_object_get(view, "days");
    for (size_t d = 0; d < json_array_size(days); d++)
        for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++)
            mark_list(catalogue, json_object_get(json_array_get(days, d), lists[i]), day);
}
