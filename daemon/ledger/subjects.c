/* subjects.c - see subjects.h. */
#include "daemon/ledger/subjects.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include "daemon/record/record.h"
#include "proto/ledger.pb-c.h"
#include "proto/when.h"

static const struct class_row classes[SUBJECT_CLASSES] = {
    [SUBJECT_TUB] = {fold_tub, &knockbox__tub_row__descriptor, true, false, false},
    [SUBJECT_BATCH] = {fold_batch, &knockbox__batch_row__descriptor, false, false, false},
    [SUBJECT_LOT] = {fold_lot, &knockbox__lot_row__descriptor, false, true, false},
    [SUBJECT_SUPPLY] = {fold_supply, &knockbox__supply_row__descriptor, false, false, false},
    [SUBJECT_WASTE] = {fold_waste, &knockbox__waste_row__descriptor, false, false, true},
    [SUBJECT_DAY] = {fold_day, NULL, false, false, false},
    [SUBJECT_COUNT] = {fold_count, NULL, false, false, false},
    [SUBJECT_PLACE] = {fold_place, NULL, false, false, false},
    [SUBJECT_SALE] = {fold_sale, NULL, false, false, false},
};

const char *
subject_on_day(int32_t day, const char *name, char code[SUBJECT_CODE_MAX])
{
    char text[DAY_TEXT];
    (void)snprintf(code, SUBJECT_CODE_MAX, "%s|%s", day_print(day, text), name);
    return code;
}

const struct class_row *class_row(enum subject_class class)
{
    return (unsigned)class < SUBJECT_CLASSES ? &classes[class] : NULL;
}

struct visiting {
    const Knockbox__Record *record;
    int32_t day;
    subject_visit *visit;
    void *owner;
    enum err e;
};

static void
give(struct visiting *v, enum subject_class class, const char *code)
{
    if (v->e == ERR_OK && code != NULL && code[0] != '\0')
        v->e = v->visit(v->owner, class, code);
}

/* By day as well where nothing is carried from one day to the next: a subject that grows for ever
 * would be folded whole for each new record. */
static void
give_by_day(struct visiting *v, enum subject_class class, const char *name)
{
    char code[SUBJECT_CODE_MAX];
    if (name != NULL)
        give(v, class, subject_on_day(v->day, name, code));
}

static void
give_day(struct visiting *v)
{
    give_by_day(v, SUBJECT_DAY, v->record->site);
}

/* All parts stand under their number; the first of each, which is short, in the list of plans. */
static void
plan_subjects(struct visiting *v)
{
    char code[SUBJECT_CODE_MAX];
    (void)snprintf(code, sizeof code, "plan|%" PRId64, v->record->plan->number);
    give(v, SUBJECT_DEMAND, code);
    if (v->record->plan->part == 1)
        give(v, SUBJECT_DEMAND, "plans");
}

static void
give_each(struct visiting *v, enum subject_class class, char *const *codes, size_t n)
{
    for (size_t i = 0; i < n; i++)
        give(v, class, codes[i]);
}

static void
close_subjects(struct visiting *v)
{
    give_day(v);
    give(v, SUBJECT_WASTE, v->record->site);
}

static void
tub_subjects(struct visiting *v)
{
    give(v, SUBJECT_TUB, v->record->tub->tub);
    give_day(v);
}

static void
receive_subjects(struct visiting *v)
{
    const Knockbox__Receive *r = v->record->receive;
    for (size_t i = 0; i < r->n_tubs; i++)
        give(v, SUBJECT_TUB, r->tubs[i]->tub);
}

static void
mix_subjects(struct visiting *v)
{
    const Knockbox__Mix *mix = v->record->mix;
    give(v, SUBJECT_BATCH, mix->batch);
    for (size_t i = 0; i < mix->n_inputs; i++) {
        give(v, SUBJECT_TUB, mix->inputs[i]->tub);
        give(v, SUBJECT_LOT, mix->inputs[i]->lot); /* it may turn out to be either */
        give(v, SUBJECT_SUPPLY, mix->inputs[i]->lot);
    }
}

static void
discard_subjects(struct visiting *v)
{
    const Knockbox__Discard *d = v->record->discard;
    switch (d->what) {
    case KNOCKBOX__DISCARD_WHAT__DISCARD_WHAT_TUB:
        give(v, SUBJECT_TUB, d->code);
        break;
    case KNOCKBOX__DISCARD_WHAT__DISCARD_WHAT_BATCH:
        give(v, SUBJECT_BATCH, d->code);
        break;
    case KNOCKBOX__DISCARD_WHAT__DISCARD_WHAT_LOT:
        give(v, SUBJECT_LOT, d->code);
        give(v, SUBJECT_SUPPLY, d->code);
        break;
    default:
        break;
    }
    give(v, SUBJECT_WASTE, v->record->site);
}

