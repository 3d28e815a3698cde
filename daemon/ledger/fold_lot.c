/* fold_lot.c - one bottle lot: made, released, where its bottles are, what they brought.
 *
 * Report rules P1 to P3, C1 (places of bottles), Q1 (held lots), T6, and the discrepancies of lots.
 * A site's bottles are bottled or accepted good, less sold, lost and dispatched; a stocktake with
 * `bottles` sets them to what it found, 0 when it does not list the lot.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/base/zone.h"
#include "daemon/ledger/fold.h"
#include "daemon/ledger/grow.h"
#include "daemon/ledger/lineage.h"
#include "daemon/ledger/money.h"
#include "daemon/ledger/recalls.h"
#include "proto/ledger.pb-c.h"
#include "proto/when.h"

/* A lot's bottles at one site. */
struct spot {
    const char *site;
    int64_t on_hand, under_way, sold, lost; /* under_way: to this site */
    int64_t since_ms;                       /* on_hand is not 0 since then */
};

struct lot {
    const struct fold_input *input;
    struct outcome *outcome;
    struct err_text *why;
    struct lineage lineage;
    const struct fact *bottled; /* the first bottle; never NULL while folding */
    const char *product;        /* NULL: not known */
    int64_t made;
    bool there;                  /* bottled by now */
    Knockbox__Decision decision; /* 0: none so far */
    struct spot *spots;
    size_t n_spots, cap_spots;
};

static enum err
out_of_memory(const struct lot *lot)
{
    return err_set(ERR_MEM, lot->why, "out of memory for lot %s", lot->input->code);
}

static enum err
flag(struct lot *lot, const struct fact *fact, const char *code)
{
    return outcome_flag(lot->outcome, fact, code, lot->input->code);
}

/* ---- spots */

static enum err
spot_at(struct lot *lot, const char *site, struct spot **out_spot)
{
    for (size_t i = 0; i < lot->n_spots; i++) {
        if (strcmp(lot->spots[i].site, site) == 0) {
            *out_spot = &lot->spots[i];
            return ERR_OK;
        }
    }
    void *room = grow_room(lot->spots, lot->n_spots, &lot->cap_spots, sizeof *lot->spots);
    if (room == NULL)
        return out_of_memory(lot);
    lot->spots = room;
    *out_spot = &lot->spots[lot->n_spots++];
    **out_spot = (struct spot){.site = site};
    return ERR_OK;
}

/* Changes on_hand and tells the ledger during which times a stocktake would matter. */
static enum err
set_on_hand(struct lot *lot, struct spot *spot, int64_t on_hand, int64_t at_ms)
{
    enum err e = ERR_OK;
    if (spot->on_hand == 0 && on_hand != 0)
        spot->since_ms = at_ms;
    if (spot->on_hand != 0 && on_hand == 0)
        e = outcome_stay(lot->outcome, spot->site, spot->since_ms, at_ms);
    spot->on_hand = on_hand;
    return e;
}

static const char *
recall_at(const struct lot *lot, const struct fact *fact)
{
    return recall_in_force(lot->input->catalogue, &lot->lineage, fact->at_ms, fact->day);
}

static struct bottles
bottles_of(const struct lot *lot, int64_t count)
{
    return (struct bottles){lot->product, lot->bottled->record->bottle->bottle_ml, count};
}

/* ---- one function a kind */

static enum err
post_made(struct lot *lot, const struct fact *fact)
{
    const Knockbox__Bottle *bottle = fact->record->bottle;
    const struct {
        enum measure measure;
        int64_t amount;
    } lines[] = {
        {MEASURE_BOTTLED_G, bottle->product_g},
        {MEASURE_BOTTLED_ML, bottle->bottle_ml * bottle->count},
        {MEASURE_BOTTLED, bottle->count},
    };
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < sizeof lines / sizeof lines[0]; i++)
        e = outcome_post(lot->outcome, lines[i].measure, fact->month, fact->site, lot->product,
                         lines[i].amount);
    struct bottles bottles = {lot->product, bottle->bottle_ml, bottle->count};
    return e == ERR_OK ? money_post(lot->input, lot->outcome, MEASURE_AT_LIST, fact,
                                    lot->input->hub_site, &bottles)
                       : e;
}

