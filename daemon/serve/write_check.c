/* write_check.c - what the source can know about a record, so that it is asked again at once.
 *
 * Checks of a person's line look at the books too; a file's lines may come in any order, so for
 * them only what no order can heal is refused.
 */
#include <stdio.h>
#include <string.h>
#include "daemon/serve/missing.h"
#include "daemon/serve/show.h"
#include "daemon/serve/write.h"
#include "proto/fields.h"
#include "proto/nearest.h"
#include "proto/when.h"

/* Fields that name something in the catalogue, and the kind they name. */
static const struct reference {
    const char *field;
    uint32_t kind;
    const char *words;
} references[] = {
    {"coffee", KNOCKBOX__RECORD__BODY_COFFEE, "a coffee of the catalogue"},
    {"place", KNOCKBOX__RECORD__BODY_PLACE, "a place of the catalogue"},
    {"stream", KNOCKBOX__RECORD__BODY_STREAM, "a waste stream of the catalogue"},
    {"item", KNOCKBOX__RECORD__BODY_ITEM, "an item of the catalogue"},
    {"recipe", KNOCKBOX__RECORD__BODY_RECIPE, "a recipe of the catalogue"},
    {"product", KNOCKBOX__RECORD__BODY_PRODUCT, "a product of the catalogue"},
    {"vessel", KNOCKBOX__RECORD__BODY_VESSEL, "a vessel of the catalogue"},
    {"station", KNOCKBOX__RECORD__BODY_STATION, "a station of the catalogue"},
    {"to_site", KNOCKBOX__RECORD__BODY_SITE_, "a site of the catalogue"},
    {"from_site", KNOCKBOX__RECORD__BODY_SITE_, "a site of the catalogue"},
};

static const struct reference *
reference_of(const char *field)
{
    for (size_t i = 0; i < sizeof references / sizeof references[0]; i++)
        if (strcmp(references[i].field, field) == 0)
            return &references[i];
    return NULL;
}

/* An instant of the record in words of its site, for a message. */
static const char *
print_at(const struct draft *draft, int64_t ms, char out[WHEN_TEXT])
{
    return when_print(ms - ms % 1000, draft->record->at_offset_min, out);
}

static enum err
check_not_ahead(const struct writing *writing, const struct draft *draft, const char *field,
                int64_t ms, struct err_text *why)
{
    char got[WHEN_TEXT], now[WHEN_TEXT], want[128];
    if (ms <= writing->now_ms + AHEAD_MOST_MS)
        return ERR_OK;
    (void)snprintf(want, sizeof want, "a time that has been: it is %s now",
                   print_at(draft, writing->now_ms, now));
    return err_input(why, field, print_at(draft, ms, got), want);
}

/* History that carries when a hub held it may hold what a clock ahead wrote; the books flag it. */
static enum err
check_times(const struct writing *writing, const struct draft *draft, struct err_text *why)
{
    const Knockbox__Record *record = draft->record;
    if (draft->said_at && !(writing->mode == WRITE_IMPORT && record->has_held_ms)) {
        enum err e = check_not_ahead(writing, draft, "at", record->at_ms, why);
        if (e != ERR_OK)
            return e;
    }
    if (draft->kind->number != KNOCKBOX__RECORD__BODY_TUB)
        return ERR_OK;
    const Knockbox__Tub *tub = record->tub;
    char got[WHEN_TEXT], first[WHEN_TEXT], want[128];
    if (tub->frozen_ms < tub->first_knock_ms) {
        (void)snprintf(want, sizeof want, "a time after the first knock-out, %s",
                       print_at(draft, tub->first_knock_ms, first));
        return err_input(why, "frozen", print_at(draft, tub->frozen_ms, got), want);
    }
    return writing->mode == WRITE_IMPORT
               ? ERR_OK
               : check_not_ahead(writing, draft, "frozen", tub->frozen_ms, why);
}

/* ---- references */

static bool
is_known(const char *const *keys, unsigned n, const char *code)
{
    for (unsigned i = 0; i < n; i++)
        if (strcmp(keys[i], code) == 0)
            return true;
    return false;
}

