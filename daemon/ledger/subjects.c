/* subjects.c - see subjects.h. */
#include "daemon/ledger/subjects.h"

#include <inttypes.h>
#include <stddef.h>
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
handover_subjects(struct visiting *v)
{
    give_each(v, SUBJECT_TUB, v->record->handover->tubs, v->record->handover->n_tubs);
}

static void
thaw_subjects(struct visiting *v)
{
    give_each(v, SUBJECT_TUB, v->record->thaw->tubs, v->record->thaw->n_tubs);
}

static void
receive_subjects(struct visiting *v)
{
    const Knockbox__Receive *r = v->record->receive;
    for (size_t i = 0; i < r->n_tubs; i++)
        give(v, SUBJECT_TUB, r->tubs[i]->tub);
}

static void
supply_subjects(struct visiting *v)
{
    give(v, SUBJECT_SUPPLY, v->record->supply->lot);
    if (v->record->supply->purchase != NULL)
        give(v, SUBJECT_DEMAND, "purchases");
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

/* What a kind belongs to: a text of its body (at `at`), its site, or a list of the hub; `more` for
 * what needs a look. Of each kind the first row is the one that its records count under (R8). */
enum from {
    FROM_BODY,
    FROM_BODY_BY_DAY,
    FROM_SITE,
    FROM_SITE_BY_DAY,
    FROM_HUB
};

static const struct rule {
    Knockbox__Record__BodyCase kind;
    enum subject_class class;
    enum from from;
    size_t at;
    const char *list;
    void (*more)(struct visiting *v);
} rules[] = {
#define KIND(name) KNOCKBOX__RECORD__BODY_##name
#define AT(message, field) FROM_BODY, offsetof(Knockbox__##message, field), NULL, NULL
#define AT_BY_DAY(message, field) FROM_BODY_BY_DAY, offsetof(Knockbox__##message, field), NULL, NULL
#define SITE FROM_SITE, 0, NULL, NULL
#define SITE_BY_DAY FROM_SITE_BY_DAY, 0, NULL, NULL
#define LIST(list) SUBJECT_DEMAND, FROM_HUB, 0, list, NULL
#define MORE(more) SUBJECT_DEMAND, FROM_HUB, 0, NULL, more
    {KIND(CLOSE), SUBJECT_DAY, SITE_BY_DAY},
    {KIND(CLOSE), SUBJECT_WASTE, SITE},
    {KIND(TUB), SUBJECT_TUB, AT(Tub, tub)},
    {KIND(TUB), SUBJECT_DAY, SITE_BY_DAY},
    {KIND(READING), SUBJECT_PLACE, AT_BY_DAY(Reading, place)},
    {KIND(SALE), MORE(sale_subjects)},
    {KIND(SHIFT), SUBJECT_TUB, AT(Shift, tub)},
    {KIND(DISCARD), MORE(discard_subjects)},
    {KIND(STOCKTAKE), MORE(stocktake_subjects)},
    {KIND(HANDOVER), MORE(handover_subjects)},
    {KIND(RECEIVE), MORE(receive_subjects)},
    {KIND(SUPPLY), MORE(supply_subjects)},
    {KIND(THAW), MORE(thaw_subjects)},
    {KIND(MIX), MORE(mix_subjects)},
    {KIND(STRAIN), SUBJECT_BATCH, AT(Strain, batch)},
    {KIND(STRAIN), SUBJECT_WASTE, SITE},
    {KIND(MEASURE), SUBJECT_BATCH, AT(Measure, batch)},
    {KIND(MEASURE), SUBJECT_LOT, AT(Measure, lot)},
    {KIND(BOTTLE), SUBJECT_BATCH, AT(Bottle, batch)},
    {KIND(BOTTLE), SUBJECT_LOT, AT(Bottle, lot)},
    {KIND(RELEASE), SUBJECT_LOT, AT(Release, lot)},
    {KIND(DISPATCH), SUBJECT_LOT, AT(Dispatch, lot)},
    {KIND(ACCEPT), SUBJECT_LOT, AT(Accept, lot)},
    {KIND(RESIDUE), SUBJECT_BATCH, AT(Residue, batch)},
    {KIND(RESIDUE), SUBJECT_WASTE, SITE},
    {KIND(COLLECTION), SUBJECT_WASTE, SITE},
    {KIND(ORDER), LIST("orders")},
    {KIND(NOTE), LIST("notes")},
    {KIND(PURCHASE), LIST("purchases")},
    {KIND(PLAN), MORE(plan_subjects)},
    {KIND(PICKUP), LIST("pickups")},
    {KIND(PERIOD_CLOSE), LIST("closings")},
    {KIND(RESTATE), LIST("closings")},
#undef AT
#undef AT_BY_DAY
#undef SITE
#undef SITE_BY_DAY
#undef LIST
#undef MORE
};

/* A text field of a record's body; NULL: not there. All bodies are pointers in one union. */
static const char *
body_text(const Knockbox__Record *record, size_t at)
{
    const char *body = (const char *)record->close;
    return *(char *const *)(const void *)(body + at);
}

static void
follow(struct visiting *v, const struct rule *rule)
{
    if (rule->more != NULL) {
        rule->more(v);
        return;
    }
    bool of_body = rule->from == FROM_BODY || rule->from == FROM_BODY_BY_DAY;
    const char *name = of_body                  ? body_text(v->record, rule->at)
                       : rule->from == FROM_HUB ? rule->list
                                                : v->record->site;
    if (rule->from == FROM_BODY_BY_DAY || rule->from == FROM_SITE_BY_DAY)
        give_by_day(v, rule->class, name);
    else
        give(v, rule->class, name);
}

enum err
subjects_visit(const Knockbox__Record *record, int32_t day, subject_visit *visit, void *owner)
{
    struct visiting v = {record, day, visit, owner, ERR_OK};
    for (size_t i = 0; i < sizeof rules / sizeof rules[0]; i++)
        if (rules[i].kind == record->body_case)
            follow(&v, &rules[i]);
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

/* Kinds that people call by another text than their first subject; where that is missing, by the
 * second one. */
static const struct {
    Knockbox__Record__BodyCase kind;
    size_t at, second;
} names[] = {
#define AT(message, field) offsetof(Knockbox__##message, field)
    {KIND(READING), AT(Reading, place), AT(Reading, place)},
    {KIND(SALE), AT(Sale, lot), AT(Sale, product)},
    {KIND(HANDOVER), AT(Handover, run), AT(Handover, run)},
    {KIND(STOCKTAKE), AT(Stocktake, place), AT(Stocktake, place)},
    {KIND(DISCARD), AT(Discard, code), AT(Discard, code)},
    {KIND(COLLECTION), AT(Collection, stream), AT(Collection, stream)},
    {KIND(RESIDUE), AT(Residue, batch), AT(Residue, stream)},
    {KIND(ORDER), AT(Order, product), AT(Order, product)},
    {KIND(NOTE), AT(Note, about), AT(Note, about)},
#undef AT
};

/* false: by its first subject. */
static bool
find_name(const Knockbox__Record *record, const char **out_name)
{
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        if (names[i].kind != record->body_case)
            continue;
        const char *name = body_text(record, names[i].at);
        *out_name = name != NULL ? name : body_text(record, names[i].second);
        return true;
    }
    return false;
}

const char *
record_subject(const Knockbox__Record *r, char text[SUBJECT_CODE_MAX])
{
    char day[DAY_TEXT];
    const char *found = NULL;
    struct first first = {.any = false};
    if (r->body_case == KIND(CORRECT))
        return r->correct->record.len == ID_SIZE ? id_print(r->correct->record.data, text) : "";
    if (r->body_case == KIND(CLOSE)) {
        found = day_print(r->close->day, day);
    } else if (r->body_case == KIND(RECEIVE) && r->receive->run != NULL) {
        found = r->receive->run;
    } else if (!find_name(r, &found)) {
        (void)subjects_visit(r, 0, keep_first, &first);
        found = first.any ? first.code : NULL;
    }
    (void)snprintf(text, SUBJECT_CODE_MAX, "%s", found != NULL ? found : r->site);
    return text;
}

static const struct {
    Knockbox__Record__BodyCase kind;
    int classes;
} touched[] = {
    {KIND(SITE_), SUBJECTS_ALL},
    {KIND(PLACE), 1 << SUBJECT_TUB | 1 << SUBJECT_PLACE | 1 << SUBJECT_COUNT},
    {KIND(LIMITS), 1 << SUBJECT_TUB | 1 << SUBJECT_BATCH | 1 << SUBJECT_LOT},
    {KIND(STREAM), 1 << SUBJECT_WASTE},
    {KIND(ITEM), 1 << SUBJECT_SUPPLY | 1 << SUBJECT_BATCH | 1 << SUBJECT_LOT},
    {KIND(RECIPE), 1 << SUBJECT_BATCH | 1 << SUBJECT_LOT | 1 << SUBJECT_SALE | 1 << SUBJECT_WASTE},
    {KIND(PRODUCT), 1 << SUBJECT_BATCH | 1 << SUBJECT_LOT | 1 << SUBJECT_SALE},
    {KIND(PRICE), 1 << SUBJECT_LOT | 1 << SUBJECT_SALE},
    {KIND(RECALL), 1 << SUBJECT_BATCH | 1 << SUBJECT_LOT | 1 << SUBJECT_SALE},
};

int
subjects_touched(uint32_t kind_number)
{
    for (size_t i = 0; i < sizeof touched / sizeof touched[0]; i++)
        if (touched[i].kind == kind_number)
            return touched[i].classes;
    return 0;
}
