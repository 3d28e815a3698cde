/* lineage.c - what a batch or a bottle lot was made of, all the way back. */
#include "daemon/ledger/lineage.h"

#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/grow.h"

bool
lineage_has(const struct lineage *lineage, enum subject_class class, const char *code)
{
    for (size_t i = 0; i < lineage->n; i++)
        if (lineage->list[i].class == class && strcmp(lineage->list[i].code, code) == 0)
            return true;
    return false;
}

static enum err
add(struct lineage *lineage, enum subject_class class, const char *code, struct err_text *why)
{
    if (code == NULL || code[0] == '\0' || lineage_has(lineage, class, code))
        return ERR_OK;
    void *room = grow_room(lineage->list, lineage->n, &lineage->cap, sizeof *lineage->list);
    if (room == NULL)
        return err_set(ERR_MEM, why, "out of memory for the way back from %s", code);
    lineage->list = room;
    lineage->list[lineage->n++] = (struct ancestor){class, code};
    return ERR_OK;
}

const struct fact *
lineage_supply(const struct fold_input *input, const char *lot)
{
    return input->first_fact(input->owner, SUBJECT_SUPPLY, lot, KNOCKBOX__RECORD__BODY_SUPPLY);
}

static enum err
add_inputs(const struct fold_input *input, const Knockbox__Mix *mix, struct lineage *lineage,
           struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < mix->n_inputs; i++) {
        const Knockbox__MixInput *in = mix->inputs[i];
        if (in->tub != NULL && in->tub[0] != '\0')
            e = add(lineage, SUBJECT_TUB, in->tub, why);
        else if (in->lot != NULL && lineage_supply(input, in->lot) != NULL)
            e = add(lineage, SUBJECT_SUPPLY, in->lot, why);
        else
            e = add(lineage, SUBJECT_LOT, in->lot, why);
    }
    return e;
}

/* One step back from a batch or a lot. */
static enum err
step_back(const struct fold_input *input, struct ancestor from, struct lineage *lineage,
          struct err_text *why)
{
    const struct fact *facts = NULL;
    size_t n = 0;
    enum err e = input->facts_of(input->owner, from.class, from.code, &facts, &n);
    for (size_t i = 0; e == ERR_OK && i < n; i++) {
        uint32_t kind = facts[i].kind->number;
        if (from.class == SUBJECT_BATCH && kind == KNOCKBOX__RECORD__BODY_MIX)
            e = add_inputs(input, facts[i].record->mix, lineage, why);
        else if (from.class == SUBJECT_LOT && kind == KNOCKBOX__RECORD__BODY_BOTTLE)
            e = add(lineage, SUBJECT_BATCH, facts[i].record->bottle->batch, why);
    }
    return e;
}

enum err
lineage_make(const struct fold_input *input, enum subject_class class, const char *code,
             struct lineage *out_lineage, struct err_text *why)
{
    memset(out_lineage, 0, sizeof *out_lineage);
    enum err e = add(out_lineage, class, code, why);
    for (size_t i = 0; e == ERR_OK && i < out_lineage->n; i++) {
        struct ancestor from = out_lineage->list[i];
        if (from.class == SUBJECT_BATCH || from.class == SUBJECT_LOT)
            e = step_back(input, from, out_lineage, why);
    }
    return e;
}

void
lineage_done(struct lineage *lineage)
{
    free(lineage->list);
    memset(lineage, 0, sizeof *lineage);
}

bool
lineage_has_spirit(const struct fold_input *input, const struct lineage *lineage, int32_t day)
{
    for (size_t i = 0; i < lineage->n; i++) {
        if (lineage->list[i].class != SUBJECT_SUPPLY)
            continue;
        const struct fact *supply = lineage_supply(input, lineage->list[i].code);
        const Knockbox__Item *item = supply == NULL
                                         ? NULL
                                         : (const Knockbox__Item *)catalogue_get(
                                               input->catalogue, KNOCKBOX__RECORD__BODY_ITEM,
                                               supply->record->supply->item, day);
        if (item != NULL && item->class_ == KNOCKBOX__ITEM_CLASS__ITEM_CLASS_SPIRIT)
            return true;
    }
    return false;
}

const char *
lineage_product(const struct fold_input *input, const char *batch)
{
    const struct fact *mix =
        input->first_fact(input->owner, SUBJECT_BATCH, batch, KNOCKBOX__RECORD__BODY_MIX);
    if (mix == NULL)
        return NULL;
    const Knockbox__Recipe *recipe = (const Knockbox__Recipe *)catalogue_get(
        input->catalogue, KNOCKBOX__RECORD__BODY_RECIPE, mix->record->mix->recipe, mix->day);
    return recipe != NULL ? recipe->product : NULL;
}
