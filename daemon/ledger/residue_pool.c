/* residue_pool.c - the residue that waits at its batches. */
#include "daemon/ledger/residue_pool.h"

#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/grow.h"

/* Facts of the pool in one list; freed when the pool is made. */
struct fact_list {
    const struct fact **facts;
    size_t n, cap;
};

static enum err
out_of_memory(struct err_text *why)
{
    return err_set(ERR_MEM, why, "out of memory for the residue of batches");
}

static enum err
list_add(struct fact_list *list, const struct fact *fact, struct err_text *why)
{
    void *room = grow_room(list->facts, list->n, &list->cap, sizeof *list->facts);
    if (room == NULL)
        return out_of_memory(why);
    list->facts = room;
    list->facts[list->n++] = fact;
    return ERR_OK;
}

const char *
residue_home(const struct fold_input *input, const char *batch)
{
    const struct fact *first =
        input->first_fact(input->owner, SUBJECT_BATCH, batch, KNOCKBOX__RECORD__BODY_STRAIN);
    return first != NULL ? first->site : NULL;
}

/* The batch that a fact of the pool is about; NULL for a residue without one. */
static const char *
batch_of(const struct fact *fact)
{
    if (fact->kind->number == KNOCKBOX__RECORD__BODY_STRAIN)
        return fact->record->strain->batch;
    const char *batch = fact->record->residue->batch;
    return batch != NULL && batch[0] != '\0' ? batch : NULL;
}

static bool
is_pool_kind(const struct fact *fact)
{
    return fact->kind->number == KNOCKBOX__RECORD__BODY_STRAIN ||
           fact->kind->number == KNOCKBOX__RECORD__BODY_RESIDUE;
}

/* Everything of a batch that is at home here, once: when its first strain comes by. */
static enum err
add_kind(const struct fold_input *input, const char *batch, uint32_t kind, struct fact_list *list,
         struct err_text *why)
{
    const struct fact *facts = NULL;
    size_t n = 0;
    enum err e = input->facts_of_kind(input->owner, SUBJECT_BATCH, batch, kind, &facts, &n);
    for (size_t i = 0; e == ERR_OK && i < n; i++)
        e = list_add(list, &facts[i], why);
    return e;
}

static enum err
add_batch(const struct fold_input *input, const char *batch, struct fact_list *list,
          struct err_text *why)
{
    enum err e = add_kind(input, batch, KNOCKBOX__RECORD__BODY_STRAIN, list, why);
    if (e == ERR_OK)
        e = add_kind(input, batch, KNOCKBOX__RECORD__BODY_RESIDUE, list, why);
    return e;
}

static enum err
collect(const struct fold_input *input, const char *site, struct fact_list *list,
        struct err_text *why)
{
    const struct fact *facts = input->facts;
    size_t n = input->n;
    enum err e = ERR_OK;
    if (strcmp(site, input->code) != 0)
        e = input->facts_of(input->owner, SUBJECT_WASTE, site, &facts, &n);
    for (size_t i = 0; e == ERR_OK && i < n; i++) {
        const struct fact *fact = &facts[i];
        if (!is_pool_kind(fact))
            continue;
        const char *batch = batch_of(fact);
        if (batch == NULL) {
            e = list_add(list, fact, why);
        } else if (fact->kind->number == KNOCKBOX__RECORD__BODY_STRAIN) {
            const struct fact *first = input->first_fact(input->owner, SUBJECT_BATCH, batch,
                                                         KNOCKBOX__RECORD__BODY_STRAIN);
            if (first != NULL && memcmp(first->id, fact->id, 16) == 0)
                e = add_batch(input, batch, list, why);
        }
    }
    return e;
}

static int
by_order(const void *a, const void *b)
{
    return fact_order(*(const struct fact *const *)a, *(const struct fact *const *)b);
}

/* Room for every batch that the facts can name, half of it empty. */
static enum err
make_chains(struct residue_pool *pool, size_t n_facts, struct err_text *why)
{
    size_t n = 16;
    while (n < 2 * n_facts)
        n *= 2;
    pool->chains = calloc(n, sizeof *pool->chains);
    if (pool->chains == NULL)
        return out_of_memory(why);
    pool->n_chains = n;
    return ERR_OK;
}

/* The batch's chain, an empty one when it has none yet. */
static struct residue_chain *
chain_of(struct residue_pool *pool, const char *batch)
{
    uint64_t hash = 14695981039346656037U; /* FNV-1a */
    for (const char *c = batch; *c != '\0'; c++)
        hash = (hash ^ (unsigned char)*c) * 1099511628211U;
    size_t i = (size_t)hash & (pool->n_chains - 1);
    while (pool->chains[i].batch != NULL && strcmp(pool->chains[i].batch, batch) != 0)
        i = (i + 1) & (pool->n_chains - 1);
    struct residue_chain *chain = &pool->chains[i];
    if (chain->batch == NULL)
        *chain = (struct residue_chain){batch, SIZE_MAX, SIZE_MAX};
    return chain;
}

