/* under_way.c - the batches that are mixed and not bottled, as the books have them. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/plan_stations.h"

enum {
    DAY_MS = 86400000
};

static void
copy(char to[65], const char *from)
{
    (void)snprintf(to, 65, "%s", from != NULL ? from : "");
}

static bool
add_batch(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct under_way_list *list = owner;
    const Knockbox__BatchRow *batch = (const Knockbox__BatchRow *)row;
    if (!batch->has_mixed_ms || batch->n_lots > 0 ||
        (list->site != NULL && (batch->site == NULL || strcmp(batch->site, list->site) != 0)))
        return true;
    if (list->n == list->room) {
        size_t room = list->room == 0 ? 16 : list->room * 2;
        struct under_way *more = realloc(list->batches, room * sizeof *more);
        list->no_memory = more == NULL;
        if (more == NULL)
            return false;
        list->batches = more;
        list->room = room;
    }
    struct under_way *one = &list->batches[list->n++];
    memset(one, 0, sizeof *one);
    copy(one->batch, code);
    copy(one->recipe, batch->recipe);
    copy(one->product, batch->product);
    copy(one->vessel, batch->vessel);
    one->mixed_day = (int32_t)((batch->mixed_ms + (int64_t)batch->offset_min * 60000) / DAY_MS);
    one->grounds_g = batch->grounds_g;
    one->started = batch->has_started_ms;
    one->ended = batch->has_ended_ms;
    return true;
}

static bool
see_strain(void *owner, const struct fact *fact)
{
    if (fact->kind->number == KNOCKBOX__RECORD__BODY_STRAIN)
        copy(owner, fact->record->strain->station);
    return true;
}

enum err
under_way_load(struct call *call, const char *site, struct under_way_list *out_list,
               struct err_text *why)
{
    struct ledger *ledger = call->serve->options.ledger;
    out_list->site = site;
    enum err e = ledger_rows(ledger, SUBJECT_BATCH, add_batch, out_list, why);
    if (out_list->no_memory)
        return err_set(ERR_MEM, why, "no memory for the batches");
    for (size_t i = 0; i < out_list->n && e == ERR_OK; i++) {
        struct under_way *one = &out_list->batches[i];
        e = ledger_facts(ledger, SUBJECT_BATCH, one->batch, INT64_MAX, see_strain, one->station,
                         why);
        e = e == ERR_NOT_FOUND ? ERR_OK : e;
    }
    return e;
}

void
under_way_done(struct under_way_list *list)
{
    free(list->batches);
    *list = (struct under_way_list){0};
}