static enum err
on_bottle(struct lot *lot, const struct fact *fact)
{
    struct spot *spot = NULL;
    int64_t count = fact->record->bottle->count;
    lot->there = true;
    lot->made += count;
    enum err e = spot_at(lot, fact->site, &spot);
    if (e == ERR_OK)
        e = set_on_hand(lot, spot, spot->on_hand + count, fact->at_ms);
    if (e == ERR_OK && fact == lot->bottled)
        e = outcome_post(lot->outcome, MEASURE_LOT_BOTTLED, fact->month, fact->site,
                         lot->input->code, 1);
    return e == ERR_OK && lot->product != NULL ? post_made(lot, fact) : e;
}

static enum err
on_release(struct lot *lot, const struct fact *fact)
{
    const Knockbox__Release *release = fact->record->release;
    bool licensed = release->licence != NULL && release->licence[0] != '\0';
    lot->decision = release->decision;
    if (release->decision == KNOCKBOX__DECISION__DECISION_RELEASE && !licensed &&
        lineage_has_spirit(lot->input, &lot->lineage, fact->day))
        return flag(lot, fact, "no-licence");
    return ERR_OK;
}

static enum err
on_dispatch(struct lot *lot, const struct fact *fact)
{
    const Knockbox__Dispatch *dispatch = fact->record->dispatch;
    struct spot *from = NULL, *to = NULL;
    enum err e = spot_at(lot, dispatch->to_site, &to);
    if (e == ERR_OK) {
        to->under_way += dispatch->count;
        e = spot_at(lot, fact->site, &from); /* moves `to` */
    }
    if (e == ERR_OK)
        e = set_on_hand(lot, from, from->on_hand - dispatch->count, fact->at_ms);
    if (e == ERR_OK && from->on_hand < 0)
        e = flag(lot, fact, "dispatched-more");
    if (e == ERR_OK && lot->decision != KNOCKBOX__DECISION__DECISION_RELEASE)
        e = flag(lot, fact, "dispatched-unreleased");
    if (e == ERR_OK && recall_at(lot, fact) != NULL)
        e = flag(lot, fact, "dispatched-recalled");
    return e;
}

static bool
is_cafe(const struct lot *lot, const struct fact *fact)
{
    const Knockbox__Site *site = (const Knockbox__Site *)catalogue_get(
        lot->input->catalogue, KNOCKBOX__RECORD__BODY_SITE_, fact->site, fact->day);
    return site != NULL && site->role == KNOCKBOX__ROLE__ROLE_CAFE;
}

static enum err
on_accept(struct lot *lot, const struct fact *fact)
{
    const Knockbox__Accept *accept = fact->record->accept;
    struct spot *spot = NULL;
    enum err e = spot_at(lot, fact->site, &spot);
    if (e == ERR_OK && spot->under_way != accept->count)
        e = flag(lot, fact, "accepted-differs");
    if (e != ERR_OK)
        return e;
    spot->under_way = 0; /* what is short is unlocated */
    spot->lost += accept->broken;
    struct bottles good = bottles_of(lot, accept->count - accept->broken);
    struct bottles broken = bottles_of(lot, accept->broken);
    e = set_on_hand(lot, spot, spot->on_hand + good.count, fact->at_ms);
    if (e == ERR_OK && is_cafe(lot, fact))
        e = money_post(lot->input, lot->outcome, MEASURE_DELIVERED, fact, fact->site, &good);
    if (e == ERR_OK)
        e = money_post(lot->input, lot->outcome, MEASURE_LOST, fact, fact->site, &broken);
    return e;
}

