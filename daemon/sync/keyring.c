/* keyring.c - a sorted table of keys behind a lock. */
#include "daemon/sync/keyring.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

/* entries[0..n) and bans[0..n_bans) are in order of key, each key once; none is in both. */
struct keyring {
    pthread_mutex_t lock;
    struct key_entry *entries;
    size_t n, room;
    uint8_t (*bans)[KEY_SIZE];
    size_t n_bans, ban_room;
    uint64_t changes;
};

enum err
keyring_new(struct keyring **out_ring, struct err_text *why)
{
    struct keyring *ring = calloc(1, sizeof *ring);
    if (ring == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    (void)pthread_mutex_init(&ring->lock, NULL); /* cannot fail without attributes */
    *out_ring = ring;
    return ERR_OK;
}

void
keyring_free(struct keyring *ring)
{
    if (ring == NULL)
        return;
    (void)pthread_mutex_destroy(&ring->lock);
    free(ring->entries);
    free(ring->bans);
    free(ring);
}

/* First of n rows of `size` bytes whose leading key is not before `key`. Keys are public. */
static size_t
place_of(const void *rows, size_t n, size_t size, const uint8_t key[KEY_SIZE], bool *out_there)
{
    size_t low = 0, high = n;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (memcmp((const uint8_t *)rows + middle * size, key, KEY_SIZE) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    *out_there = low < n && memcmp((const uint8_t *)rows + low * size, key, KEY_SIZE) == 0;
    return low;
}

static size_t
entry_place(const struct keyring *ring, const uint8_t key[KEY_SIZE], bool *out_there)
{
    return place_of(ring->entries, ring->n, sizeof ring->entries[0], key, out_there);
}

/* Makes room for one more row; false: out of memory. */
static bool
grow(void **rows, size_t n, size_t *room, size_t size)
{
    if (n < *room)
        return true;
    size_t more = *room * 2 + 16;
    void *moved = realloc(*rows, more * size);
    if (moved == NULL)
        return false;
    *rows = moved;
    *room = more;
    return true;
}

static bool
is_same(const struct key_entry *a, const struct key_entry *b)
{
    return a->what == b->what && strcmp(a->site, b->site) == 0 &&
           strcmp(a->person, b->person) == 0 && strcmp(a->role, b->role) == 0 &&
           a->roles == b->roles && a->expires_ms == b->expires_ms && a->fresh == b->fresh &&
           memcmp(a->renews, b->renews, KEY_SIZE) == 0 && a->renewed_ms == b->renewed_ms;
}

static bool
insert(struct keyring *ring, const struct key_entry *entry)
{
    bool there = false;
    (void)place_of(ring->bans, ring->n_bans, KEY_SIZE, entry->key, &there);
    if (there)
        return true;
    size_t at = entry_place(ring, entry->key, &there);
    void *rows = ring->entries;
    if (!there) {
        if (!grow(&rows, ring->n, &ring->room, sizeof *entry))
            return false;
        ring->entries = rows;
        memmove(&ring->entries[at + 1], &ring->entries[at], (ring->n - at) * sizeof *entry);
        ring->n++;
    }
    if (!there || !is_same(&ring->entries[at], entry))
        ring->changes++;
    ring->entries[at] = *entry;
    return true;
}

static void
take_out(struct keyring *ring, const uint8_t key[KEY_SIZE])
{
    bool there = false;
    size_t at = entry_place(ring, key, &there);
    if (!there)
        return;
    ring->changes++;
    ring->n--;
    memmove(&ring->entries[at], &ring->entries[at + 1], (ring->n - at) * sizeof ring->entries[0]);
}

static bool
ban(struct keyring *ring, const uint8_t key[KEY_SIZE])
{
    bool there = false;
    take_out(ring, key);
    size_t at = place_of(ring->bans, ring->n_bans, KEY_SIZE, key, &there);
    void *rows = ring->bans;
    if (there)
        return true;
    if (!grow(&rows, ring->n_bans, &ring->ban_room, KEY_SIZE))
        return false;
    ring->bans = rows;
    memmove(ring->bans[at + 1], ring->bans[at], (ring->n_bans - at) * KEY_SIZE);
    memcpy(ring->bans[at], key, KEY_SIZE);
    ring->n_bans++;
    return true;
}

enum err
keyring_put(struct keyring *ring, const struct key_entry *entry, struct err_text *why)
{
    (void)pthread_mutex_lock(&ring->lock);
    bool done = insert(ring, entry);
    (void)pthread_mutex_unlock(&ring->lock);
    return done ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
}

void
keyring_remove(struct keyring *ring, const uint8_t key[KEY_SIZE])
{
    (void)pthread_mutex_lock(&ring->lock);
    take_out(ring, key);
    (void)pthread_mutex_unlock(&ring->lock);
}

enum err
keyring_ban(struct keyring *ring, const uint8_t key[KEY_SIZE], struct err_text *why)
{
    (void)pthread_mutex_lock(&ring->lock);
    bool done = ban(ring, key);
    (void)pthread_mutex_unlock(&ring->lock);
    return done ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
}

bool
keyring_banned(struct keyring *ring, const uint8_t key[KEY_SIZE])
{
    bool there = false;
    (void)pthread_mutex_lock(&ring->lock);
    (void)place_of(ring->bans, ring->n_bans, KEY_SIZE, key, &there);
    (void)pthread_mutex_unlock(&ring->lock);
    return there;
}

bool
keyring_find(struct keyring *ring, const uint8_t key[KEY_SIZE], int64_t now_ms,
             struct key_entry *out_entry)
{
    bool there = false;
    (void)pthread_mutex_lock(&ring->lock);
    size_t at = entry_place(ring, key, &there);
    if (there)
        *out_entry = ring->entries[at];
    (void)pthread_mutex_unlock(&ring->lock);
    return there && (out_entry->what != KEY_CODE || now_ms < out_entry->expires_ms);
}

uint64_t
keyring_changes(struct keyring *ring)
{
    (void)pthread_mutex_lock(&ring->lock);
    uint64_t changes = ring->changes;
    (void)pthread_mutex_unlock(&ring->lock);
    return changes;
}

size_t
keyring_count(struct keyring *ring)
{
    (void)pthread_mutex_lock(&ring->lock);
    size_t n = ring->n;
    (void)pthread_mutex_unlock(&ring->lock);
    return n;
}

bool
keyring_nth(struct keyring *ring, size_t i, struct key_entry *out_entry)
{
    (void)pthread_mutex_lock(&ring->lock);
    bool there = i < ring->n;
    if (there)
        *out_entry = ring->entries[i];
    (void)pthread_mutex_unlock(&ring->lock);
    return there;
}
