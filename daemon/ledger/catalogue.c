/* catalogue.c - versions of catalogue records and acts, by kind and key. */
#include "daemon/ledger/catalogue.h"

#include <inttypes.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/texts.h"
#include "daemon/record/kind.h"
#include "daemon/record/record.h"
#include "proto/when.h"

enum {
    KEY_MAX = 400
};

struct version {
    int32_t from; /* first day of force */
    int64_t at_ms, held_ms;
    uint8_t id[ID_SIZE];
    ProtobufCMessage *body; /* ours */
};

/* One key of a kind. versions[] ordered by (from, at, id); instants[] ascending. */
struct entry {
    struct version *versions;
    int64_t *instants;
    unsigned n;
};

/* All keys of a kind: entries[i] is that of texts.at[i]; keys[] in bytewise order. */
struct shelf {
    uint32_t kind_number;
    struct texts texts;
    struct entry *entries;
    const char **keys;
    unsigned n;
    uint32_t last; /* found last: mostly the next one too */
};

struct catalogue {
    struct shelf *shelves;
    unsigned n;
};

enum err
catalogue_new(struct catalogue **out_catalogue, struct err_text *why)
{
    *out_catalogue = calloc(1, sizeof **out_catalogue);
    return *out_catalogue != NULL ? ERR_OK : err_set(ERR_MEM, why, "catalogue: out of memory");
}

static void
free_entry(struct entry *entry)
{
    for (unsigned i = 0; i < entry->n; i++)
        protobuf_c_message_free_unpacked(entry->versions[i].body, NULL);
    free(entry->versions);
    free(entry->instants);
}

void
catalogue_free(struct catalogue *catalogue)
{
    if (catalogue == NULL)
        return;
    for (unsigned i = 0; i < catalogue->n; i++) {
        struct shelf *shelf = &catalogue->shelves[i];
        for (unsigned j = 0; j < shelf->n; j++)
            free_entry(&shelf->entries[j]);
        texts_done(&shelf->texts);
        free(shelf->entries);
        free(shelf->keys);
    }
    free(catalogue->shelves);
    free(catalogue);
}

static const char *
or_empty(const char *text)
{
    return text != NULL ? text : "";
}

/* Kinds whose key is one text of their body, and where that is. */
static const struct {
    Knockbox__Record__BodyCase kind;
    size_t at;
} plain_keys[] = {
#define KEY(KIND, message, field)                                           \
    {                                                                       \
        KNOCKBOX__RECORD__BODY_##KIND, offsetof(Knockbox__##message, field) \
    }
    KEY(SITE_, Site, code),
    KEY(COFFEE, Coffee, code),
    KEY(PRODUCT, Product, code),
    KEY(RECIPE, Recipe, code),
    KEY(ITEM, Item, code),
    KEY(STREAM, Stream, code),
    KEY(PLACE, Place, code),
    KEY(VESSEL, Vessel, code),
    KEY(STATION, Station, code),
    KEY(ROUTE, Route, code),
    KEY(RUN, Run, code),
    KEY(STAFF, Staff, code),
    KEY(FACTORS, Factors, edition),
    KEY(PERIOD_CLOSE, PeriodClose, month),
    KEY(RECALL, Recall, code),
    KEY(SETTLE, Settle, discrepancy),
#undef KEY
};

static bool
make_plain_key(const Knockbox__Record *r, char key[KEY_MAX])
{
    for (size_t i = 0; i < sizeof plain_keys / sizeof plain_keys[0]; i++) {
        if (plain_keys[i].kind != r->body_case)
            continue;
        const char *body = (const char *)record_body(r);
        const char *text = *(char *const *)(const void *)(body + plain_keys[i].at);
        (void)snprintf(key, KEY_MAX, "%s", or_empty(text));
        return true;
    }
    return false;
}

