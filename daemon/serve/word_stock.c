/* word_stock.c - `stock`: ingredients, batches under way, bottles, waste that waits. */
#include "daemon/serve/alcohol.h"
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"
#include "proto/fields.h"

/* One part of the answer in the making. */
struct listing {
    const struct catalogue *catalogue;
    int32_t today;
    json_t *list;
};

static bool
add_line(const struct listing *listing, json_t *line)
{
    return json_array_append_new(listing->list, line) == 0;
}

static bool
add_supply(void *owner, const char *code, const ProtobufCMessage *row)
{
    const Knockbox__SupplyRow *supply = (const Knockbox__SupplyRow *)row;
    (void)code;
    if (supply->left_g <= 0)
        return true;
    json_t *line =
        json_pack("{s:s, s:o, s:o, s:I, s:I, s:o, s:o}", "lot", supply->lot, "item",
                  show_text(supply->item), "supplier", show_text(supply->supplier), "left_g",
                  (json_int_t)supply->left_g, "mass_g", (json_int_t)supply->mass_g, "best_before",
                  supply->has_best_before ? show_day(supply->best_before) : json_null(), "abv_pct",
                  show_text(supply->abv_pct));
    return add_line(owner, line);
}

static const char *
batch_stage(const Knockbox__BatchRow *batch)
{
    if (batch->n_lots > 0)
        return "bottled";
    if (batch->has_ended_ms)
        return "strained";
    return batch->has_started_ms ? "straining" : "steeping";
}

/* Batches that are not bottled yet. */
static bool
add_batch(void *owner, const char *code, const ProtobufCMessage *row)
{
    const Knockbox__BatchRow *batch = (const Knockbox__BatchRow *)row;
    (void)code;
    if (batch->n_lots > 0 || !batch->has_mixed_ms)
        return true;
    const struct listing *listing = owner;
    bool alcoholic = alcohol_in_recipe(listing->catalogue, batch->recipe, listing->today);
    json_t *line = json_pack(
        "{s:s, s:o, s:o, s:o, s:o, s:I, s:I, s:I, s:s, s:b}", "batch", batch->batch, "recipe",
        show_text(batch->recipe), "product", show_text(batch->product), "vessel",
        show_text(batch->vessel), "mixed", show_instant(batch->mixed_ms, batch->offset_min),
        "grounds_g", (json_int_t)batch->grounds_g, "in_g", (json_int_t)batch->in_g, "product_g",
        (json_int_t)batch->product_g, "stage", batch_stage(batch), "alcoholic", alcoholic);
    return add_line(owner, line);
}

static json_t *
lot_line(const Knockbox__LotRow *lot, const Knockbox__LotSpot *spot, bool alcoholic)
{
    return json_pack("{s:s, s:o, s:I, s:o, s:s, s:I, s:o, s:o, s:b, s:b}", "lot", lot->lot,
                     "product", show_text(lot->product), "bottle_ml", (json_int_t)lot->bottle_ml,
                     "site", show_text(spot->site), "state",
                     enum_word(&knockbox__lot_state__descriptor, (int)spot->state), "count",
                     (json_int_t)spot->count, "best_before",
                     lot->has_best_before ? show_day(lot->best_before) : json_null(), "decision",
                     lot->has_decision ? json_string(enum_word(&knockbox__decision__descriptor,
                                                               (int)lot->decision))
                                       : json_null(),
                     "recalled", lot->recalled, "alcoholic", alcoholic);
}

static bool
add_lot(void *owner, const char *code, const ProtobufCMessage *row)
{
    const Knockbox__LotRow *lot = (const Knockbox__LotRow *)row;
    const struct listing *listing = owner;
    bool alcoholic = alcohol_in_product(listing->catalogue, lot->product, listing->today);
    (void)code;
    for (size_t i = 0; i < lot->n_spots; i++) {
        int state = (int)lot->spots[i]->state;
        if (state != KNOCKBOX__LOT_STATE__LOT_STATE_ON_HAND &&
            state != KNOCKBOX__LOT_STATE__LOT_STATE_IN_TRANSIT)
            continue;
        if (!add_line(listing, lot_line(lot, lot->spots[i], alcoholic)))
            return false;
    }
    return true;
}

static bool
add_waste(void *owner, const char *code, const ProtobufCMessage *row)
{
    const Knockbox__WasteRow *waste = (const Knockbox__WasteRow *)row;
    (void)code;
    for (size_t i = 0; i < waste->n_streams; i++) {
        const Knockbox__StreamRow *stream = waste->streams[i];
        if (stream->waiting_g == 0)
            continue;
        json_t *line =
            json_pack("{s:s, s:s, s:I, s:o}", "site", waste->site, "stream", stream->stream,
                      "waiting_g", (json_int_t)stream->waiting_g, "since",
                      show_instant(stream->has_oldest_ms ? stream->oldest_ms : -1, 0));
        if (!add_line(owner, line))
            return false;
    }
    return true;
}

static const struct part {
    const char *name;
    enum subject_class class;
    ledger_visit *add;
} parts[] = {
    {"ingredients", SUBJECT_SUPPLY, add_supply},
    {"batches", SUBJECT_BATCH, add_batch},
    {"bottles", SUBJECT_LOT, add_lot},
    {"waste", SUBJECT_WASTE, add_waste},
};

enum err
word_stock(struct call *call, struct err_text *why)
{
    struct ledger *ledger = NULL;
    json_t *answer = json_object();
    enum err e = call_ledger(call, &ledger, why);
    int32_t today = show_today(call, call->serve->options.site);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0] && e == ERR_OK; i++) {
        struct listing listing = {ledger_catalogue(ledger), today, json_array()};
        e = ledger_rows(ledger, parts[i].class, parts[i].add, &listing, why);
        if (json_object_set_new(answer, parts[i].name, listing.list) != 0 && e == ERR_OK)
            e = err_set(ERR_MEM, why, "no memory for the stock");
    }
    if (e == ERR_OK)
        return call_json(call, answer, why);
    json_decref(answer);
    return e;
}
