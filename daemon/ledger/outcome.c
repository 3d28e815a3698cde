/* outcome.c - collects what a fold gives and packs it, always in the same order. */
#include "daemon/ledger/outcome.h"

#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/texts.h"
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
    struct bytes texts, packed, items;
    struct texts
        names; /* sites of the gifts, in order of first use; packed items give the number */
    struct gift *gifts;
    size_t n, room;
    enum subject_class class;
    const struct fact *by, *from;
    const char *code, *batch;
    outcome_listen *told; /* NULL: nobody listens */
    void *owner;
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
    free(outcome->items.at);
    texts_done(&outcome->names);
    free(outcome->gifts);
    free(outcome);
}

void
outcome_clear(struct outcome *outcome)
{
    outcome->texts.n = 0;
    outcome->packed.n = 0;
    outcome->n = 0;
    outcome_by(outcome, NULL);
}

void
outcome_by(struct outcome *outcome, const struct fact *fact)
{
    outcome->by = fact;
    outcome_about(outcome, NULL, NULL);
}

void
outcome_about(struct outcome *outcome, const char *batch, const struct fact *from)
{
    outcome->batch = batch;
    outcome->from = from;
}

void
outcome_of(struct outcome *outcome, enum subject_class class, const char *code)
{
    outcome->class = class;
    outcome->code = code;
}

