/* books.c - lines in memory: a hash table to post, a sorted list to read. */
#include "daemon/ledger/books.h"

#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/block.h"

struct line {
    struct posting posting; /* site and key lie behind the line */
    uint64_t hash;
    struct line *next; /* in its bucket */
};

enum {
    BLOCK_SIZE = 32 * 1024
};

/* sorted[0..n) holds every line once; in order only when `in_order`. Lines of 0 stay in the table
 * and are passed over by readers. Lines that were appended in order are in no bucket: they are
 * found by their order until somebody posts. */
struct table {
    struct line **buckets; /* NULL: none yet */
    size_t n_buckets;      /* a power of two */
    struct line **sorted;
    size_t n, room;
    bool in_order;
    struct block *blocks;
};

struct books {
    struct table *table; /* apart, so that a reader of const books may sort */
};

enum err
books_new(struct books **out_books, struct err_text *why)
{
    struct books *books = calloc(1, sizeof *books);
    struct table *table = calloc(1, sizeof *table);
    if (books == NULL || table == NULL) {
        free(books);
        free(table);
        return err_set(ERR_MEM, why, "books: out of memory");
    }
    books->table = table;
    *out_books = books;
    return ERR_OK;
}

void
books_free(struct books *books)
{
    if (books == NULL)
        return;
    block_drop(&books->table->blocks, false);
    free(books->table->buckets);
    free(books->table->sorted);
    free(books->table);
    free(books);
}

void
books_clear(struct books *books)
{
    struct table *table = books->table;
    block_drop(&table->blocks, false);
    table->n = 0;
    table->in_order = true;
    if (table->buckets != NULL)
        memset(table->buckets, 0, table->n_buckets * sizeof(struct line *));
}

/* A line and its texts; all pieces are multiples of 16 bytes, so that each is aligned. */
static struct line *
take(struct table *table, size_t size)
{
    return block_take(&table->blocks, BLOCK_SIZE, (size + 15) & ~(size_t)15);
}

static uint64_t
mix_in(uint64_t hash, const char *text) /* FNV-1a */
{
    for (; *text != '\0'; text++)
        hash = (hash ^ (uint8_t)*text) * 0x100000001B3U;
    return hash * 31 + 7;
}

static uint64_t
hash_of(enum measure measure, int32_t month, const char *site, const char *key)
{
    uint64_t hash = 0xCBF29CE484222325U ^ (uint64_t)measure;
    hash = (hash * 0x100000001B3U) ^ (uint32_t)month;
    hash = mix_in(mix_in(hash, site), key);
    return hash ^ (hash >> 29);
}

static struct line *
find(const struct table *table, uint64_t hash, enum measure measure, int32_t month,
     const char *site, const char *key)
{
    if (table->n_buckets == 0)
        return NULL;
    struct line *line = table->buckets[hash & (table->n_buckets - 1)];
    for (; line != NULL; line = line->next) {
        const struct posting *p = &line->posting;
        if (line->hash == hash && p->measure == measure && p->month == month &&
            strcmp(p->site, site) == 0 && strcmp(p->key, key) == 0)
            return line;
    }
    return NULL;
}

/* Every line into new buckets, as many as there is room for lines. */
static bool
fill_buckets(struct table *table)
{
    struct line **buckets = calloc(table->room, sizeof(struct line *));
    if (buckets == NULL)
        return false;
    for (size_t i = 0; i < table->n; i++) {
        struct line *line = table->sorted[i];
        const struct posting *p = &line->posting;
        if (table->buckets == NULL) /* they were only appended */
            line->hash = hash_of(p->measure, p->month, p->site, p->key);
        struct line **bucket = &buckets[line->hash & (table->room - 1)];
        line->next = *bucket;
        *bucket = line;
    }
    free(table->buckets);
    table->buckets = buckets;
    table->n_buckets = table->room;
    return true;
}

static bool
grow(struct table *table)
{
    size_t room = table->room == 0 ? 64 : table->room * 2;
    struct line **sorted = realloc(table->sorted, room * sizeof(struct line *));
    if (sorted == NULL)
        return false;
    table->sorted = sorted;
    table->room = room;
    return table->buckets == NULL || fill_buckets(table);
}

static int
order_of(const struct posting *p, const struct posting *q)
{
    if (p->measure != q->measure)
        return p->measure < q->measure ? -1 : 1;
    if (p->month != q->month)
        return p->month < q->month ? -1 : 1;
    int order = strcmp(p->site, q->site);
    return order != 0 ? order : strcmp(p->key, q->key);
}