static enum err
on_sale(struct lot *lot, const struct fact *fact)
{
    const Knockbox__Sale *sale = fact->record->sale;
    struct spot *spot = NULL;
    enum err e = spot_at(lot, fact->site, &spot);
    if (e != ERR_OK)
        return e;
    spot->sold += sale->count;
    e = set_on_hand(lot, spot, spot->on_hand - sale->count, fact->at_ms);
    if (e == ERR_OK && lot->product != NULL)
        e = money_post_sale(lot->outcome, fact, lot->product,
                            lot->bottled->record->bottle->bottle_ml);
    if (e == ERR_OK && spot->on_hand < 0)
        e = flag(lot, fact, "sold-more");
    if (e == ERR_OK && recall_at(lot, fact) != NULL)
        e = flag(lot, fact, "sold-recalled");
    return e;
}

/* By count; by mass alone nobody knows how many bottles it were (W9: waste, but no bottles). */
static enum err
on_discard(struct lot *lot, const struct fact *fact)
{
    const Knockbox__Discard *discard = fact->record->discard;
    struct spot *spot = NULL;
    if (!discard->has_count)
        return ERR_OK;
    enum err e = spot_at(lot, fact->site, &spot);
    if (e != ERR_OK)
        return e;
    spot->lost += discard->count;
    e = set_on_hand(lot, spot, spot->on_hand - discard->count, fact->at_ms);
    struct bottles bottles = bottles_of(lot, discard->count);
    return e == ERR_OK
               ? money_post(lot->input, lot->outcome, MEASURE_LOST, fact, fact->site, &bottles)
               : e;
}

/* What a stocktake found of this lot. `listed` NULL: it does not name it, so none. */
static enum err
on_count(struct lot *lot, const struct fact *count, const struct fact *listed)
{
    struct spot *spot = NULL;
    int64_t found = 0;
    const Knockbox__BottleCounts *bottles =
        listed != NULL ? listed->record->stocktake->bottles : NULL;
    for (size_t i = 0; bottles != NULL && i < bottles->n_v; i++)
        if (strcmp(bottles->v[i]->lot, lot->input->code) == 0)
            found += bottles->v[i]->count;
    outcome_by(lot->outcome, count);
    enum err e = spot_at(lot, count->site, &spot);
    if (e != ERR_OK || spot->on_hand == found)
        return e;
    e = flag(lot, count, "bottles-differ");
    return e == ERR_OK ? set_on_hand(lot, spot, found, count->at_ms) : e;
}

static const struct {
    uint32_t kind;
    bool moves; /* a movement: not before the lot exists (T6) */
    enum err (*on)(struct lot *lot, const struct fact *fact);
} table[] = {
    {KNOCKBOX__RECORD__BODY_BOTTLE, false, on_bottle},
    {KNOCKBOX__RECORD__BODY_RELEASE, false, on_release},
    {KNOCKBOX__RECORD__BODY_DISPATCH, true, on_dispatch},
    {KNOCKBOX__RECORD__BODY_ACCEPT, true, on_accept},
    {KNOCKBOX__RECORD__BODY_SALE, true, on_sale},
    {KNOCKBOX__RECORD__BODY_DISCARD, true, on_discard},
};

static enum err
take_in(struct lot *lot, const struct fact *fact)
{
    outcome_by(lot->outcome, fact);
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        if (table[i].kind != fact->kind->number)
            continue;
        enum err e = table[i].on(lot, fact);
        if (e == ERR_OK && table[i].moves && !lot->there)
            e = flag(lot, fact, "before-it-existed");
        return e;
    }
    return ERR_OK;
}

/* Facts and stocktakes in one order. A stocktake that lists the lot is in both. */
static enum err
walk(struct lot *lot)
{
    const struct fold_input *in = lot->input;
    size_t f = 0, c = 0;
    enum err e = ERR_OK;
    while (e == ERR_OK && (f < in->n || c < in->n_counts)) {
        int order = f == in->n          ? 1
                    : c == in->n_counts ? -1
                                        : fact_order(&in->facts[f], &in->counts[c]);
        if (order < 0) {
            const struct fact *fact = &in->facts[f++];
            e = fact->kind->number == KNOCKBOX__RECORD__BODY_STOCKTAKE ? on_count(lot, fact, fact)
                                                                       : take_in(lot, fact);
        } else {
            e = on_count(lot, &in->counts[c++], order == 0 ? &in->facts[f++] : NULL);
        }
    }
    return e;
}