/* The key of report-rules part 2. false: a kind that is not kept here. */
static bool
make_key(const Knockbox__Record *r, char key[KEY_MAX])
{
    char day[DAY_TEXT];
    switch (r->body_case) {
    case KNOCKBOX__RECORD__BODY_BASIS:
        key[0] = '\0';
        return true;
    case KNOCKBOX__RECORD__BODY_PRICE:
        (void)snprintf(key, KEY_MAX, "%s|%" PRId64 "|%s", or_empty(r->price->product),
                       r->price->bottle_ml, or_empty(r->price->currency));
        return true;
    case KNOCKBOX__RECORD__BODY_LIMITS:
        (void)snprintf(key, KEY_MAX, "%s|%s", or_empty(r->limits->code),
                       or_empty(r->limits->for_site));
        return true;
    case KNOCKBOX__RECORD__BODY_CALENDAR:
        (void)snprintf(key, KEY_MAX, "%s|%s", or_empty(r->calendar->for_site),
                       day_print(r->calendar->day, day));
        return true;
    case KNOCKBOX__RECORD__BODY_RESTATE:
        (void)snprintf(key, KEY_MAX, "%s|%" PRId64, or_empty(r->restate->month),
                       r->restate->number);
        return true;
    default:
        return make_plain_key(r, key);
    }
}

static struct shelf *
find_shelf(const struct catalogue *catalogue, uint32_t kind_number)
{
    for (unsigned i = 0; i < catalogue->n; i++)
        if (catalogue->shelves[i].kind_number == kind_number)
            return &catalogue->shelves[i];
    return NULL;
}

