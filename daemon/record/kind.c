/* kind.c - the table of kinds, and the little that is read from it. */
#include "daemon/record/kind.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/record/check.h"

/* Report rule T5. */
enum order {
    ORDER_CATALOGUE,
    ORDER_TUB,
    ORDER_SHIFT,
    ORDER_HANDOVER,
    ORDER_RECEIVE,
    ORDER_SUPPLY,
    ORDER_THAW,
    ORDER_MIX,
    ORDER_STRAIN,
    ORDER_MEASURE,
    ORDER_BOTTLE,
    ORDER_RELEASE,
    ORDER_DISPATCH,
    ORDER_ACCEPT,
    ORDER_SALE,
    ORDER_DISCARD,
    ORDER_RESIDUE,
    ORDER_COLLECTION,
    ORDER_CLOSE,
    ORDER_READING,
    ORDER_STOCKTAKE,
    ORDER_REST,
};

/* Who writes; the operator may write all. */
enum {
    CAFE = ROLE_BIT_BARISTA | ROLE_BIT_OPERATOR,
    VAN = CAFE | ROLE_BIT_DRIVER,
    KITCHEN = ROLE_BIT_KITCHEN | ROLE_BIT_OPERATOR,
    BOTH = CAFE | KITCHEN,
    STAFF = VAN | KITCHEN,
    OFFICE = ROLE_BIT_OFFICE | ROLE_BIT_OPERATOR,
    ANY = STAFF | OFFICE,
};

/* ---- whom a record concerns */

static bool
is_site(const char *code, const char *site)
{
    return code != NULL && strcmp(code, site) == 0;
}

static bool
site_concerns(const Knockbox__Record *record, const char *site)
{
    return is_site(record->site_->code, site) || !record->site_->has_labour_minor_per_hour;
}

static bool
item_concerns(const Knockbox__Record *record, const char *site)
{
    (void)site;
    return !record->item->has_pack_minor;
}

/* for_site names this site, or none. */
static bool
is_for(const char *for_site, const char *site)
{
    return for_site == NULL || strcmp(for_site, site) == 0;
}

static bool
stream_concerns(const Knockbox__Record *record, const char *site)
{
    return is_for(record->stream->for_site, site);
}

static bool
place_concerns(const Knockbox__Record *record, const char *site)
{
    return is_for(record->place->for_site, site);
}

static bool
limits_concern(const Knockbox__Record *record, const char *site)
{
    return is_for(record->limits->for_site, site);
}

static bool
calendar_concerns(const Knockbox__Record *record, const char *site)
{
    return is_for(record->calendar->for_site, site);
}

static bool
pickup_concerns(const Knockbox__Record *record, const char *site)
{
    return is_for(record->pickup->for_site, site);
}

static bool
route_concerns(const Knockbox__Record *record, const char *site)
{
    for (size_t i = 0; i < record->route->n_stops; i++)
        if (strcmp(record->route->stops[i], site) == 0)
            return true;
    return false;
}

/* ---- the table, in order of number */

#define ROW(NAME, name, word, group, writers, order, big, all, check, concerns) \
    {                                                                           \
        KNOCKBOX__RECORD__BODY_##NAME, word, group, writers, order, big, all,   \
            &knockbox__##name##__descriptor, check, concerns                    \
    }