static enum err
say_unknown(const struct reference *reference, const char *const *keys, unsigned n,
            const char *code, struct err_text *why)
{
    struct nearest nearest = {code, NULL, 0};
    char want[160];
    for (unsigned i = 0; i < n; i++)
        nearest_offer(&nearest, keys[i]);
    if (nearest.best != NULL)
        (void)snprintf(want, sizeof want, "%s (did you mean %.64s?)", reference->words,
                       nearest.best);
    else
        (void)snprintf(want, sizeof want, "%s", reference->words);
    return err_input(why, reference->field, code, want);
}

/* A record that rotted keeps the books from going on; what staff write down is taken all the same, and
 * what does not fit is found by the books later. */
static bool
books_wait(enum err e)
{
    return e == ERR_DAMAGED;
}

/* A catalogue that has none of the kind says nothing: a box must work before it has come down. */
static enum err
check_reference(const struct writing *writing, const struct reference *reference, const char *code,
                struct err_text *why)
{
    struct ledger *ledger = writing->call->serve->options.ledger;
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(ledger_catalogue(ledger), reference->kind, &keys);
    if (n == 0 || is_known(keys, n, code))
        return ERR_OK;
    enum err e = ledger_catch_up(ledger, why); /* it may have come a moment ago */
    if (e != ERR_OK)
        return books_wait(e) ? ERR_OK : e;
    n = catalogue_keys(ledger_catalogue(ledger), reference->kind, &keys);
    if (n == 0 || is_known(keys, n, code))
        return ERR_OK;
    return say_unknown(reference, keys, n, code, why);
}

static const char *
text_member(const ProtobufCMessage *message, const ProtobufCFieldDescriptor *field)
{
    if (field->type != PROTOBUF_C_TYPE_STRING || field->label == PROTOBUF_C_LABEL_REPEATED)
        return NULL;
    return *(const char *const *)((const char *)message + field->offset);
}

static enum err
check_references(const struct writing *writing, const struct draft *draft, struct err_text *why)
{
    const ProtobufCMessage *body = record_body(draft->record);
    const ProtobufCMessageDescriptor *descriptor = draft->kind->descriptor;
    enum err e = ERR_OK;
    for (unsigned i = 0; i < descriptor->n_fields && e == ERR_OK; i++) {
        const struct reference *reference = reference_of(descriptor->fields[i].name);
        const char *code = text_member(body, &descriptor->fields[i]);
        if (reference != NULL && code != NULL && code[0] != '\0')
            e = check_reference(writing, reference, code, why);
    }
    return e;
}

/* ---- a label is one lot for ever (report rule R3) */

static bool
load_label(void *owner, const char *code, const ProtobufCMessage *row)
{
    const Knockbox__TubRow *tub = (const Knockbox__TubRow *)row;
    if (tub->state == KNOCKBOX__TUB_STATE__TUB_STATE_UNKNOWN)
        return true; /* only named so far */
    return labels_add(owner, code);
}

static enum err
load_labels(const struct writing *writing, struct err_text *why)
{
    struct serve *serve = writing->call->serve;
    if (serve->labels.loaded)
        return ERR_OK;
    enum err e = ledger_catch_up(serve->options.ledger, why);
    if (e == ERR_OK)
        e = ledger_rows(serve->options.ledger, SUBJECT_TUB, load_label, &serve->labels, why);
    serve->labels.loaded = e == ERR_OK;
    return books_wait(e) ? ERR_OK : e;
}

static enum err
say_used(const struct draft *draft, const Knockbox__TubRow *row, struct err_text *why)
{
    char when[WHEN_TEXT], want[160];
    (void)snprintf(want, sizeof want,
                   "a label that is not in use: this tub was filled at %.40s, %.10s",
                   row->from_site != NULL ? row->from_site : "another site",
                   when_print(row->born_ms, row->offset_min, when));
    return err_input(why, "tub", draft->record->tub->tub, want);
}

