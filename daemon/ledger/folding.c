/* folding.c - see folding.h. */
#include "daemon/ledger/folding.h"

#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/grow.h"
#include "proto/when.h"

enum err
folding_init(struct folding *folding, struct err_text *why)
{
    memset(folding, 0, sizeof *folding);
    folding->pool.lean = true;
    return outcome_new(&folding->outcome, why);
}

static void
forget_lookups(struct folding *folding)
{
    for (size_t i = 0; i < folding->looked.n; i++)
        fact_list_done(&folding->found[i]);
    texts_clear(&folding->looked);
}

void
folding_done(struct folding *folding)
{
    forget_lookups(folding);
    texts_done(&folding->looked);
    free(folding->found);
    pool_done(&folding->pool);
    fact_list_done(&folding->facts);
    outcome_free(folding->outcome);
    folding->outcome = NULL;
}

/* Class, kind and code as one text; kind 0: all facts. */
static enum err
find_lookup(struct folding *f, enum subject_class class, const char *code, uint32_t kind,
            struct fact_list **out_facts, bool *out_new)
{
    struct key key = {.n = 0, .over = false};
    uint32_t number = 0;
    size_t n = f->looked.n;
    key_byte(&key, (uint8_t) class);
    key_bytes(&key, &kind, sizeof kind);
    key_text(&key, code);
    struct fact_list *found = grow_room(f->found, n, &f->room, sizeof *found);
    if (found == NULL)
        return ERR_MEM;
    f->found = found;
    if (key.over || !texts_add(&f->looked, key.bytes, key.n, &number))
        return key.over ? ERR_INPUT : ERR_MEM;
    *out_new = number == n;
    if (*out_new)
        found[number] = (struct fact_list){.n = 0};
    *out_facts = &found[number];
    return ERR_OK;
}

/* Facts of another subject, all or of one kind; lent until the next look. NULL: it failed. */
static const struct fact_list *
look(struct folding *f, enum subject_class class, const char *code, uint32_t kind)
{
    struct fact_list *facts = NULL;
    bool fresh = false;
    enum err e = find_lookup(f, class, code, kind, &facts, &fresh);
    if (e == ERR_OK && fresh)
        e = outcome_depends(f->outcome, class, code);
    if (e == ERR_OK && fresh)
        e = facts_load(f->view, class, code, kind, &f->pool, facts, f->why);
    if (e != ERR_OK && f->e == ERR_OK)
        f->e = e;
    return e == ERR_OK ? facts : NULL;
}

static const struct fact *
first_fact(void *owner, enum subject_class class, const char *code, uint32_t kind_number)
{
    const struct fact_list *facts = look(owner, class, code, kind_number);
    return facts != NULL && facts->n > 0 ? &facts->at[0] : NULL;
}

static enum err
facts_of_kind(void *owner, enum subject_class class, const char *code, uint32_t kind_number,
              const struct fact **out_facts, size_t *out_n)
{
    struct folding *f = owner;
    const struct fact_list *facts = look(f, class, code, kind_number);
    if (facts == NULL)
        return f->e;
    *out_facts = facts->at;
    *out_n = facts->n;
    return ERR_OK;
}

static enum err
facts_of(void *owner, enum subject_class class, const char *code, const struct fact **out_facts,
         size_t *out_n)
{
    return facts_of_kind(owner, class, code, 0, out_facts, out_n);
}

static void
begin(struct folding *f, struct err_text *why)
{
    forget_lookups(f);
    pool_reset(&f->pool);
    outcome_clear(f->outcome);
    f->facts.n = 0;
    f->e = ERR_OK;
    f->why = why;
}

static enum err
finish(struct folding *f, enum err e, const uint8_t **out_bytes, size_t *out_len)
{
    if (e == ERR_OK)
        e = f->e;
    if (e == ERR_OK)
        e = outcome_pack(f->outcome, out_bytes, out_len);
    if (e == ERR_MEM && f->why != NULL && f->why->s[0] == '\0')
        (void)err_set(ERR_MEM, f->why, "ledger: out of memory");
    return e;
}

enum err
folding_run(struct folding *f, enum subject_class class, const char *code,
            const uint8_t **out_bytes, size_t *out_len, struct err_text *why)
{
    const struct class_row *row = class_row(class);
    begin(f, why);
    outcome_of(f->outcome, class, code);
    if (row == NULL || row->fold == NULL) /* a list: whoever asks reads it; it may be long */
        return finish(f, ERR_OK, out_bytes, out_len);
    enum err e = f->places != NULL
                     ? facts_load_places(f->view, class, f->places, &f->pool, &f->facts, why)
                     : facts_load(f->view, class, code, 0, &f->pool, &f->facts, why);
    if (e != ERR_OK || f->facts.n == 0)
        return finish(f, e, out_bytes, out_len);
    struct fold_input in = {.catalogue = f->view->catalogue,
                            .hub_site = f->hub_site,
                            .span = f->view->span,
                            .code = code,
                            .facts = f->facts.at,
                            .n = f->facts.n,
                            .first_fact = first_fact,
                            .facts_of = facts_of,
                            .facts_of_kind = facts_of_kind,
                            .owner = f};
    const struct fact_list *counts = NULL;
    if (row->tub_counts || row->lot_counts)
        counts = row->tub_counts ? &f->counts->tubs : &f->counts->lots;
    if (counts != NULL) {
        in.counts = counts->at;
        in.n_counts = counts->n;
    }
    return finish(f, row->fold(&in, f->outcome, why), out_bytes, out_len);
}

