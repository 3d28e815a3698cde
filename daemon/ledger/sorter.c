/* sorter.c - see sorter.h. */
#include "daemon/ledger/sorter.h"

#include <stdlib.h>
#include <string.h>

enum {
    SORTER_BYTES = 8 * 1024 * 1024,
    SORTER_ROWS = 131072
};

/* Where a row begins in `bytes` (two lengths of two bytes each, key, value), and the first bytes of
 * its key as numbers, which tell most rows apart. */
struct place {
    uint64_t head, next;
    uint32_t at;
};

struct sorter {
    uint8_t *bytes;
    struct place *rows;
    size_t n, used;
    size_t flushed; /* rows[0..flushed) are written; over 0, or `sorted`: no more is added */
    bool sorted;
    bool again; /* the table is not empty any more */
};

enum err
sorter_new(struct sorter **out_sorter, struct err_text *why)
{
    struct sorter *sorter = calloc(1, sizeof *sorter);
    if (sorter != NULL) {
        sorter->bytes = malloc(SORTER_BYTES);
        sorter->rows = malloc(SORTER_ROWS * sizeof *sorter->rows);
    }
    if (sorter == NULL || sorter->bytes == NULL || sorter->rows == NULL) {
        sorter_free(sorter);
        return err_set(ERR_MEM, why, "ledger: out of memory");
    }
    *out_sorter = sorter;
    return ERR_OK;
}

void
sorter_free(struct sorter *sorter)
{
    if (sorter == NULL)
        return;
    free(sorter->bytes);
    free(sorter->rows);
    free(sorter);
}

/* Eight bytes from `at` on, nothing behind the end. */
static uint64_t
head_of(const uint8_t *key, size_t len, size_t at)
{
    uint64_t head = 0;
    for (size_t i = at; i < at + 8; i++)
        head = head << 8 | (i < len ? key[i] : 0);
    return head;
}

bool
sorter_add(struct sorter *s, const void *key, size_t key_len, const void *value, size_t value_len)
{
    if (s->n == SORTER_ROWS || SORTER_BYTES - s->used < 4 + key_len + value_len)
        return false;
    const uint16_t lengths[2] = {(uint16_t)key_len, (uint16_t)value_len};
    uint8_t *p = s->bytes + s->used;
    memcpy(p, lengths, sizeof lengths);
    memcpy(p + 4, key, key_len);
    memcpy(p + 4 + key_len, value, value_len);
    s->rows[s->n++] =
        (struct place){head_of(key, key_len, 0), head_of(key, key_len, 8), (uint32_t)s->used};
    s->used += 4 + key_len + value_len;
    return true;
}

static int
compare(const void *a, const void *b, void *bytes)
{
    const struct place *x = a, *y = b;
    if (x->head != y->head)
        return x->head < y->head ? -1 : 1;
    if (x->next != y->next)
        return x->next < y->next ? -1 : 1;
    const uint8_t *p = (uint8_t *)bytes + x->at;
    const uint8_t *q = (uint8_t *)bytes + y->at;
    uint16_t p_len, q_len;
    memcpy(&p_len, p, sizeof p_len);
    memcpy(&q_len, q, sizeof q_len);
    int order = memcmp(p + 4, q + 4, p_len < q_len ? p_len : q_len);
    return order != 0 ? order : (int)p_len - (int)q_len;
}

bool
sorter_pressing(const struct sorter *s)
{
    return s->n > (size_t)SORTER_ROWS / 8 * 7 || s->used > (size_t)SORTER_BYTES / 8 * 7;
}

bool
sorter_empty(const struct sorter *s)
{
    return s->n == 0;
}

static enum err
put_row(const struct sorter *s, const struct place *row, struct kv_spot *spot, struct err_text *why)
{
    const uint8_t *p = s->bytes + row->at;
    uint16_t lengths[2];
    memcpy(lengths, p, sizeof lengths);
    return kv_spot_put(spot, p + 4, lengths[0], p + 4 + lengths[0], lengths[1], !s->again, why);
}

enum err
sorter_flush(struct sorter *s, struct kv_txn *txn, MDB_dbi table, size_t most, struct err_text *why)
{
    struct kv_spot *spot = NULL;
    enum err e = kv_spot_open(txn, table, &spot, why);
    if (!s->sorted && s->n > 1)
        qsort_r(s->rows, s->n, sizeof *s->rows, compare, s->bytes);
    s->sorted = true;
    for (size_t i = 0; i < most && s->flushed < s->n && e == ERR_OK; i++)
        e = put_row(s, &s->rows[s->flushed++], spot, why);
    kv_spot_close(spot);
    if (s->flushed == s->n) {
        s->again = s->again || s->n > 0;
        s->n = s->used = s->flushed = 0;
        s->sorted = false;
    }
    return e;
}