#define SITE(NAME, name, writers, order, check) \
    ROW(NAME, name, #name, KIND_SITE, writers, order, false, false, check, NULL)
#define CATALOGUE(NAME, name, all, check, concerns) \
    ROW(NAME, name, #name, KIND_CATALOGUE, OFFICE, ORDER_CATALOGUE, false, all, check, concerns)
#define ACT(NAME, name, word, writers, big, all, check, concerns) \
    ROW(NAME, name, word, KIND_ACT, writers, ORDER_REST, big, all, check, concerns)

static const struct kind table[] = {
    SITE(CLOSE, close, CAFE, ORDER_CLOSE, check_close),
    SITE(TUB, tub, CAFE, ORDER_TUB, check_tub),
    SITE(READING, reading, ANY, ORDER_READING, NULL),
    SITE(SHIFT, shift, ANY, ORDER_SHIFT, check_shift),
    SITE(DISCARD, discard, ANY, ORDER_DISCARD, check_discard),
    ROW(STOCKTAKE, stocktake, "stocktake", KIND_SITE, ANY, ORDER_STOCKTAKE, true, false, NULL,
        NULL),
    SITE(HANDOVER, handover, VAN, ORDER_HANDOVER, NULL),
    SITE(RECEIVE, receive, KITCHEN, ORDER_RECEIVE, NULL),
    SITE(SUPPLY, supply, KITCHEN, ORDER_SUPPLY, check_supply),
    SITE(THAW, thaw, KITCHEN, ORDER_THAW, check_thaw),
    SITE(MIX, mix, KITCHEN, ORDER_MIX, check_mix),
    SITE(STRAIN, strain, KITCHEN, ORDER_STRAIN, NULL),
    SITE(MEASURE, measure, KITCHEN, ORDER_MEASURE, check_measure),
    SITE(BOTTLE, bottle, KITCHEN, ORDER_BOTTLE, NULL),
    SITE(RELEASE, release, KITCHEN, ORDER_RELEASE, NULL),
    SITE(DISPATCH, dispatch, BOTH, ORDER_DISPATCH, NULL),
    SITE(ACCEPT, accept, BOTH, ORDER_ACCEPT, check_accept),
    SITE(SALE, sale, CAFE, ORDER_SALE, check_sale),
    SITE(RESIDUE, residue, ANY, ORDER_RESIDUE, NULL),
    SITE(COLLECTION, collection, ANY, ORDER_COLLECTION, NULL),
    SITE(ORDER, order, CAFE | OFFICE, ORDER_REST, check_order),
    ROW(CORRECT, correct, "correct", KIND_SITE, ANY, ORDER_REST, true, false, check_correct, NULL),
    SITE(NOTE, note, ANY, ORDER_REST, NULL),
    SITE(PURCHASE, purchase, KITCHEN | OFFICE, ORDER_REST, check_purchase),
    ROW(SITE_, site, "site", KIND_CATALOGUE, OFFICE, ORDER_CATALOGUE, false, false, check_site,
        site_concerns),
    CATALOGUE(COFFEE, coffee, true, NULL, NULL),
    CATALOGUE(PRODUCT, product, true, NULL, NULL),
    CATALOGUE(RECIPE, recipe, true, check_recipe, NULL),
    CATALOGUE(ITEM, item, false, check_item, item_concerns),
    CATALOGUE(PRICE, price, false, NULL, NULL),
    CATALOGUE(STREAM, stream, false, NULL, stream_concerns),
    CATALOGUE(PLACE, place, false, check_place, place_concerns),
    CATALOGUE(VESSEL, vessel, true, NULL, NULL),
    CATALOGUE(STATION, station, true, NULL, NULL),
    CATALOGUE(ROUTE, route, false, NULL, route_concerns),
    CATALOGUE(RUN, run, true, NULL, NULL),
    CATALOGUE(STAFF, staff, false, check_staff, NULL),
    CATALOGUE(LIMITS, limits, false, NULL, limits_concern),
    ROW(FACTORS, factors, "factors", KIND_CATALOGUE, OFFICE, ORDER_CATALOGUE, true, false, NULL,
        NULL),
    CATALOGUE(CALENDAR, calendar, false, NULL, calendar_concerns),
    CATALOGUE(BASIS, basis, false, check_basis, NULL),
    ACT(PLAN, plan, "plan", OFFICE, true, false, check_plan_part, NULL),
    ACT(PERIOD_CLOSE, period_close, "period-close", OFFICE, true, false, NULL, NULL),
    ACT(RESTATE, restate, "restate", OFFICE, true, false, NULL, NULL),
    ACT(RECALL, recall, "recall", OFFICE, false, true, NULL, NULL),
    ACT(SETTLE, settle, "settle", OFFICE, false, false, NULL, NULL),
    ACT(ENROL, enrol, "enrol", ROLE_BIT_OPERATOR, false, false, check_enrol, NULL),
    ACT(REVOKE, revoke, "revoke", ROLE_BIT_OPERATOR, false, false, NULL, NULL),
    ACT(PICKUP, pickup, "pickup", OFFICE, false, false, NULL, pickup_concerns),
};

enum {
    TABLE_N = sizeof table / sizeof table[0]
};

static int
by_number(const void *key, const void *row)
{
    uint32_t number = *(const uint32_t *)key;
    uint32_t other = ((const struct kind *)row)->number;
    return (number > other) - (number < other);
}

const struct kind *
kind_by_number(uint32_t number)
{
    return bsearch(&number, table, TABLE_N, sizeof table[0], by_number);
}

const struct kind *
kind_by_word(const char *word)
{
    for (unsigned i = 0; i < TABLE_N; i++)
        if (strcmp(table[i].word, word) == 0)
            return &table[i];
    return NULL;
}

const struct kind *
kinds(unsigned *out_n)
{
    *out_n = TABLE_N;
    return table;
}

enum err
kind_check(const Knockbox__Record *record, struct err_text *why)
{
    const struct kind *kind = kind_by_number((uint32_t)record->body_case);
    return kind != NULL && kind->check != NULL ? kind->check(record, why) : ERR_OK;
}

bool
kind_visible(const Knockbox__Record *record, const char *site)
{
    const struct kind *kind = kind_by_number((uint32_t)record->body_case);
    if (kind == NULL)
        return false;
    return kind->to_cafes || (kind->concerns != NULL && kind->concerns(record, site));
}

bool
kind_secret(const Knockbox__Record *record, const char *site)
{
    const struct kind *kind = kind_by_number((uint32_t)record->body_case);
    if (kind_visible(record, site))
        return false;
    return kind == NULL || kind->concerns == NULL || kind->number == KNOCKBOX__RECORD__BODY_ITEM ||
           kind->number == KNOCKBOX__RECORD__BODY_SITE_;
}

const ProtobufCMessage *
record_body(const Knockbox__Record *record)
{
    if (record->body_case == KNOCKBOX__RECORD__BODY__NOT_SET)
        return NULL;
    return (const ProtobufCMessage *)record->close; /* all bodies are pointers in one union */
}

static const struct {
    enum role role;
    const char *word;
} roles[] = {
    {ROLE_BIT_BARISTA, "barista"}, {ROLE_BIT_DRIVER, "driver"},     {ROLE_BIT_KITCHEN, "kitchen"},
    {ROLE_BIT_OFFICE, "office"},   {ROLE_BIT_OPERATOR, "operator"}, {ROLE_BIT_READER, "reader"},
};

const char *
role_word(enum role role)
{
    for (size_t i = 0; i < sizeof roles / sizeof roles[0]; i++)
        if (roles[i].role == role)
            return roles[i].word;
    return "none";
}

bool
role_parse(const char *word, enum role *out_role)
{
    for (size_t i = 0; i < sizeof roles / sizeof roles[0]; i++) {
        if (strcmp(roles[i].word, word) != 0)
            continue;
        *out_role = roles[i].role;
        return true;
    }
    return false;
}