static void
stocktake_subjects(struct visiting *v)
{
    const Knockbox__Stocktake *s = v->record->stocktake;
    give(v, SUBJECT_COUNT, v->record->site);
    if (s->tubs != NULL)
        give_each(v, SUBJECT_TUB, s->tubs->v, s->tubs->n_v);
    for (size_t i = 0; s->bottles != NULL && i < s->bottles->n_v; i++)
        give(v, SUBJECT_LOT, s->bottles->v[i]->lot);
}

static void
batch_and_waste(struct visiting *v, const char *batch)
{
    give(v, SUBJECT_BATCH, batch);
    give(v, SUBJECT_WASTE, v->record->site);
}

static void
sale_subjects(struct visiting *v)
{
    const Knockbox__Sale *sale = v->record->sale;
    char name[SUBJECT_CODE_MAX - DAY_TEXT];
    if (sale->lot != NULL) {
        give(v, SUBJECT_LOT, sale->lot);
    } else if (sale->product != NULL) {
        (void)snprintf(name, sizeof name, "%s|%s", v->record->site, sale->product);
        give_by_day(v, SUBJECT_SALE, name);
    }
}

enum err
subjects_visit(const Knockbox__Record *r, int32_t day, subject_visit *visit, void *owner)
{
    struct visiting v = {r, day, visit, owner, ERR_OK};
    switch (r->body_case) {
    case KNOCKBOX__RECORD__BODY_CLOSE:
        close_subjects(&v);
        break;
    case KNOCKBOX__RECORD__BODY_TUB:
        tub_subjects(&v);
        break;
    case KNOCKBOX__RECORD__BODY_READING:
        give_by_day(&v, SUBJECT_PLACE, r->reading->place);
        break;
    case KNOCKBOX__RECORD__BODY_SHIFT:
        give(&v, SUBJECT_TUB, r->shift->tub);
        break;
    case KNOCKBOX__RECORD__BODY_DISCARD:
        discard_subjects(&v);
        break;
    case KNOCKBOX__RECORD__BODY_STOCKTAKE:
        stocktake_subjects(&v);
        break;
    case KNOCKBOX__RECORD__BODY_HANDOVER:
        give_each(&v, SUBJECT_TUB, r->handover->tubs, r->handover->n_tubs);
        break;
    case KNOCKBOX__RECORD__BODY_RECEIVE:
        receive_subjects(&v);
        break;
    case KNOCKBOX__RECORD__BODY_SUPPLY:
        give(&v, SUBJECT_SUPPLY, r->supply->lot);
        if (r->supply->purchase != NULL)
            give(&v, SUBJECT_DEMAND, "purchases");
        break;
    case KNOCKBOX__RECORD__BODY_THAW:
        give_each(&v, SUBJECT_TUB, r->thaw->tubs, r->thaw->n_tubs);
        break;
    case KNOCKBOX__RECORD__BODY_MIX:
        mix_subjects(&v);
        break;
    case KNOCKBOX__RECORD__BODY_STRAIN:
        batch_and_waste(&v, r->strain->batch);
        break;
    case KNOCKBOX__RECORD__BODY_MEASURE:
        give(&v, SUBJECT_BATCH, r->measure->batch);
        give(&v, SUBJECT_LOT, r->measure->lot);
        break;
    case KNOCKBOX__RECORD__BODY_BOTTLE:
        give(&v, SUBJECT_BATCH, r->bottle->batch);
        give(&v, SUBJECT_LOT, r->bottle->lot);
        break;
    case KNOCKBOX__RECORD__BODY_RELEASE:
        give(&v, SUBJECT_LOT, r->release->lot);
        break;
    case KNOCKBOX__RECORD__BODY_DISPATCH:
        give(&v, SUBJECT_LOT, r->dispatch->lot);
        break;
    case KNOCKBOX__RECORD__BODY_ACCEPT:
        give(&v, SUBJECT_LOT, r->accept->lot);
        break;
    case KNOCKBOX__RECORD__BODY_SALE:
        sale_subjects(&v);
        break;
    case KNOCKBOX__RECORD__BODY_RESIDUE:
        batch_and_waste(&v, r->residue->batch);
        break;
    case KNOCKBOX__RECORD__BODY_COLLECTION:
        give(&v, SUBJECT_WASTE, r->site);
        break;
    case KNOCKBOX__RECORD__BODY_ORDER:
        give(&v, SUBJECT_DEMAND, "orders");
        break;
    case KNOCKBOX__RECORD__BODY_NOTE:
        give(&v, SUBJECT_DEMAND, "notes");
        break;
    case KNOCKBOX__RECORD__BODY_PURCHASE:
        give(&v, SUBJECT_DEMAND, "purchases");
        break;
    case KNOCKBOX__RECORD__BODY_PLAN:
        plan_subjects(&v);
        break;
    case KNOCKBOX__RECORD__BODY_PICKUP:
        give(&v, SUBJECT_DEMAND, "pickups");
        break;
    case KNOCKBOX__RECORD__BODY_PERIOD_CLOSE:
    case KNOCKBOX__RECORD__BODY_RESTATE:
        give(&v, SUBJECT_DEMAND, "closings");
        break;
    default:
        break;
    }
    return v.e;
}