/* At the end of the list, in no bucket; NULL: out of memory. */
static struct line *
put_last(struct table *table, const struct posting *posting)
{
    if (table->n == table->room && !grow(table))
        return NULL;
    size_t site_size = strlen(posting->site) + 1, key_size = strlen(posting->key) + 1;
    struct line *line = take(table, sizeof *line + site_size + key_size);
    if (line == NULL)
        return NULL;
    char *text = (char *)(line + 1);
    memcpy(text, posting->site, site_size);
    memcpy(text + site_size, posting->key, key_size);
    line->posting = (struct posting){posting->measure, posting->month, text, text + site_size, 0};
    table->in_order =
        table->n == 0 ||
        (table->in_order && order_of(&table->sorted[table->n - 1]->posting, &line->posting) < 0);
    table->sorted[table->n++] = line;
    return line;
}

static struct line *
add(struct table *table, uint64_t hash, const struct posting *posting)
{
    struct line *line = put_last(table, posting);
    if (line == NULL)
        return NULL;
    line->hash = hash;
    struct line **bucket = &table->buckets[hash & (table->n_buckets - 1)];
    line->next = *bucket;
    *bucket = line;
    return line;
}

enum err
books_append(struct books *books, const struct posting *posting, struct err_text *why)
{
    struct table *table = books->table;
    bool last = table->n == 0 ||
                (table->in_order && order_of(&table->sorted[table->n - 1]->posting, posting) < 0);
    if (posting->amount == 0)
        return ERR_OK;
    if (table->buckets != NULL || !last)
        return books_post(books, posting, why);
    struct line *line = put_last(table, posting);
    if (line == NULL)
        return err_set(ERR_MEM, why, "books: out of memory");
    line->posting.amount = posting->amount;
    return ERR_OK;
}

enum err
books_post(struct books *books, const struct posting *posting, struct err_text *why)
{
    if (posting->amount == 0)
        return ERR_OK;
    struct table *table = books->table;
    if (table->buckets == NULL && ((table->room == 0 && !grow(table)) || !fill_buckets(table)))
        return err_set(ERR_MEM, why, "books: out of memory");
    uint64_t hash = hash_of(posting->measure, posting->month, posting->site, posting->key);
    struct line *line =
        find(table, hash, posting->measure, posting->month, posting->site, posting->key);
    if (line == NULL)
        line = add(table, hash, posting);
    if (line == NULL)
        return err_set(ERR_MEM, why, "books: out of memory");
    line->posting.amount += posting->amount;
    return ERR_OK;
}

static int
compare(const void *a, const void *b)
{
    return order_of(&(*(struct line *const *)a)->posting, &(*(struct line *const *)b)->posting);
}

int64_t
books_line(const struct books *books, enum measure measure, int32_t month, const char *site,
           const char *key)
{
    const struct table *table = books->table;
    struct line want = {.posting = {measure, month, site, key, 0}}, *at = &want;
    const struct line *line = NULL;
    if (table->buckets != NULL) {
        line = find(table, hash_of(measure, month, site, key), measure, month, site, key);
    } else if (table->n > 0) { /* appended: in order */
        struct line **found = bsearch(&at, table->sorted, table->n, sizeof at, compare);
        line = found != NULL ? *found : NULL;
    }
    return line != NULL ? line->posting.amount : 0;
}

static void
put_in_order(struct table *table)
{
    if (!table->in_order && table->n > 1)
        qsort(table->sorted, table->n, sizeof(struct line *), compare);
    table->in_order = true;
}

/* The first line not before (measure, month). */
static size_t
lower_bound(const struct table *table, enum measure measure, int32_t month)
{
    size_t low = 0, high = table->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        const struct posting *p = &table->sorted[middle]->posting;
        if (p->measure < measure || (p->measure == measure && p->month < month))
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

void
books_walk(const struct books *books, enum measure measure, int32_t first, int32_t last,
           books_visit *visit, void *owner)
{
    struct table *table = books->table;
    put_in_order(table);
    for (size_t i = lower_bound(table, measure, first); i < table->n; i++) {
        const struct posting *line = &table->sorted[i]->posting;
        if (line->measure != measure || line->month > last)
            return;
        if (line->amount != 0 && !visit(owner, line))
            return;
    }
}

void
books_walk_all(const struct books *books, books_visit *visit, void *owner)
{
    struct table *table = books->table;
    put_in_order(table);
    for (size_t i = 0; i < table->n; i++)
        if (table->sorted[i]->posting.amount != 0 && !visit(owner, &table->sorted[i]->posting))
            return;
}

size_t
books_size(const struct books *books)
{
    return books->table->n;
}

struct sum {
    const char *site;
    int64_t amount;
};

static bool
add_line(void *owner, const struct posting *line)
{
    struct sum *sum = owner;
    if (sum->site == NULL || strcmp(sum->site, line->site) == 0)
        sum->amount += line->amount;
    return true;
}

int64_t
books_sum(const struct books *books, enum measure measure, int32_t first, int32_t last,
          const char *site)
{
    struct sum sum = {site, 0};
    books_walk(books, measure, first, last, add_line, &sum);
    return sum.amount;
}