/* Index of the first key that is not before `key`. */
static unsigned
find_place(const struct shelf *shelf, const char *key)
{
    unsigned low = 0, high = shelf->n;
    while (low < high) {
        unsigned middle = low + (high - low) / 2;
        if (strcmp(shelf->keys[middle], key) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static const struct entry *
find_entry(const struct catalogue *catalogue, uint32_t kind_number, const char *key)
{
    struct shelf *shelf = find_shelf(catalogue, kind_number);
    if (shelf == NULL)
        return NULL;
    if (shelf->last >= shelf->n || strcmp(shelf->texts.at[shelf->last].s, key) != 0)
        shelf->last = texts_find(&shelf->texts, key, strlen(key));
    return shelf->last != TEXTS_NONE ? &shelf->entries[shelf->last] : NULL;
}

static struct shelf *
make_shelf(struct catalogue *catalogue, uint32_t kind_number)
{
    struct shelf *shelf = find_shelf(catalogue, kind_number);
    if (shelf != NULL)
        return shelf;
    struct shelf *shelves =
        realloc(catalogue->shelves, (catalogue->n + 1) * sizeof *catalogue->shelves);
    if (shelves == NULL)
        return NULL;
    catalogue->shelves = shelves;
    shelf = &shelves[catalogue->n++];
    *shelf = (struct shelf){.kind_number = kind_number};
    return shelf;
}

static bool
make_room(struct shelf *shelf)
{
    if ((shelf->n & (shelf->n - 1)) != 0) /* room is the next power of two */
        return true;
    size_t room = shelf->n == 0 ? 1 : (size_t)shelf->n * 2;
    struct entry *entries = realloc(shelf->entries, room * sizeof *entries);
    if (entries != NULL)
        shelf->entries = entries;
    const char **keys = realloc(shelf->keys, room * sizeof *keys);
    if (keys != NULL)
        shelf->keys = keys;
    return entries != NULL && keys != NULL;
}

static struct entry *
make_entry(struct shelf *shelf, const char *key)
{
    uint32_t number = 0;
    if (!make_room(shelf) || !texts_add(&shelf->texts, key, strlen(key), &number))
        return NULL;
    if (number < shelf->n)
        return &shelf->entries[number];
    unsigned i = find_place(shelf, key);
    memmove(shelf->keys + i + 1, shelf->keys + i, (shelf->n - i) * sizeof *shelf->keys);
    shelf->keys[i] = shelf->texts.at[number].s;
    shelf->entries[number] = (struct entry){.n = 0};
    shelf->n++;
    return &shelf->entries[number];
}

static int
compare_versions(const struct version *a, const struct version *b)
{
    if (a->from != b->from) /* NOLINT(clang-analyzer-core.*): versions[0..n) are all set */
        return a->from < b->from ? -1 : 1;
    if (a->at_ms != b->at_ms)
        return a->at_ms < b->at_ms ? -1 : 1;
    return memcmp(a->id, b->id, ID_SIZE);
}

/* Field `from` of the body, else for an act the day it was written, else since ever. */
static int32_t
first_day(const Knockbox__Record *record, const ProtobufCMessage *body)
{
    const ProtobufCFieldDescriptor *field =
        protobuf_c_message_descriptor_get_field_by_name(body->descriptor, "from");
    const char *base = (const char *)body;
    if (field != NULL && *(const protobuf_c_boolean *)(base + field->quantifier_offset))
        return *(const int32_t *)(const void *)(base + field->offset);
    const struct kind *kind = kind_by_number((uint32_t)record->body_case);
    if (kind == NULL || kind->group != KIND_ACT)
        return INT32_MIN;
    int64_t local_ms = record->at_ms + (int64_t)record->at_offset_min * 60000;
    return (int32_t)(local_ms / 86400000);
}

static ProtobufCMessage *
copy_message(const ProtobufCMessage *message)
{
    size_t len = protobuf_c_message_get_packed_size(message);
    uint8_t *bytes = malloc(len + 1);
    if (bytes == NULL)
        return NULL;
    (void)protobuf_c_message_pack(message, bytes);
    ProtobufCMessage *copy = protobuf_c_message_unpack(message->descriptor, NULL, len, bytes);
    free(bytes);
    return copy;
}

static int
compare_instants(const void *a, const void *b)
{
    int64_t p = *(const int64_t *)a, q = *(const int64_t *)b;
    return p < q ? -1 : p > q;
}

static bool
add_version(struct entry *entry, const struct version *version)
{
    struct version *versions = realloc(entry->versions, (entry->n + 1) * sizeof *versions);
    if (versions != NULL)
        entry->versions = versions;
    int64_t *instants = realloc(entry->instants, (entry->n + 1) * sizeof *instants);
    if (instants != NULL)
        entry->instants = instants;
    if (versions == NULL || instants == NULL)
        return false;
    unsigned i = entry->n;
    while (i > 0 && compare_versions(&versions[i - 1], version) > 0)
        i--;
    memmove(versions + i + 1, versions + i, (entry->n - i) * sizeof *versions);
    versions[i] = *version;
    instants[entry->n++] = version->at_ms;
    qsort(instants, entry->n, sizeof *instants, compare_instants);
    return true;
}

enum err
catalogue_add(struct catalogue *catalogue, const Knockbox__Record *record, const uint8_t id[16],
              int64_t held_ms, struct err_text *why)
{
    char key[KEY_MAX];
    const ProtobufCMessage *body = record_body(record);
    if (body == NULL || !make_key(record, key))
        return ERR_OK;
    struct version version = {first_day(record, body), record->at_ms, held_ms, {0}, NULL};
    memcpy(version.id, id, ID_SIZE);
    version.body = copy_message(body);
    struct shelf *shelf = make_shelf(catalogue, (uint32_t)record->body_case);
    struct entry *entry = shelf != NULL ? make_entry(shelf, key) : NULL;
    if (version.body != NULL && entry != NULL && add_version(entry, &version))
        return ERR_OK;
    if (version.body != NULL)
        protobuf_c_message_free_unpacked(version.body, NULL);
    return err_set(ERR_MEM, why, "catalogue: out of memory");
}

static const struct version *
in_force(const struct catalogue *catalogue, uint32_t kind_number, const char *key, int32_t day)
{
    const struct entry *entry = find_entry(catalogue, kind_number, key);
    for (unsigned i = entry != NULL ? entry->n : 0; i > 0; i--)
        if (entry->versions[i - 1].from <= day)
            return &entry->versions[i - 1];
    return NULL;
}

const ProtobufCMessage *
catalogue_get(const struct catalogue *catalogue, uint32_t kind_number, const char *key, int32_t day)
{
    const struct version *version = in_force(catalogue, kind_number, key, day);
    return version != NULL ? version->body : NULL;
}

const char *
catalogue_newest_key(const struct catalogue *catalogue, uint32_t kind_number, int32_t day)
{
    const struct shelf *shelf = find_shelf(catalogue, kind_number);
    const struct version *best = NULL;
    const char *key = NULL;
    for (unsigned i = 0; shelf != NULL && i < shelf->n; i++) {
        const struct version *version = in_force(catalogue, kind_number, shelf->keys[i], day);
        if (version == NULL || (best != NULL && compare_versions(version, best) < 0))
            continue;
        best = version;
        key = shelf->keys[i];
    }
    return key;
}

const ProtobufCMessage *
catalogue_at(const struct catalogue *catalogue, uint32_t kind_number, const char *key,
             int64_t at_ms)
{
    const struct entry *entry = find_entry(catalogue, kind_number, key);
    const struct version *best = NULL;
    for (unsigned i = 0; entry != NULL && i < entry->n; i++) {
        const struct version *v = &entry->versions[i];
        if (v->at_ms > at_ms)
            continue;
        if (best == NULL || v->at_ms > best->at_ms ||
            (v->at_ms == best->at_ms && memcmp(v->id, best->id, ID_SIZE) > 0))
            best = v;
    }
    return best != NULL ? best->body : NULL;
}

unsigned
catalogue_instants(const struct catalogue *catalogue, uint32_t kind_number, const char *key,
                   const int64_t **out_at_ms)
{
    const struct entry *entry = find_entry(catalogue, kind_number, key);
    *out_at_ms = entry != NULL ? entry->instants : NULL;
    return entry != NULL ? entry->n : 0;
}

unsigned
catalogue_keys(const struct catalogue *catalogue, uint32_t kind_number,
               const char *const **out_keys)
{
    const struct shelf *shelf = find_shelf(catalogue, kind_number);
    *out_keys = shelf != NULL ? shelf->keys : NULL;
    return shelf != NULL ? shelf->n : 0;
}

static const ProtobufCMessage *
limit_of(const struct catalogue *catalogue, const char *code, size_t code_len, const char *site,
         size_t site_len, int32_t day)
{
    char key[KEY_MAX];
    if (code_len + site_len + 2 > sizeof key)
        return NULL;
    memcpy(key, code, code_len);
    key[code_len] = '|';
    memcpy(key + code_len + 1, site, site_len);
    key[code_len + 1 + site_len] = '\0';
    return catalogue_get(catalogue, KNOCKBOX__RECORD__BODY_LIMITS, key, day);
}

const Knockbox__Limits *
catalogue_limit(const struct catalogue *catalogue, const char *code, const char *site, int32_t day)
{
    size_t code_len = strlen(code);
    if (find_shelf(catalogue, KNOCKBOX__RECORD__BODY_LIMITS) == NULL)
        return NULL;
    const ProtobufCMessage *limit = limit_of(catalogue, code, code_len, site, strlen(site), day);
    if (limit == NULL)
        limit = limit_of(catalogue, code, code_len, "", 0, day);
    return (const Knockbox__Limits *)limit;
}

/* The version of a site in force on `day`; before its first version, that one. */
static const Knockbox__Site *
site_on(const struct catalogue *catalogue, const char *site, int32_t day)
{
    const struct entry *entry = find_entry(catalogue, KNOCKBOX__RECORD__BODY_SITE_, site);
    if (entry == NULL || entry->n == 0)
        return NULL;
    unsigned i = entry->n;
    while (i > 1 && entry->versions[i - 1].from > day)
        i--;
    return (const Knockbox__Site *)entry->versions[i - 1].body;
}

static int
minute_of(const char *hhmm) /* "04:00"; nothing: 0 */
{
    if (hhmm == NULL || strlen(hhmm) != 5)
        return 0;
    return ((hhmm[0] - '0') * 10 + hhmm[1] - '0') * 60 + (hhmm[3] - '0') * 10 + hhmm[4] - '0';
}

int32_t
catalogue_business_day(const struct catalogue *catalogue, const char *site, int64_t at_ms,
                       int offset_min)
{
    int64_t local_ms = at_ms + (int64_t)offset_min * 60000;
    int64_t day = local_ms / 86400000 - (local_ms % 86400000 < 0);
    int minute = (int)((local_ms - day * 86400000) / 60000);
    const Knockbox__Site *version = site_on(catalogue, site, (int32_t)day);
    if (version != NULL && minute < minute_of(version->day_start))
        day--;
    return (int32_t)day;
}

bool
catalogue_inside(const struct catalogue *catalogue, const char *site, int32_t day)
{
    const Knockbox__Site *version = site_on(catalogue, site, day);
    if (version == NULL)
        return false;
    return !(version->has_joined && day < version->joined) &&
           !(version->has_left && day > version->left);
}
