/* outcome.c - collects what a fold gives and packs it, always in the same order. */
#include "daemon/ledger/outcome.h"

#include <stdlib.h>
#include <string.h>
#include "daemon/record/record.h"

/* A growing run of bytes. */
struct bytes {
    uint8_t *at;
    size_t n, room;
};

/* One gift: its packed form without the amount lies at texts.at + start. Equal forms are one. */
struct gift {
    size_t start, len;
    int64_t amount;
    bool sums; /* postings: amounts add up; else the gift is there once */
};

struct outcome {
    struct bytes texts, packed;
    struct gift *gifts;
    size_t n, room;
};

enum err
outcome_new(struct outcome **out_outcome, struct err_text *why)
{
    *out_outcome = calloc(1, sizeof **out_outcome);
    return *out_outcome != NULL ? ERR_OK : err_set(ERR_MEM, why, "ledger: out of memory");
}

void
outcome_free(struct outcome *outcome)
{
    if (outcome == NULL)
        return;
    free(outcome->texts.at);
    free(outcome->packed.at);
    free(outcome->gifts);
    free(outcome);
}

void
outcome_clear(struct outcome *outcome)
{
    outcome->texts.n = 0;
    outcome->packed.n = 0;
    outcome->n = 0;
}

static uint8_t *
extend(struct bytes *bytes, size_t len)
{
    if (bytes->room - bytes->n < len) {
        size_t room = bytes->room * 2 + len + 256;
        uint8_t *at = realloc(bytes->at, room);
        if (at == NULL)
            return NULL;
        bytes->at = at;
        bytes->room = room;
    }
    uint8_t *p = bytes->at + bytes->n;
    bytes->n += len;
    return p;
}

static bool
put(struct bytes *bytes, const void *from, size_t len)
{
    uint8_t *p = extend(bytes, len);
    if (p != NULL && len > 0)
        memcpy(p, from, len);
    return p != NULL;
}

/* Numbers in big-endian with the sign turned, so that bytes sort as numbers do. */
static bool
put_number(struct bytes *bytes, int64_t number, size_t width)
{
    uint8_t *p = extend(bytes, width);
    if (p == NULL)
        return false;
    uint64_t bits = (uint64_t)number;
    for (size_t i = 0; i < width; i++)
        p[width - 1 - i] = (uint8_t)(bits >> (8 * i));
    p[0] ^= 0x80;
    return true;
}

static bool
put_text(struct bytes *bytes, const char *text)
{
    return put(bytes, text, strlen(text) + 1);
}

static struct gift *
begin(struct outcome *outcome, enum outcome_item_type type, bool sums, int64_t amount)
{
    if (outcome->n == outcome->room) {
        size_t room = outcome->room * 2 + 16;
        struct gift *gifts = realloc(outcome->gifts, room * sizeof *gifts);
        if (gifts == NULL)
            return NULL;
        outcome->gifts = gifts;
        outcome->room = room;
    }
    struct gift *gift = &outcome->gifts[outcome->n];
    *gift = (struct gift){outcome->texts.n, 0, amount, sums};
    uint8_t first = (uint8_t)type;
    return put(&outcome->texts, &first, 1) ? gift : NULL;
}

static enum err
end(struct outcome *outcome, struct gift *gift, bool whole)
{
    if (gift == NULL || !whole)
        return ERR_MEM;
    gift->len = outcome->texts.n - gift->start;
    outcome->n++;
    return ERR_OK;
}

enum err
outcome_post(struct outcome *outcome, enum measure measure, int32_t month, const char *site,
             const char *key, int64_t amount)
{
    if (amount == 0)
        return ERR_OK;
    struct gift *gift = begin(outcome, OUTCOME_POSTING, true, amount);
    uint8_t number = (uint8_t)measure;
    struct bytes *t = &outcome->texts;
    return end(outcome, gift,
               gift != NULL && put(t, &number, 1) && put_number(t, month, 4) && put_text(t, site) &&
                   put_text(t, key));
}

enum err
outcome_flag(struct outcome *outcome, const struct fact *fact, const char *code,
             const char *subject)
{
    char id[ID_TEXT], key[512];
    size_t len = strlen(code);
    size_t subject_len = strlen(subject);
    if (len + subject_len + ID_TEXT + 2 > sizeof key)
        return ERR_INPUT;
    (void)id_print(fact->id, id);
    memcpy(key, code, len);
    key[len] = '/';
    memcpy(key + len + 1, id, ID_TEXT - 1);
    key[len + ID_TEXT] = '/';
    memcpy(key + len + ID_TEXT + 1, subject, subject_len + 1);
    return outcome_post(outcome, MEASURE_DISCREPANCY, fact->month, fact->site, key, 1);
}

