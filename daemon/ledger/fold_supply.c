/* fold_supply.c - one ingredient lot: delivered, put into batches, thrown away.
 *
 * A lot named in a mix or a discard is a supply or a bottle lot; who it is shows in the records,
 * whenever they arrive. Deliveries under one lot code add up.
 */
#include <stdio.h>
#include <string.h>
#include "daemon/ledger/fold.h"
#include "daemon/ledger/supply_mass.h"
#include "proto/ledger.pb-c.h"

struct supply {
    const struct fold_input *in;
    struct outcome *out;
    const struct fact *first;
    int64_t mass_g, volume_ml, taken_g;
};

static const char *
strength(const struct supply *s, const struct fact *fact)
{
    const Knockbox__Supply *body = fact->record->supply;
    if (body->abv_pct != NULL)
        return body->abv_pct;
    const Knockbox__Item *item = (const Knockbox__Item *)catalogue_get(
        s->in->catalogue, KNOCKBOX__RECORD__BODY_ITEM, body->item, fact->day);
    return item != NULL ? item->abv_pct : NULL;
}

static void
deliver(struct supply *s, const struct fact *fact)
{
    const Knockbox__Supply *body = fact->record->supply;
    if (s->first == NULL)
        s->first = fact;
    if (body->has_mass_g) {
        s->mass_g += body->mass_g;
    } else if (body->has_volume_ml) {
        s->volume_ml += body->volume_ml;
        s->mass_g += supply_mass_g(body->volume_ml, strength(s, fact));
    }
}

static int64_t
taken_by(const struct supply *s, const struct fact *fact)
{
    if (fact->record->body_case == KNOCKBOX__RECORD__BODY_DISCARD)
        return fact->record->discard->has_mass_g ? fact->record->discard->mass_g : 0;
    if (fact->record->body_case != KNOCKBOX__RECORD__BODY_MIX)
        return 0;
    const Knockbox__Mix *mix = fact->record->mix;
    int64_t sum_g = 0;
    for (size_t i = 0; i < mix->n_inputs; i++)
        if (mix->inputs[i]->lot != NULL && strcmp(mix->inputs[i]->lot, s->in->code) == 0)
            sum_g += mix->inputs[i]->mass_g;
    return sum_g;
}

/* No delivery: a bottle lot, or nobody knows it. The bottle lot's own fold tells of a discard. */
static enum err
fold_undelivered(const struct supply *s)
{
    const struct fold_input *in = s->in;
    if (in->first_fact(in->owner, SUBJECT_LOT, in->code, KNOCKBOX__RECORD__BODY_BOTTLE) != NULL)
        return ERR_OK;
    enum err e = ERR_OK;
    for (size_t i = 0; i < in->n && e == ERR_OK; i++)
        e = outcome_flag(s->out, &in->facts[i], "unknown-lot", in->code);
    return e;
}

static enum err
give_row(const struct supply *s)
{
    const Knockbox__Supply *body = s->first->record->supply;
    Knockbox__SupplyRow row = KNOCKBOX__SUPPLY_ROW__INIT;
    row.lot = body->lot;
    row.item = body->item;
    row.supplier = body->supplier;
    row.supplier_lot = body->supplier_lot;
    row.has_received = body->has_received;
    row.received = body->received;
    row.has_mass_g = row.has_left_g = 1;
    row.mass_g = s->mass_g;
    row.left_g = s->mass_g > s->taken_g ? s->mass_g - s->taken_g : 0;
    row.has_volume_ml = s->volume_ml > 0;
    row.volume_ml = s->volume_ml;
    row.has_cost_minor = body->has_cost_minor;
    row.cost_minor = body->cost_minor;
    row.currency = body->currency;
    row.abv_pct = (char *)strength(s, s->first);
    row.has_best_before = body->has_best_before;
    row.best_before = body->best_before;
    row.contains = body->contains;
    return outcome_row(s->out, &row.base);
}

enum err
fold_supply(const struct fold_input *in, struct outcome *out, struct err_text *why)
{
    (void)why;
    struct supply s = {.in = in, .out = out};
    for (size_t i = 0; i < in->n; i++)
        if (in->facts[i].record->body_case == KNOCKBOX__RECORD__BODY_SUPPLY)
            deliver(&s, &in->facts[i]);
    if (s.first == NULL)
        return fold_undelivered(&s);
    enum err e = ERR_OK;
    for (size_t i = 0; i < in->n && e == ERR_OK; i++) {
        int64_t mass_g = taken_by(&s, &in->facts[i]);
        s.taken_g += mass_g;
        if (mass_g > 0 && s.taken_g > s.mass_g)
            e = outcome_flag(out, &in->facts[i], "supply-overdrawn", in->code);
    }
    return e != ERR_OK ? e : give_row(&s);
}