/* ---- Q1: held by the end of a month */

/* The decision by the end of a month; 0: none. */
static Knockbox__Decision
decision_by(const struct lot *lot, int32_t month)
{
    Knockbox__Decision decision = 0;
    for (size_t i = 0; i < lot->input->n; i++) {
        const struct fact *fact = &lot->input->facts[i];
        if (fact->kind->number == KNOCKBOX__RECORD__BODY_RELEASE && fact->month <= month)
            decision = fact->record->release->decision;
    }
    return decision;
}

/* The month of an instant at the hub. */
static int32_t
month_at_hub(const struct lot *lot, int64_t at_ms)
{
    const struct catalogue *catalogue = lot->input->catalogue;
    const char *hub = lot->input->hub_site;
    int32_t day = (int32_t)(at_ms / 86400000);
    const struct zone *zone = NULL;
    const Knockbox__Site *site =
        (const Knockbox__Site *)catalogue_get(catalogue, KNOCKBOX__RECORD__BODY_SITE_, hub, day);
    if (site == NULL || zone_find(site->zone, &zone, NULL) != ERR_OK)
        return span_month(lot->input->span, day);
    return span_month(lot->input->span,
                      catalogue_business_day(catalogue, hub, at_ms, zone_offset_min(zone, at_ms)));
}

/* Is a recall in force by the end of the month? Looked at the last instants at which one changed. */
static bool
recalled_by(const struct lot *lot, int32_t month)
{
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(lot->input->catalogue, KNOCKBOX__RECORD__BODY_RECALL, &keys);
    int64_t last_ms = INT64_MIN;
    for (unsigned i = 0; i < n; i++) {
        const int64_t *at_ms = NULL;
        unsigned m = catalogue_instants(lot->input->catalogue, KNOCKBOX__RECORD__BODY_RECALL,
                                        keys[i], &at_ms);
        for (unsigned j = 0; j < m; j++)
            if (month_at_hub(lot, at_ms[j]) <= month && at_ms[j] > last_ms)
                last_ms = at_ms[j];
    }
    return last_ms != INT64_MIN && recall_in_force(lot->input->catalogue, &lot->lineage, last_ms,
                                                   span_last_day(lot->input->span, month)) != NULL;
}

static const char *
why_held(const struct lot *lot, int32_t month)
{
    Knockbox__Decision decision = decision_by(lot, month);
    if (decision == KNOCKBOX__DECISION__DECISION_DESTROY)
        return NULL;
    if (recalled_by(lot, month))
        return "recall";
    if (decision == KNOCKBOX__DECISION__DECISION_HOLD)
        return "hold";
    return decision == 0 ? "none" : NULL;
}

struct months {
    int32_t *list;
    size_t n, cap;
};

static enum err
add_month(struct lot *lot, struct months *months, int32_t month)
{
    if (month < lot->bottled->month)
        return ERR_OK;
    for (size_t i = 0; i < months->n; i++)
        if (months->list[i] == month)
            return ERR_OK;
    void *room = grow_room(months->list, months->n, &months->cap, sizeof *months->list);
    if (room == NULL)
        return out_of_memory(lot);
    months->list = room;
    months->list[months->n++] = month;
    return ERR_OK;
}

