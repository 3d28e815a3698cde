/* plan_record.c - plans in the hub's log. */
#include "daemon/serve/plan_record.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/subjects.h"
#include "daemon/serve/pickups.h"
#include "daemon/serve/show.h"
#include "daemon/serve/write.h"
#include "proto/when.h"

enum {
    PART_BYTES = 48000,
    PARTS_MOST = 1000,
    PICKUP_TUBS = 300
};

/* ---- reading */

static bool
see_number(void *owner, const struct fact *fact)
{
    struct plan_numbers *numbers = owner;
    if (fact->kind->number != KNOCKBOX__RECORD__BODY_PLAN)
        return true;
    const Knockbox__Plan *plan = fact->record->plan;
    int64_t *at = plan->draft ? &numbers->draft : &numbers->published;
    if (plan->number > *at)
        *at = plan->number;
    if (plan->number > numbers->last)
        numbers->last = plan->number;
    return true;
}

enum err
plan_record_numbers(struct call *call, struct plan_numbers *out_numbers, struct err_text *why)
{
    struct plan_numbers numbers = {.last = 0};
    enum err e = ledger_facts(call->serve->options.ledger, SUBJECT_DEMAND, "plans", INT64_MAX,
                              see_number, &numbers, why);
    if (e != ERR_OK && e != ERR_NOT_FOUND)
        return e;
    if (numbers.draft <= numbers.published)
        numbers.draft = 0;
    *out_numbers = numbers;
    return ERR_OK;
}

/* Parts of one plan: as published, or as a draft. */
struct parts {
    bool draft;
    int64_t n, found;
    int32_t day;
    char **data; /* n of them, yours */
    bool no_memory;
};

static void
parts_drop(struct parts *parts)
{
    for (int64_t i = 0; i < parts->n && parts->data != NULL; i++)
        free(parts->data[i]);
    free(parts->data);
}

static bool
parts_begin(struct parts *parts, const Knockbox__Plan *plan)
{
    parts->n = plan->parts;
    parts->day = plan->day;
    parts->data = calloc((size_t)plan->parts, sizeof *parts->data);
    parts->no_memory = parts->data == NULL;
    return !parts->no_memory;
}

static bool
see_part(void *owner, const struct fact *fact)
{
    struct parts *parts = owner;
    if (fact->kind->number != KNOCKBOX__RECORD__BODY_PLAN)
        return true;
    const Knockbox__Plan *plan = fact->record->plan;
    if ((plan->draft != 0) != parts->draft || plan->parts > PARTS_MOST || plan->part > plan->parts)
        return true;
    if (parts->data == NULL && !parts_begin(parts, plan))
        return false;
    if (plan->part > parts->n || parts->data[plan->part - 1] != NULL)
        return true;
    char **at = &parts->data[plan->part - 1];
    *at = strdup(plan->data);
    parts->found++;
    parts->no_memory = *at == NULL;
    return !parts->no_memory;
}

static json_t *
join(const struct parts *parts)
{
    size_t size = 1;
    for (int64_t i = 0; i < parts->n; i++)
        size += strlen(parts->data[i]);
    char *text = malloc(size), *at = text;
    for (int64_t i = 0; i < parts->n && text != NULL; i++)
        at = stpcpy(at, parts->data[i]);
    json_t *view = text != NULL ? json_loads(text, 0, NULL) : NULL;
    free(text);
    return view;
}

static void
say_state(json_t *view, bool draft)
{
    (void)json_object_set_new(view, "state", json_string(draft ? "draft" : "published"));
}

/* *out_view is NULL when not all parts are there. */
static enum err
get_state(struct call *call, int64_t number, bool draft, json_t **out_view, struct err_text *why)
{
    struct parts parts = {.draft = draft};
    char code[SUBJECT_CODE_MAX];
    (void)snprintf(code, sizeof code, "plan|%" PRId64, number);
    enum err e = ledger_facts(call->serve->options.ledger, SUBJECT_DEMAND, code, INT64_MAX,
                              see_part, &parts, why);
    if (e == ERR_NOT_FOUND)
        e = ERR_OK;
    if (parts.no_memory)
        e = err_set(ERR_MEM, why, "no memory for the plan");
    bool whole = e == ERR_OK && parts.n > 0 && parts.found == parts.n;
    *out_view = whole ? join(&parts) : NULL;
    if (*out_view != NULL)
        say_state(*out_view, draft);
    parts_drop(&parts);
    return e;
}

enum err
plan_record_get(struct call *call, int64_t number, json_t **out_view, struct err_text *why)
{
    enum err e = get_state(call, number, false, out_view, why);
    if (e == ERR_OK && *out_view == NULL)
        e = get_state(call, number, true, out_view, why);
    if (e == ERR_OK && *out_view == NULL)
        e = err_set(ERR_NOT_FOUND, why, "there is no plan %" PRId64, number);
    return e;
}

