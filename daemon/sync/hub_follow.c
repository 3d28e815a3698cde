/* hub_follow.c - see hub_follow.h. */
#include "daemon/sync/hub_follow.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/record/record.h"

/* A record of a chain: the correction itself, what it corrects, and so on to the first. */
struct ring {
    struct stored stored;
    bool seen;   /* by itself, or by what it says the record becomes */
    bool secret; /* the same */
    bool goes;
};

struct chain {
    struct store_view *view;
    const char *hub_site, *site;
    struct arena *arena;
    struct ring rings[FOLLOW_MOST];
    size_t n;
    const struct kind *kind; /* of the first record */
    bool own;                /* the first record is the site's own: it has it */
};

/* Adds the record and says what it corrects. false: it cannot be read, or the chain is too long. */
static bool
add_ring(struct chain *c, const struct stored *stored, uint8_t out_next[ID_SIZE], bool *out_more)
{
    Knockbox__Record *record = NULL;
    arena_reset(c->arena);
    if (c->n == FOLLOW_MOST ||
        record_decode(stored->bytes, stored->len, false, c->arena, &record, NULL) != ERR_OK)
        return false;
    struct ring *ring = &c->rings[c->n++];
    ring->stored = *stored;
    *out_more = record->body_case == KNOCKBOX__RECORD__BODY_CORRECT;
    if (*out_more) {
        bool fits = record->correct->record.len == ID_SIZE;
        if (fits)
            memcpy(out_next, record->correct->record.data, ID_SIZE);
        return fits;
    }
    c->kind = kind_by_number((uint32_t)record->body_case);
    c->own = strcmp(stored->site, c->site) == 0;
    ring->seen = c->own || kind_visible(record, c->site);
    ring->secret = !c->own && kind_secret(record, c->site);
    return c->kind != NULL;
}

static bool
find_id(struct store_view *view, const uint8_t id[ID_SIZE], struct stored *out)
{
    uint64_t lsn = 0;
    return store_find_id(view, id, &lsn, NULL) == ERR_OK &&
           store_get(view, lsn, out, NULL) == ERR_OK;
}

/* From the correction to the first record. false: it is not here. */
static bool
read_chain(struct chain *c, const struct stored *record)
{
    struct stored next = *record;
    uint8_t id[ID_SIZE];
    bool more = true;
    while (add_ring(c, &next, id, &more)) {
        if (!more)
            return true;
        if (!find_id(c->view, id, &next))
            return false;
    }
    return false;
}

/* What the correction says that the record becomes: nothing, when it is void or unreadable. */
static void
read_becomes(struct chain *c, struct ring *ring)
{
    Knockbox__Record *record = NULL, *becomes = NULL;
    arena_reset(c->arena);
    ring->seen = c->own;
    if (record_decode(ring->stored.bytes, ring->stored.len, false, c->arena, &record, NULL) !=
            ERR_OK ||
        record->correct->body == NULL)
        return;
    char *body = strdup(record->correct->body);
    arena_reset(c->arena);
    if (body != NULL && record_from_correction(body, c->kind, c->arena, &becomes, NULL) == ERR_OK) {
        ring->seen = c->own || kind_visible(becomes, c->site);
        ring->secret = !c->own && kind_secret(becomes, c->site);
    }
    free(body);
}

/* From the first record on: once something is secret nothing goes, once something is seen all does.
 */
static void
decide(struct chain *c)
{
    bool seen = false, secret = false;
    for (size_t i = c->n; i-- > 0;) {
        if (i + 1 < c->n)
            read_becomes(c, &c->rings[i]);
        seen = seen || c->rings[i].seen;
        secret = secret || c->rings[i].secret;
        c->rings[i].goes = seen && !secret;
    }
}

bool
hub_follow(struct store_view *view, const char *hub_site, const struct stored *record,
           const char *site, struct arena *arena, struct follow *out_before)
{
    struct chain c = {.view = view, .hub_site = hub_site, .site = site, .arena = arena};
    out_before->n = 0;
    if (!read_chain(&c, record))
        return false;
    decide(&c);
    if (!c.rings[0].goes)
        return false;
    for (size_t i = c.n; i-- > 1;)
        if (!c.rings[i].goes && strcmp(c.rings[i].stored.site, hub_site) == 0)
            out_before->before[out_before->n++] = c.rings[i].stored;
    return true;
}

bool
hub_follow_never(const struct stored *record, struct arena *arena)
{
    Knockbox__Record *decoded = NULL;
    arena_reset(arena);
    if (record_decode(record->bytes, record->len, false, arena, &decoded, NULL) != ERR_OK ||
        decoded->body_case == KNOCKBOX__RECORD__BODY_CORRECT)
        return false;
    const struct kind *kind = kind_by_number((uint32_t)decoded->body_case);
    return kind != NULL && !kind->to_cafes && kind->concerns == NULL;
}