/* Months in which the answer can change. */
static enum err
collect_months(struct lot *lot, struct months *months)
{
    const char *const *keys = NULL;
    enum err e = add_month(lot, months, lot->bottled->month);
    for (size_t i = 0; e == ERR_OK && i < lot->input->n; i++)
        if (lot->input->facts[i].kind->number == KNOCKBOX__RECORD__BODY_RELEASE)
            e = add_month(lot, months, lot->input->facts[i].month);
    unsigned n = catalogue_keys(lot->input->catalogue, KNOCKBOX__RECORD__BODY_RECALL, &keys);
    for (unsigned i = 0; e == ERR_OK && i < n; i++) {
        const int64_t *at_ms = NULL;
        unsigned m = catalogue_instants(lot->input->catalogue, KNOCKBOX__RECORD__BODY_RECALL,
                                        keys[i], &at_ms);
        for (unsigned j = 0; e == ERR_OK && j < m; j++) {
            const Knockbox__Recall *recall = (const Knockbox__Recall *)catalogue_at(
                lot->input->catalogue, KNOCKBOX__RECORD__BODY_RECALL, keys[i], at_ms[j]);
            e = add_month(lot, months, month_at_hub(lot, at_ms[j]));
            if (e == ERR_OK && recall != NULL && recall->has_from)
                e = add_month(lot, months, span_month(lot->input->span, recall->from));
        }
    }
    return e;
}

static int
by_number(const void *a, const void *b)
{
    int32_t x = *(const int32_t *)a, y = *(const int32_t *)b;
    return (x > y) - (x < y);
}

static enum err
post_held_line(struct lot *lot, int32_t month, const char *word, int64_t amount)
{
    char key[96];
    if (word == NULL)
        return ERR_OK;
    (void)snprintf(key, sizeof key, "%s|%s", word, lot->input->code);
    return outcome_post(lot->outcome, MEASURE_LOT_HELD, month, lot->bottled->site, key, amount);
}

static enum err
post_held(struct lot *lot)
{
    struct months months = {NULL, 0, 0};
    const char *before = NULL;
    enum err e = collect_months(lot, &months);
    if (e == ERR_OK)
        qsort(months.list, months.n, sizeof *months.list, by_number);
    for (size_t i = 0; e == ERR_OK && i < months.n; i++) {
        const char *now = why_held(lot, months.list[i]);
        if (now == before) /* words are literals of one function */
            continue;
        e = post_held_line(lot, months.list[i], before, -1);
        if (e == ERR_OK)
            e = post_held_line(lot, months.list[i], now, 1);
        before = now;
    }
    free(months.list);
    return e;
}

/* ---- the row */

static int
by_site(const void *a, const void *b)
{
    return strcmp(((const struct spot *)a)->site, ((const struct spot *)b)->site);
}

static size_t
fill_spots(const struct lot *lot, Knockbox__LotSpot *spots, Knockbox__LotSpot **pointers,
           int64_t *out_located)
{
    size_t n = 0;
    *out_located = 0;
    for (size_t i = 0; i < lot->n_spots; i++) {
        const struct spot *s = &lot->spots[i];
        const int64_t counts[] = {s->on_hand, s->under_way, s->sold, s->lost};
        for (size_t j = 0; j < 4; j++) {
            if (counts[j] == 0)
                continue;
            knockbox__lot_spot__init(&spots[n]);
            spots[n].site = (char *)(uintptr_t)s->site; /* only packed */
            spots[n].has_state = spots[n].has_count = true;
            spots[n].state = (Knockbox__LotState)(j + 1);
            spots[n].count = counts[j];
            *out_located += counts[j];
            pointers[n] = &spots[n];
            n++;
        }
    }
    return n;
}

/* The batches that were bottled into the lot, each once, in order of bottling. */
static size_t
fill_batches(const struct lot *lot, char **batches)
{
    size_t n = 0;
    for (size_t i = 0; i < lot->input->n; i++) {
        const struct fact *fact = &lot->input->facts[i];
        if (fact->kind->number != KNOCKBOX__RECORD__BODY_BOTTLE)
            continue;
        char *batch = fact->record->bottle->batch;
        size_t j = 0;
        while (j < n && strcmp(batches[j], batch) != 0)
            j++;
        if (j == n)
            batches[n++] = batch;
    }
    return n;
}