/* The books know best whether a label that may be in use is. */
static enum err
look_up_label(struct writing *writing, const struct draft *draft, struct err_text *why)
{
    struct ledger *ledger = writing->call->serve->options.ledger;
    ProtobufCMessage *row = NULL;
    enum err e = writing_look_up(writing, why);
    if (e == ERR_OK)
        e = ledger_catch_up(ledger, why);
    if (e == ERR_OK)
        e = ledger_row(ledger, SUBJECT_TUB, draft->record->tub->tub, &writing->other, &row, why);
    if (e == ERR_NOT_FOUND || books_wait(e))
        return ERR_OK;
    const Knockbox__TubRow *tub = (const Knockbox__TubRow *)row;
    if (e != ERR_OK || tub->state == KNOCKBOX__TUB_STATE__TUB_STATE_UNKNOWN)
        return e;
    return say_used(draft, tub, why);
}

static enum err
check_label(struct writing *writing, const struct draft *draft, struct err_text *why)
{
    const char *label = draft->record->tub->tub;
    if (labels_has(&writing->fresh, label))
        return err_input(why, "tub", label, "a label of its own: it stands twice in this sheet");
    if (!labels_add(&writing->fresh, label))
        return err_set(ERR_MEM, why, "no memory for the labels of this sheet");
    enum err e = load_labels(writing, why);
    if (e != ERR_OK || !labels_has(&writing->call->serve->labels, label))
        return e;
    return look_up_label(writing, draft, why);
}

/* ---- a day is closed once, and not before it has come */

static void
closed_key(const struct draft *draft, char out[SITE_SIZE + DAY_TEXT])
{
    char day[DAY_TEXT];
    (void)snprintf(out, SITE_SIZE + DAY_TEXT, "%s|%s", draft->site,
                   day_print(draft->record->close->day, day));
}

static enum err
check_close(const struct writing *writing, const struct draft *draft, struct err_text *why)
{
    struct serve *serve = writing->call->serve;
    char key[SITE_SIZE + DAY_TEXT], day[DAY_TEXT];
    int32_t closes = draft->record->close->day;
    bool closed = false;
    closed_key(draft, key);
    if (closes > show_today(writing->call, draft->site))
        return err_input(why, "day", day_print(closes, day), "a day that has come");
    enum err e = ERR_OK;
    if (!labels_has(&serve->closed, key))
        e = day_was_closed(writing->call, draft->site, closes, &closed, why);
    else
        closed = true;
    if (e == ERR_OK && closed) /* so it seems: the books know whether that stands */
        e = day_is_closed(writing->call, draft->site, closes, &closed, why);
    if (e == ERR_OK && closed)
        return err_input(why, "day", day_print(closes, day),
                         "a day that is not closed yet: correct its close instead");
    return books_wait(e) ? ERR_OK : e;
}

enum err
draft_check(struct writing *writing, const struct draft *draft, struct err_text *why)
{
    enum err e = check_times(writing, draft, why);
    if (e == ERR_OK)
        e = draft_check_fix(writing, draft, why);
    if (e != ERR_OK || writing->mode == WRITE_IMPORT)
        return e;
    e = check_references(writing, draft, why);
    if (e == ERR_OK && draft->kind->number == KNOCKBOX__RECORD__BODY_TUB)
        e = check_label(writing, draft, why);
    if (e == ERR_OK && draft->kind->number == KNOCKBOX__RECORD__BODY_CLOSE)
        e = check_close(writing, draft, why);
    return e == ERR_OK ? draft_check_sugar(writing, draft, why) : e;
}

void
draft_is_written(struct writing *writing, const struct draft *draft)
{
    struct serve *serve = writing->call->serve;
    char key[SITE_SIZE + DAY_TEXT];
    if (draft->kind->number == KNOCKBOX__RECORD__BODY_TUB && serve->labels.loaded)
        serve->labels.loaded = labels_add(&serve->labels, draft->record->tub->tub);
    if (draft->kind->number != KNOCKBOX__RECORD__BODY_CLOSE)
        return;
    closed_key(draft, key);
    (void)labels_add(&serve->closed, key); /* no memory: the ledger flags what is closed twice */
}