enum err
plan_record_read(struct call *call, json_t **out_view, struct err_text *why)
{
    struct plan_numbers numbers;
    enum err e = plan_record_numbers(call, &numbers, why);
    *out_view = NULL;
    if (e == ERR_OK && numbers.published > 0)
        e = get_state(call, numbers.published, false, out_view, why);
    if (e == ERR_OK && *out_view == NULL)
        e = err_set(ERR_NOT_FOUND, why,
                    "no plan is published yet: knockbox plan make, then knockbox plan publish");
    return e;
}

/* ---- writing */

struct publishing {
    struct writing writing;
    struct store_txn *txn;
    struct pickup_standing *before; /* yours; n_before of them */
    size_t n_before;
};

/* What is written: of a draft there is no problem and no plan, for it has no pick-up lists. */
struct keeping {
    int64_t number;
    int32_t today;
    const char *text;
    const struct problem *p;
    const struct plan *plan;
};

static enum err
append(struct publishing *publishing, Knockbox__Record *record, struct err_text *why)
{
    struct draft draft = {.record = record, .kind = kind_by_number((uint32_t)record->body_case)};
    struct stored stored;
    const struct caller *caller = publishing->writing.call->caller;
    if ((draft.kind->writers & caller->roles) == 0)
        return err_set(ERR_DENIED, why, "%s may not write a %s", caller->via, draft.kind->word);
    enum err e = draft_site(&publishing->writing, &draft, why);
    if (e == ERR_OK)
        e = draft_envelope(&publishing->writing, &draft, why);
    return e == ERR_OK ? store_append(publishing->txn, draft.site, record, &stored, why) : e;
}

/* A piece ends before a letter that would be cut in two. The first is the brace that opens. */
static size_t
piece_len(const char *text, size_t left, bool first)
{
    size_t len = first ? 1 : left < PART_BYTES ? left : PART_BYTES;
    while (len < left && len > 0 && ((unsigned char)text[len] & 0xC0) == 0x80)
        len--;
    return len;
}

static int64_t
count_pieces(const char *text)
{
    int64_t n = 0;
    for (size_t left = strlen(text), len; left > 0; left -= len, text += len, n++)
        len = piece_len(text, left, n == 0);
    return n;
}

static enum err
append_part(struct publishing *publishing, Knockbox__Plan *plan, const char *text, size_t len,
            struct err_text *why)
{
    Knockbox__Record record = KNOCKBOX__RECORD__INIT;
    char *data = strndup(text, len);
    if (data == NULL)
        return err_set(ERR_MEM, why, "no memory for the plan");
    arena_reset(&publishing->writing.line);
    plan->data = data;
    record.body_case = KNOCKBOX__RECORD__BODY_PLAN;
    record.plan = plan;
    enum err e = append(publishing, &record, why);
    free(data);
    return e;
}

static enum err
append_parts(struct publishing *publishing, const struct keeping *keeping, struct err_text *why)
{
    Knockbox__Plan plan = KNOCKBOX__PLAN__INIT;
    const char *text = keeping->text;
    enum err e = ERR_OK;
    plan.has_number = plan.has_part = plan.has_parts = plan.has_day = true;
    plan.has_draft = plan.draft = keeping->plan == NULL;
    plan.number = keeping->number;
    plan.parts = count_pieces(text);
    plan.day = keeping->today;
    if (plan.parts > PARTS_MOST)
        return err_set(ERR_INPUT, why, "the plan is too large to keep: plan fewer days");
    for (size_t left = strlen(text), len; left > 0 && e == ERR_OK; left -= len, text += len) {
        len = piece_len(text, left, plan.part == 0);
        plan.part++;
        e = append_part(publishing, &plan, text, len, why);
    }
    return e;
}

/* `tubs` with none in it takes nothing from the site by that run. */
static enum err
append_list(struct publishing *publishing, const char *run, int32_t day, const char *site,
            Knockbox__Codes *tubs, struct err_text *why)
{
    Knockbox__Record record = KNOCKBOX__RECORD__INIT;
    Knockbox__Pickup pickup = KNOCKBOX__PICKUP__INIT;
    pickup.run = (char *)(uintptr_t)run; /* only read */
    pickup.has_day = true;
    pickup.day = day;
    pickup.for_site = (char *)(uintptr_t)site;
    pickup.tubs = tubs;
    record.body_case = KNOCKBOX__RECORD__BODY_PICKUP;
    record.pickup = &pickup;
    arena_reset(&publishing->writing.line);
    return append(publishing, &record, why);
}