static void
fill_plain(struct lot *lot, Knockbox__LotRow *row)
{
    const Knockbox__Bottle *bottle = lot->bottled->record->bottle;
    const char *recall =
        recall_in_force(lot->input->catalogue, &lot->lineage, INT64_MAX, INT32_MAX);
    row->lot = (char *)(uintptr_t)lot->input->code; /* only packed, like all below */
    row->site = (char *)(uintptr_t)lot->bottled->site;
    row->product = (char *)(uintptr_t)lot->product;
    row->recall = (char *)(uintptr_t)recall;
    row->has_bottle_ml = row->has_made = row->has_located = row->has_recalled = true;
    row->bottle_ml = bottle->bottle_ml;
    row->made = lot->made;
    row->recalled = recall != NULL;
    row->has_decision = lot->decision != 0;
    row->decision = row->has_decision ? lot->decision : row->decision;
    row->has_bottled_ms = true;
    row->bottled_ms = lot->bottled->at_ms;
    row->has_best_before = bottle->has_best_before;
    row->best_before = bottle->best_before;
    row->label_abv = bottle->label_abv;
}

static enum err
give_row(struct lot *lot)
{
    Knockbox__LotRow row;
    knockbox__lot_row__init(&row);
    if (lot->n_spots > 1)
        qsort(lot->spots, lot->n_spots, sizeof *lot->spots, by_site);
    Knockbox__LotSpot *spots = calloc(4 * lot->n_spots + 1, sizeof *spots);
    row.spots = calloc(4 * lot->n_spots + 1, sizeof(Knockbox__LotSpot *));
    row.batches = calloc(lot->input->n, sizeof(char *));
    enum err e = ERR_OK;
    if (spots == NULL || row.spots == NULL || row.batches == NULL) {
        e = out_of_memory(lot);
    } else {
        row.n_spots = fill_spots(lot, spots, row.spots, &row.located);
        row.n_batches = fill_batches(lot, row.batches);
        fill_plain(lot, &row);
        e = outcome_row(lot->outcome, &row.base);
    }
    free(spots);
    free(row.spots);
    free(row.batches);
    return e;
}

/* ---- the whole */

static const struct fact *
first_bottle(const struct fold_input *input)
{
    for (size_t i = 0; i < input->n; i++)
        if (input->facts[i].kind->number == KNOCKBOX__RECORD__BODY_BOTTLE)
            return &input->facts[i];
    return NULL;
}

/* Nobody bottled it: a supply may be mixed, measured and thrown away; the rest is unknown. */
static enum err
flag_unknown(struct lot *lot)
{
    bool supply = lineage_supply(lot->input, lot->input->code) != NULL;
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < lot->input->n; i++) {
        const struct fact *fact = &lot->input->facts[i];
        uint32_t kind = fact->kind->number;
        bool of_supply = kind == KNOCKBOX__RECORD__BODY_MIX ||
                         kind == KNOCKBOX__RECORD__BODY_MEASURE ||
                         kind == KNOCKBOX__RECORD__BODY_DISCARD;
        if (!supply || !of_supply)
            e = flag(lot, fact, "unknown-lot");
    }
    return e;
}

static enum err
end_stays(struct lot *lot)
{
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < lot->n_spots; i++)
        if (lot->spots[i].on_hand != 0)
            e = outcome_stay(lot->outcome, lot->spots[i].site, lot->spots[i].since_ms, INT64_MAX);
    return e;
}

enum err
fold_lot(const struct fold_input *input, struct outcome *outcome, struct err_text *why)
{
    struct lot lot = {.input = input, .outcome = outcome, .why = why};
    lot.bottled = first_bottle(input);
    if (lot.bottled == NULL)
        return flag_unknown(&lot);
    lot.product = lineage_product(input, lot.bottled->record->bottle->batch);
    enum err e = lineage_make(input, SUBJECT_LOT, input->code, &lot.lineage, why);
    if (e == ERR_OK)
        e = walk(&lot);
    outcome_by(outcome, NULL);
    if (e == ERR_OK)
        e = end_stays(&lot);
    if (e == ERR_OK)
        e = post_held(&lot);
    if (e == ERR_OK)
        e = give_row(&lot);
    lineage_done(&lot.lineage);
    free(lot.spots);
    return e;
}
