/* texts.c - see texts.h. */
#include "daemon/ledger/texts.h"

#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/block.h"

enum {
    BLOCK_SIZE = 4096,
    ROOM_FIRST = 16,
    ROOM_MOST = 1 << 30
};

/* Eight bytes at a time. */
static uint32_t
hash_of(const uint8_t *p, size_t len)
{
    uint64_t hash = 0xCBF29CE484222325U ^ len;
    while (len > 0) {
        uint64_t word = 0;
        size_t n = len < sizeof word ? len : sizeof word;
        memcpy(&word, p, n);
        hash = (hash ^ word) * 0x9E3779B97F4A7C15U;
        hash ^= hash >> 32;
        p += n;
        len -= n;
    }
    return (uint32_t)(hash ^ hash >> 29);
}

static size_t
mask_of(const struct texts *texts)
{
    return texts->room * 2 - 1; /* room is a power of two */
}

/* Where the text is, or belongs. */
static uint32_t *
slot_of(const struct texts *texts, uint32_t hash, const void *s, size_t len)
{
    size_t i = hash & mask_of(texts);
    for (;; i = (i + 1) & mask_of(texts)) {
        uint32_t slot = texts->slots[i];
        if (slot == 0)
            return &texts->slots[i];
        const struct text *text = &texts->at[slot - 1];
        if (text->hash == hash && text->len == len && memcmp(text->s, s, len) == 0)
            return &texts->slots[i];
    }
}

static bool
grow(struct texts *texts)
{
    size_t room = texts->room == 0 ? ROOM_FIRST : texts->room * 2;
    struct text *at = room <= ROOM_MOST ? realloc(texts->at, room * sizeof *at) : NULL;
    if (at == NULL)
        return false;
    texts->at = at;
    uint32_t *slots = calloc(room * 2, sizeof *slots);
    if (slots == NULL)
        return false;
    free(texts->slots);
    texts->slots = slots;
    texts->room = room;
    for (size_t i = 0; i < texts->n; i++)
        *slot_of(texts, at[i].hash, at[i].s, at[i].len) = (uint32_t)i + 1;
    return true;
}

bool
texts_add(struct texts *texts, const void *s, size_t len, uint32_t *out_number)
{
    if (len >= UINT32_MAX || (texts->n == texts->room && !grow(texts)))
        return false;
    uint32_t hash = hash_of(s, len);
    uint32_t *slot = slot_of(texts, hash, s, len);
    if (*slot == 0) {
        char *copy = block_take(&texts->blocks, BLOCK_SIZE, len + 1);
        if (copy == NULL)
            return false;
        if (len > 0)
            memcpy(copy, s, len);
        copy[len] = '\0';
        texts->at[texts->n++] = (struct text){copy, (uint32_t)len, hash};
        *slot = (uint32_t)texts->n;
    }
    *out_number = *slot - 1;
    return true;
}

uint32_t
texts_find(const struct texts *texts, const void *s, size_t len)
{
    if (texts->n == 0)
        return TEXTS_NONE;
    uint32_t slot = *slot_of(texts, hash_of(s, len), s, len);
    return slot != 0 ? slot - 1 : TEXTS_NONE;
}

/* The last one in is the first one out: nothing before it was put where it is because of it. */
static void
empty_slots(struct texts *texts)
{
    for (size_t i = texts->n; i > 0; i--) {
        const struct text *text = &texts->at[i - 1];
        size_t at = text->hash & mask_of(texts);
        while (texts->slots[at] != i)
            at = (at + 1) & mask_of(texts);
        texts->slots[at] = 0;
    }
}

/* One block stays for the next texts. */
void
texts_clear(struct texts *texts)
{
    empty_slots(texts);
    texts->n = 0;
    block_drop(&texts->blocks, true);
}

void
texts_done(struct texts *texts)
{
    block_drop(&texts->blocks, false);
    free(texts->at);
    free(texts->slots);
    *texts = (struct texts){.n = 0};
}