/* ---- what the ledger says itself */

static enum err
tell_corrected(struct outcome *out, const struct effect *effect)
{
    char id[ID_TEXT];
    const struct fact *fact = &effect->fact;
    if (effect->decider == NULL || fact->kind->group != KIND_SITE)
        return ERR_OK;
    (void)id_print(fact->id, id);
    enum err e = outcome_post(out, MEASURE_CORRECTION, effect->first_month, fact->site, id, 1);
    if (e == ERR_OK && !effect->is_void && fact->month != effect->first_month)
        e = outcome_post(out, MEASURE_CORRECTION, fact->month, fact->site, id, 1);
    return e;
}

static enum err
tell_unfit(struct folding *f, const struct effect *effect)
{
    char id[ID_TEXT];
    enum err e = ERR_OK;
    for (size_t i = 0; i < effect->n_fixes && e == ERR_OK; i++) {
        struct stored stored;
        struct fact fact;
        if (!effect->fixes[i].unfit)
            continue;
        e = store_get(f->view->store, effect->fixes[i].lsn, &stored, f->why);
        if (e == ERR_OK)
            e = effect_plain(f->view, &stored, &f->pool, &fact, f->why);
        if (e == ERR_OK)
            e = outcome_flag(f->outcome, &fact, "unfit-correction", id_print(effect->fact.id, id));
    }
    return e;
}

static enum err
tell_ahead(struct outcome *out, const struct fact *fact)
{
    char text[SUBJECT_CODE_MAX];
    if (!fact->clock_ahead || fact->kind->group != KIND_SITE)
        return ERR_OK;
    return outcome_flag(out, fact, "clock-ahead", record_subject(fact->record, text));
}

static enum err
tell_record(struct folding *f, const struct stored *stored)
{
    char text[SUBJECT_CODE_MAX];
    struct effect effect;
    enum err e = effect_of(f->view, stored, &f->pool, &effect, f->why);
    if (e == ERR_OK && effect.outside)
        e = outcome_flag(f->outcome, &effect.fact, "outside-boundary",
                         record_subject(effect.fact.record, text));
    if (e == ERR_OK && effect.counts)
        e = tell_ahead(f->outcome, &effect.fact);
    if (e == ERR_OK)
        e = tell_corrected(f->outcome, &effect);
    return e == ERR_OK ? tell_unfit(f, &effect) : e;
}

/* A correction is a record too: R8's newest day. */
static enum err
tell_day(struct folding *f, const struct fact *fact)
{
    char day[DAY_TEXT];
    int32_t seen = day_seen(f->view, fact);
    return outcome_post(f->outcome, MEASURE_RECORDS, span_month(f->view->span, seen), fact->site,
                        day_print(seen, day), 1);
}

static enum err
tell_correction(struct folding *f, const struct fact *fact)
{
    char id[ID_TEXT];
    struct stored root;
    const uint8_t *target = fact->record->correct->record.data;
    enum err e = effect_root(f->view, target, &f->pool, &root, f->why);
    if (e == ERR_NOT_FOUND)
        e = outcome_flag(f->outcome, fact, "unknown-record", id_print(target, id));
    if (e == ERR_OK)
        e = tell_day(f, fact);
    return e == ERR_OK ? tell_ahead(f->outcome, fact) : e;
}

enum err
folding_record(struct folding *f, const char *code, const uint8_t **out_bytes, size_t *out_len,
               struct err_text *why)
{
    uint8_t id[ID_SIZE];
    struct stored stored;
    struct fact fact;
    begin(f, why);
    enum err e = id_parse(code, id) ? view_find(f->view, id, &stored, why) : ERR_NOT_FOUND;
    if (e == ERR_OK)
        e = effect_plain(f->view, &stored, &f->pool, &fact, why);
    if (e == ERR_OK && fact.record->body_case == KNOCKBOX__RECORD__BODY_CORRECT)
        e = tell_correction(f, &fact);
    else if (e == ERR_OK)
        e = tell_record(f, &stored);
    return finish(f, e == ERR_NOT_FOUND ? ERR_OK : e, out_bytes, out_len);
}