void
outcome_tell(struct outcome *outcome, outcome_listen *told, void *owner)
{
    outcome->told = told;
    outcome->owner = owner;
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
    if (outcome->told != NULL) {
        struct outcome_told told = {{measure, month, site, key, amount},
                                    outcome->by,
                                    outcome->class,
                                    outcome->code,
                                    outcome->batch,
                                    outcome->from};
        enum err e = outcome->told(outcome->owner, &told);
        if (e != ERR_OK)
            return e;
    }
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
    memcpy(key, code, len); /* NOLINT(bugprone-not-null-terminated-result): more follows */
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

/* ---- numbers of as many bytes as they need */

static bool
put_varint(struct bytes *bytes, uint64_t number)
{
    uint8_t text[10];
    size_t n = 0;
    for (; number >= 0x80; number >>= 7)
        text[n++] = (uint8_t)(number | 0x80);
    text[n++] = (uint8_t)number;
    return put(bytes, text, n);
}

static bool
put_zigzag(struct bytes *bytes, int64_t number)
{
    return put_varint(bytes, (uint64_t)number << 1 ^ (uint64_t)(number >> 63));
}

static uint64_t
get_varint(const uint8_t **p)
{
    uint64_t number = 0;
    for (unsigned shift = 0; shift < 64; shift += 7) {
        uint8_t byte = *(*p)++;
        number |= (uint64_t)(byte & 0x7F) << shift;
        if (byte < 0x80)
            break;
    }
    return number;
}

static int64_t
get_zigzag(const uint8_t **p)
{
    uint64_t bits = get_varint(p);
    return (int64_t)(bits >> 1) ^ -(int64_t)(bits & 1);
}

/* ---- forms, as they were put, back into items */

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

static struct outcome_item
item_of(const struct outcome *outcome, const struct gift *gift, int64_t amount)
{
    const uint8_t *p = outcome->texts.at + gift->start;
    struct outcome_item item = {.type = (enum outcome_item_type) * p++, .amount = amount};
    switch (item.type) {
    case OUTCOME_POSTING:
        item.measure = (enum measure) * p++;
        item.month = (int32_t)get_number(&p, 4);
        item.site = get_text(&p);
        item.key = get_text(&p);
        break;
    case OUTCOME_ROW:
        item.len = (size_t)get_number(&p, 4);
        item.bytes = p;
        break;
    case OUTCOME_WASTE:
        memcpy(item.id, p, ID_SIZE);
        p += ID_SIZE;
        item.site = get_text(&p);
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
    return item;
}

/* ---- packing */

static bool
put_site(struct outcome *outcome, const char *site)
{
    uint32_t number = 0;
    return texts_add(&outcome->names, site, strlen(site), &number) &&
           put_varint(&outcome->items, number);
}

enum {
    ITEM_OTHER = 0x80, /* or-ed to the type; below it a posting, by its measure */
};

static bool
pack_item(struct outcome *outcome, const struct outcome_item *item, int32_t *month)
{
    struct bytes *b = &outcome->items;
    uint8_t head =
        item->type == OUTCOME_POSTING ? (uint8_t)item->measure : (uint8_t)(ITEM_OTHER | item->type);
    if (!put(b, &head, 1))
        return false;
    switch (item->type) {
    case OUTCOME_POSTING: {
        int64_t step = (int64_t)item->month - *month;
        *month = item->month;
        return put_zigzag(b, step) && put_site(outcome, item->site) && put_text(b, item->key) &&
               put_zigzag(b, item->amount);
    }
    case OUTCOME_ROW:
        return put_varint(b, item->len) && put(b, item->bytes, item->len);
    case OUTCOME_WASTE:
        return put(b, item->id, ID_SIZE) && put_site(outcome, item->site) &&
               put_zigzag(b, item->amount);
    case OUTCOME_STAY: { /* how long, plus 1; 0: still */
        uint64_t length = (uint64_t)item->to_ms - (uint64_t)item->from_ms + 1;
        return put_site(outcome, item->site) && put_zigzag(b, item->from_ms) &&
               put_varint(b, item->to_ms == INT64_MAX ? 0 : length);
    }
    case OUTCOME_DEPENDS: {
        uint8_t class = (uint8_t)item->class;
        return put(b, &class, 1) && put_text(b, item->key);
    }
    }
    return false;
}

static enum err
pack_items(struct outcome *outcome)
{
    int32_t month = 0;
    for (size_t i = 0; i < outcome->n;) {
        const struct gift *gift = &outcome->gifts[i];
        int64_t sum = 0;
        for (; i < outcome->n && same(outcome, gift, &outcome->gifts[i]); i++)
            sum += outcome->gifts[i].amount;
        struct outcome_item item = item_of(outcome, gift, sum);
        if ((!gift->sums || sum != 0) && !pack_item(outcome, &item, &month))
            return ERR_MEM;
    }
    return ERR_OK;
}

enum err
outcome_pack(struct outcome *outcome, const uint8_t **out_bytes, size_t *out_len)
{
    struct bytes *packed = &outcome->packed;
    struct texts *names = &outcome->names;
    packed->n = outcome->items.n = 0;
    texts_clear(names);
    if (outcome->n > 1)
        qsort_r(outcome->gifts, outcome->n, sizeof *outcome->gifts, compare, outcome->texts.at);
    enum err e = pack_items(outcome);
    if (e == ERR_OK && outcome->items.n > 0) {
        bool whole = put_varint(packed, names->n);
        for (size_t i = 0; i < names->n; i++)
            whole = whole && put_text(packed, names->at[i].s);
        e = whole && put(packed, outcome->items.at, outcome->items.n) ? ERR_OK : ERR_MEM;
    }
    *out_bytes = packed->at;
    *out_len = packed->n;
    return e;
}

/* ---- reading */

void
outcome_read(struct outcome_reader *reader, const uint8_t *bytes, size_t len)
{
    *reader = (struct outcome_reader){.bytes = bytes, .end = bytes};
    if (len == 0) /* then there may be no bytes at all */
        return;
    reader->end = bytes + len;
    reader->n_sites = get_varint(&reader->bytes);
    reader->sites = reader->site = (const char *)reader->bytes;
    for (uint64_t i = 0; i < reader->n_sites; i++)
        (void)get_text(&reader->bytes);
}

static const char *
get_site(struct outcome_reader *reader)
{
    uint64_t number = get_varint(&reader->bytes);
    if (number < reader->at) { /* items of one measure and month name them in order, mostly */
        reader->at = 0;
        reader->site = reader->sites;
    }
    for (; reader->at < number && reader->at < reader->n_sites; reader->at++)
        reader->site += strlen(reader->site) + 1;
    return reader->site;
}

static void
read_posting(struct outcome_reader *reader, struct outcome_item *item, uint8_t head)
{
    item->type = OUTCOME_POSTING;
    item->measure = (enum measure)head;
    reader->month += (int32_t)get_zigzag(&reader->bytes);
    item->month = reader->month;
    item->site = get_site(reader);
    item->key = get_text(&reader->bytes);
    item->amount = get_zigzag(&reader->bytes);
}

static void
read_other(struct outcome_reader *reader, struct outcome_item *item)
{
    const uint8_t **p = &reader->bytes;
    uint64_t length = 0;
    switch (item->type) {
    case OUTCOME_ROW:
        item->len = (size_t)get_varint(p);
        item->bytes = *p;
        *p += item->len;
        break;
    case OUTCOME_WASTE:
        memcpy(item->id, *p, ID_SIZE);
        *p += ID_SIZE;
        item->site = get_site(reader);
        item->amount = get_zigzag(p);
        break;
    case OUTCOME_STAY:
        item->site = get_site(reader);
        item->from_ms = get_zigzag(p);
        length = get_varint(p);
        item->to_ms = length == 0 ? INT64_MAX : (int64_t)((uint64_t)item->from_ms + length - 1);
        break;
    case OUTCOME_DEPENDS:
        item->class = (enum subject_class) * (*p)++;
        item->key = get_text(p);
        break;
    case OUTCOME_POSTING:
        break;
    }
}

bool
outcome_next(struct outcome_reader *reader, struct outcome_item *out_item)
{
    if (reader->bytes >= reader->end)
        return false;
    uint8_t head = *reader->bytes++;
    *out_item = (struct outcome_item){.type = (enum outcome_item_type)(head & ~ITEM_OTHER)};
    if (head < ITEM_OTHER)
        read_posting(reader, out_item, head);
    else
        read_other(reader, out_item);
    return true;
}

static int
compare_numbers(int64_t a, int64_t b)
{
    return a < b ? -1 : a > b;
}

static int
compare_texts(const char *a, const char *b)
{
    return a == NULL || b == NULL ? (a != NULL) - (b != NULL) : strcmp(a, b);
}

static int
compare_bytes(const struct outcome_item *a, const struct outcome_item *b)
{
    int order = compare_numbers((int64_t)a->len, (int64_t)b->len);
    if (order == 0 && a->len > 0)
        order = memcmp(a->bytes, b->bytes, a->len);
    return order;
}

int
outcome_compare(const struct outcome_item *a, const struct outcome_item *b)
{
    int order = compare_numbers(a->type, b->type);
    if (order == 0)
        order = compare_numbers(a->measure, b->measure);
    if (order == 0)
        order = compare_numbers(a->month, b->month);
    if (order == 0)
        order = compare_bytes(a, b);
    if (order == 0)
        order = memcmp(a->id, b->id, ID_SIZE);
    if (order == 0)
        order = compare_texts(a->site, b->site);
    if (order == 0)
        order = compare_numbers(a->from_ms, b->from_ms);
    if (order == 0)
        order = compare_numbers(a->to_ms, b->to_ms);
    if (order == 0)
        order = compare_numbers(a->class, b->class);
    if (order == 0)
        order = compare_texts(a->key, b->key);
    return order != 0 ? order : compare_numbers(a->amount, b->amount);
}