enum err
outcome_row(struct outcome *outcome, const ProtobufCMessage *row)
{
    size_t len = protobuf_c_message_get_packed_size(row);
    struct gift *gift = begin(outcome, OUTCOME_ROW, false, 0);
    struct bytes *t = &outcome->texts;
    if (gift == NULL || !put_number(t, (int64_t)len, 4))
        return ERR_MEM;
    uint8_t *p = extend(t, len);
    if (p != NULL)
        (void)protobuf_c_message_pack(row, p);
    return end(outcome, gift, p != NULL);
}

enum err
outcome_waste(struct outcome *outcome, const struct fact *fact, int64_t mass_g)
{
    struct gift *gift = begin(outcome, OUTCOME_WASTE, true, mass_g);
    struct bytes *t = &outcome->texts;
    return end(outcome, gift, gift != NULL && put(t, fact->id, ID_SIZE) && put_text(t, fact->site));
}

enum err
outcome_stay(struct outcome *outcome, const char *site, int64_t from_ms, int64_t to_ms)
{
    struct gift *gift = begin(outcome, OUTCOME_STAY, false, 0);
    struct bytes *t = &outcome->texts;
    return end(outcome, gift,
               gift != NULL && put_text(t, site) && put_number(t, from_ms, 8) &&
                   put_number(t, to_ms, 8));
}

enum err
outcome_depends(struct outcome *outcome, enum subject_class class, const char *code)
{
    struct gift *gift = begin(outcome, OUTCOME_DEPENDS, false, 0);
    uint8_t number = (uint8_t) class;
    struct bytes *t = &outcome->texts;
    return end(outcome, gift, gift != NULL && put(t, &number, 1) && put_text(t, code));
}

static int
compare(const void *a, const void *b, void *texts)
{
    const struct gift *p = a, *q = b;
    const uint8_t *base = texts;
    size_t len = p->len < q->len ? p->len : q->len;
    int order = memcmp(base + p->start, base + q->start, len);
    if (order != 0)
        return order;
    return p->len < q->len ? -1 : p->len > q->len;
}

static bool
same(const struct outcome *outcome, const struct gift *a, const struct gift *b)
{
    const uint8_t *base = outcome->texts.at;
    return a->len == b->len && memcmp(base + a->start, base + b->start, a->len) == 0;
}

enum err
outcome_pack(struct outcome *outcome, const uint8_t **out_bytes, size_t *out_len)
{
    struct bytes *packed = &outcome->packed;
    packed->n = 0;
    if (outcome->n > 1)
        qsort_r(outcome->gifts, outcome->n, sizeof *outcome->gifts, compare, outcome->texts.at);
    for (size_t i = 0; i < outcome->n;) {
        const struct gift *gift = &outcome->gifts[i];
        int64_t sum = 0;
        for (; i < outcome->n && same(outcome, gift, &outcome->gifts[i]); i++)
            sum += outcome->gifts[i].amount;
        if (gift->sums && sum == 0)
            continue;
        if (!put(packed, outcome->texts.at + gift->start, gift->len) ||
            (gift->sums && !put_number(packed, sum, 8)))
            return ERR_MEM;
    }
    *out_bytes = packed->at;
    *out_len = packed->n;
    return ERR_OK;
}

static int64_t
get_number(const uint8_t **p, size_t width)
{
    uint64_t bits = ((*p)[0] ^ 0x80) >= 0x80 ? UINT64_MAX : 0;
    for (size_t i = 0; i < width; i++)
        bits = bits << 8 | (i == 0 ? (*p)[0] ^ 0x80U : (*p)[i]);
    *p += width;
    return (int64_t)bits;
}

static const char *
get_text(const uint8_t **p)
{
    const char *text = (const char *)*p;
    *p += strlen(text) + 1;
    return text;
}

bool
outcome_next(const uint8_t *bytes, size_t len, size_t *at, struct outcome_item *out_item)
{
    if (*at >= len)
        return false;
    const uint8_t *p = bytes + *at;
    struct outcome_item item = {.type = (enum outcome_item_type) * p++};
    switch (item.type) {
    case OUTCOME_POSTING:
        item.measure = (enum measure) * p++;
        item.month = (int32_t)get_number(&p, 4);
        item.site = get_text(&p);
        item.key = get_text(&p);
        item.amount = get_number(&p, 8);
        break;
    case OUTCOME_ROW:
        item.len = (size_t)get_number(&p, 4);
        item.bytes = p;
        p += item.len;
        break;
    case OUTCOME_WASTE:
        memcpy(item.id, p, ID_SIZE);
        p += ID_SIZE;
        item.site = get_text(&p);
        item.amount = get_number(&p, 8);
        break;
    case OUTCOME_STAY:
        item.site = get_text(&p);
        item.from_ms = get_number(&p, 8);
        item.to_ms = get_number(&p, 8);
        break;
    case OUTCOME_DEPENDS:
        item.class = (enum subject_class) * p++;
        item.key = get_text(&p);
        break;
    }
    *at = (size_t)(p - bytes);
    *out_item = item;
    return true;
}
