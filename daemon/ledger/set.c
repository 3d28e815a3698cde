/* set.c - see set.h. */
#include "daemon/ledger/set.h"

#include <stdlib.h>
#include <string.h>

static size_t
hash_of(enum subject_class class, const char *code)
{
    uint64_t hash = 0xCBF29CE484222325U ^ (uint64_t) class;
    for (; *code != '\0'; code++)
        hash = (hash ^ (uint8_t)*code) * 0x100000001B3U;
    return (size_t)(hash ^ hash >> 31);
}

static size_t *
find(const struct set *set, enum subject_class class, const char *code)
{
    size_t i = hash_of(class, code) & (set->n_slots - 1);
    for (;; i = (i + 1) & (set->n_slots - 1)) {
        size_t slot = set->slots[i];
        if (slot == 0 ||
            (set_class(set, slot - 1) == class && strcmp(set_code(set, slot - 1), code) == 0))
            return &set->slots[i];
    }
}

static bool
grow(struct set *set)
{
    size_t room = set->room == 0 ? 64 : set->room * 2;
    char **items = realloc(set->items, room * sizeof *items);
    if (items == NULL)
        return false;
    set->items = items;
    size_t *slots = calloc(room * 2, sizeof *slots);
    if (slots == NULL)
        return false;
    free(set->slots);
    set->slots = slots;
    set->n_slots = room * 2;
    set->room = room;
    for (size_t i = 0; i < set->n; i++)
        *find(set, set_class(set, i), set_code(set, i)) = i + 1;
    return true;
}

enum err
set_add(struct set *set, enum subject_class class, const char *code, struct err_text *why)
{
    if (set->n == set->room && !grow(set))
        return err_set(ERR_MEM, why, "ledger: out of memory");
    size_t *slot = find(set, class, code);
    if (*slot != 0)
        return ERR_OK;
    size_t size = strlen(code) + 1;
    char *item = malloc(size + 1);
    if (item == NULL)
        return err_set(ERR_MEM, why, "ledger: out of memory");
    item[0] = (char)class;
    memcpy(item + 1, code, size);
    set->items[set->n++] = item;
    *slot = set->n;
    return ERR_OK;
}

void
set_clear(struct set *set)
{
    for (size_t i = 0; i < set->n; i++)
        free(set->items[i]);
    set->n = 0;
    if (set->slots != NULL)
        memset(set->slots, 0, set->n_slots * sizeof *set->slots);
}

void
set_done(struct set *set)
{
    set_clear(set);
    free(set->items);
    free(set->slots);
    *set = (struct set){NULL, 0, 0, NULL, 0};
}