static enum err
add_wait(struct residue_pool *pool, const struct fact *fact, struct err_text *why)
{
    int64_t mass_g = fact->record->strain->residue_g;
    if (mass_g <= 0)
        return ERR_OK;
    void *room = grow_room(pool->waits, pool->n_waits, &pool->cap_waits, sizeof *pool->waits);
    if (room == NULL)
        return out_of_memory(why);
    pool->waits = room;
    struct residue_chain *chain = chain_of(pool, batch_of(fact));
    if (chain->tail != SIZE_MAX)
        pool->waits[chain->tail].next = pool->n_waits;
    if (chain->head == SIZE_MAX)
        chain->head = pool->n_waits;
    chain->tail = pool->n_waits;
    pool->waits[pool->n_waits++] = (struct residue_wait){fact, chain->batch, mass_g, SIZE_MAX};
    return ERR_OK;
}

static enum err
add_take(struct residue_pool *pool, const struct fact *fact, const char *batch, int64_t mass_g,
         struct err_text *why)
{
    void *room = grow_room(pool->takes, pool->n_takes, &pool->cap_takes, sizeof *pool->takes);
    if (room == NULL)
        return out_of_memory(why);
    pool->takes = room;
    pool->takes[pool->n_takes++] = (struct residue_take){fact, batch, mass_g};
    return ERR_OK;
}

/* The oldest wait that still holds something: of the batch, or (NULL) of all. NULL: none. */
static struct residue_wait *
oldest_wait(struct residue_pool *pool, struct residue_chain *chain)
{
    if (chain == NULL) {
        while (pool->oldest < pool->n_waits && pool->waits[pool->oldest].mass_g == 0)
            pool->oldest++;
        return pool->oldest < pool->n_waits ? &pool->waits[pool->oldest] : NULL;
    }
    while (chain->head != SIZE_MAX && pool->waits[chain->head].mass_g == 0) {
        chain->head = pool->waits[chain->head].next;
        if (chain->head == SIZE_MAX)
            chain->tail = SIZE_MAX;
    }
    return chain->head != SIZE_MAX ? &pool->waits[chain->head] : NULL;
}

/* W2 and W3. */
static enum err
take(struct residue_pool *pool, const struct fact *fact, struct err_text *why)
{
    const char *batch = batch_of(fact);
    struct residue_chain *chain = batch != NULL ? chain_of(pool, batch) : NULL;
    int64_t left_g = fact->record->residue->mass_g;
    struct residue_wait *wait;
    while (left_g > 0 && (wait = oldest_wait(pool, chain)) != NULL) {
        int64_t part_g = wait->mass_g < left_g ? wait->mass_g : left_g;
        wait->mass_g -= part_g;
        left_g -= part_g;
        enum err e = add_take(pool, fact, wait->batch, part_g, why);
        if (e != ERR_OK)
            return e;
    }
    return left_g > 0 ? add_take(pool, fact, "", left_g, why) : ERR_OK;
}

enum err
residue_pool_make(const struct fold_input *input, const char *site, struct residue_pool *out_pool,
                  struct err_text *why)
{
    struct fact_list list = {NULL, 0, 0};
    memset(out_pool, 0, sizeof *out_pool);
    out_pool->site = strdup(site);
    if (out_pool->site == NULL)
        return out_of_memory(why);
    enum err e = collect(input, site, &list, why);
    if (e == ERR_OK && list.n > 1)
        qsort(list.facts, list.n, sizeof *list.facts, by_order);
    if (e == ERR_OK)
        e = make_chains(out_pool, list.n, why);
    for (size_t i = 0; e == ERR_OK && i < list.n; i++) {
        if (list.facts[i]->kind->number == KNOCKBOX__RECORD__BODY_STRAIN)
            e = add_wait(out_pool, list.facts[i], why);
        else
            e = take(out_pool, list.facts[i], why);
    }
    free(list.facts);
    return e;
}

void
residue_pool_done(struct residue_pool *pool)
{
    free(pool->site);
    free(pool->takes);
    free(pool->waits);
    free(pool->chains);
    memset(pool, 0, sizeof *pool);
}

const struct residue_take *
residue_pool_takes(const struct residue_pool *pool, const struct fact *fact, size_t *out_n)
{
    size_t low = 0, high = pool->n_takes;
    while (low < high) { /* the first take that is not before the fact */
        size_t middle = low + (high - low) / 2;
        if (fact_order(pool->takes[middle].fact, fact) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    size_t end = low;
    while (end < pool->n_takes && fact_order(pool->takes[end].fact, fact) == 0)
        end++;
    *out_n = end - low;
    return &pool->takes[low];
}