struct first {
    enum subject_class class;
    char code[SUBJECT_CODE_MAX];
    bool any;
};

static enum err
keep_first(void *owner, enum subject_class class, const char *code)
{
    struct first *first = owner;
    if (!first->any) {
        first->class = class;
        (void)snprintf(first->code, sizeof first->code, "%s", code);
        first->any = true;
    }
    return ERR_NOT_FOUND; /* no more are wanted */
}

bool
subject_is_first(const Knockbox__Record *record, int32_t day, enum subject_class class,
                 const char *code)
{
    struct first first = {.any = false};
    (void)subjects_visit(record, day, keep_first, &first);
    return first.any && first.class == class && strcmp(first.code, code) == 0;
}

const char *
record_subject(const Knockbox__Record *r, char text[SUBJECT_CODE_MAX])
{
    char day[DAY_TEXT];
    const char *found = NULL;
    switch (r->body_case) {
    case KNOCKBOX__RECORD__BODY_CLOSE:
        found = day_print(r->close->day, day);
        break;
    case KNOCKBOX__RECORD__BODY_READING:
        found = r->reading->place;
        break;
    case KNOCKBOX__RECORD__BODY_SALE:
        found = r->sale->lot != NULL ? r->sale->lot : r->sale->product;
        break;
    case KNOCKBOX__RECORD__BODY_HANDOVER:
        found = r->handover->run;
        break;
    case KNOCKBOX__RECORD__BODY_RECEIVE:
        found = r->receive->run != NULL ? r->receive->run : r->receive->tubs[0]->tub;
        break;
    case KNOCKBOX__RECORD__BODY_THAW:
        found = r->thaw->tubs[0];
        break;
    case KNOCKBOX__RECORD__BODY_STOCKTAKE:
        found = r->stocktake->place;
        break;
    case KNOCKBOX__RECORD__BODY_DISCARD:
        found = r->discard->code;
        break;
    case KNOCKBOX__RECORD__BODY_COLLECTION:
        found = r->collection->stream;
        break;
    case KNOCKBOX__RECORD__BODY_RESIDUE:
        found = r->residue->batch != NULL ? r->residue->batch : r->residue->stream;
        break;
    case KNOCKBOX__RECORD__BODY_ORDER:
        found = r->order->product;
        break;
    case KNOCKBOX__RECORD__BODY_NOTE:
        found = r->note->about;
        break;
    case KNOCKBOX__RECORD__BODY_CORRECT:
        return r->correct->record.len == ID_SIZE ? id_print(r->correct->record.data, text) : "";
    default: {
        struct first first = {.any = false};
        (void)subjects_visit(r, 0, keep_first, &first);
        (void)snprintf(text, SUBJECT_CODE_MAX, "%s", first.any ? first.code : r->site);
        return text;
    }
    }
    (void)snprintf(text, SUBJECT_CODE_MAX, "%s", found != NULL ? found : r->site);
    return text;
}

static const struct {
    Knockbox__Record__BodyCase kind;
    int classes;
} touched[] = {
    {KNOCKBOX__RECORD__BODY_SITE_, SUBJECTS_ALL},
    {KNOCKBOX__RECORD__BODY_PLACE, 1 << SUBJECT_TUB | 1 << SUBJECT_PLACE | 1 << SUBJECT_COUNT},
    {KNOCKBOX__RECORD__BODY_LIMITS, 1 << SUBJECT_TUB | 1 << SUBJECT_BATCH | 1 << SUBJECT_LOT},
    {KNOCKBOX__RECORD__BODY_STREAM, 1 << SUBJECT_WASTE},
    {KNOCKBOX__RECORD__BODY_ITEM, 1 << SUBJECT_SUPPLY | 1 << SUBJECT_BATCH | 1 << SUBJECT_LOT},
    {KNOCKBOX__RECORD__BODY_RECIPE,
     1 << SUBJECT_BATCH | 1 << SUBJECT_LOT | 1 << SUBJECT_SALE | 1 << SUBJECT_WASTE},
    {KNOCKBOX__RECORD__BODY_PRODUCT, 1 << SUBJECT_BATCH | 1 << SUBJECT_LOT | 1 << SUBJECT_SALE},
    {KNOCKBOX__RECORD__BODY_PRICE, 1 << SUBJECT_LOT | 1 << SUBJECT_SALE},
    {KNOCKBOX__RECORD__BODY_RECALL, 1 << SUBJECT_BATCH | 1 << SUBJECT_LOT | 1 << SUBJECT_SALE},
};

int
subjects_touched(uint32_t kind_number)
{
    for (size_t i = 0; i < sizeof touched / sizeof touched[0]; i++)
        if (touched[i].kind == kind_number)
            return touched[i].classes;
    return 0;
}