/* The tubs of a load that are at one café now. */
static enum err
append_pickup(struct publishing *publishing, int32_t today, const struct problem *p,
              const struct plan_load *load, int site, struct err_text *why)
{
    Knockbox__Codes codes = KNOCKBOX__CODES__INIT;
    char *labels[PICKUP_TUBS];
    for (int i = 0; i < load->tubs_n && codes.n_v < PICKUP_TUBS; i++) {
        struct problem_tub *tub = &p->tubs[load->tubs[i]];
        if (tub->site == site && tub->at == PROBLEM_AT_SITE)
            labels[codes.n_v++] = tub->id;
    }
    codes.v = labels;
    return codes.n_v > 0
               ? append_list(publishing, p->runs[load->run].id, today + p->runs[load->run].day,
                             p->sites[site].id, &codes, why)
               : ERR_OK;
}

static bool
is_fetched(const struct problem *p, const struct plan *plan, const char *site)
{
    for (int i = 0; i < plan->loads_n; i++)
        for (int k = 0; k < plan->loads[i].tubs_n; k++) {
            const struct problem_tub *tub = &p->tubs[plan->loads[i].tubs[k]];
            if (tub->at == PROBLEM_AT_SITE && strcmp(p->sites[tub->site].id, site) == 0)
                return true;
        }
    return false;
}

/* A café sees its own lists only: what the plan before took from it and this one does not is taken
 * back by an empty list. */
static enum err
append_empty(struct publishing *publishing, const struct pickup_standing *before, size_t n,
             const struct problem *p, const struct plan *plan, struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t i = 0; i < n && e == ERR_OK; i++) {
        Knockbox__Codes none = KNOCKBOX__CODES__INIT;
        if (before[i].tubs && !is_fetched(p, plan, before[i].site))
            e = append_list(publishing, before[i].run, before[i].day, before[i].site, &none, why);
    }
    return e;
}

static enum err
append_pickups(struct publishing *publishing, const struct keeping *k, struct err_text *why)
{
    enum err e = ERR_OK;
    for (int i = 0; k->plan != NULL && i < k->plan->loads_n; i++)
        for (int site = 0; site < k->p->sites_n && e == ERR_OK; site++)
            e = append_pickup(publishing, k->today, k->p, &k->plan->loads[i], site, why);
    return e;
}

static enum err
append_all(struct publishing *publishing, const struct keeping *keeping, struct err_text *why)
{
    const struct serve_options *options = &publishing->writing.call->serve->options;
    enum err e = store_begin(options->store, &publishing->txn, why);
    if (e == ERR_OK)
        e = append_parts(publishing, keeping, why);
    if (e == ERR_OK)
        e = append_pickups(publishing, keeping, why);
    if (e == ERR_OK && keeping->plan != NULL)
        e = append_empty(publishing, publishing->before, publishing->n_before, keeping->p,
                         keeping->plan, why);
    if (e == ERR_OK)
        e = store_commit(&publishing->txn, why);
    store_abort(&publishing->txn);
    if (e == ERR_OK && options->wrote != NULL)
        options->wrote(options->owner);
    return e;
}

static enum err
keep(struct call *call, struct keeping *keeping, json_t *view, struct err_text *why)
{
    struct publishing publishing = {.txn = NULL};
    (void)json_object_set_new(view, "number", json_integer(keeping->number));
    (void)json_object_set_new(view, "day", show_day(keeping->today));
    say_state(view, keeping->plan == NULL);
    char *text = json_dumps(view, JSON_COMPACT);
    if (text == NULL)
        return err_set(ERR_MEM, why, "no memory for the plan");
    keeping->text = text;
    enum err e = writing_init(&publishing.writing, call, why);
    if (e == ERR_OK)
        e = pickups_standing(call, keeping->today, &publishing.before, &publishing.n_before, why);
    if (e == ERR_OK)
        e = append_all(&publishing, keeping, why);
    writing_done(&publishing.writing);
    free(publishing.before);
    free(text);
    return e;
}

enum err
plan_record_draft(struct call *call, int32_t today, json_t *view, struct err_text *why)
{
    struct plan_numbers numbers;
    enum err e = plan_record_numbers(call, &numbers, why);
    if (e != ERR_OK)
        return e;
    struct keeping keeping = {.number = numbers.last + 1, .today = today};
    return keep(call, &keeping, view, why);
}

enum err
plan_record_publish(struct call *call, int32_t today, const struct problem *problem,
                    const struct plan *plan, json_t *view, struct err_text *why)
{
    struct keeping keeping = {.number = json_integer_value(json_object_get(view, "number")),
                              .today = today,
                              .p = problem,
                              .plan = plan};
    return keep(call, &keeping, view, why);
}
