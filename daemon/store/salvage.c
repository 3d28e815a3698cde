/* salvage.c - records out of the pages of a damaged store, one page at a time. */
#include "daemon/store/salvage.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/store/kv_error.h"
#include "daemon/store/kv_page.h"
#include "daemon/store/row.h"

struct salvage {
    char site[SITE_SIZE];
    struct stored *records; /* each with bytes of its own, the mark behind them */
    size_t n, room;
    int fd;
    struct arena arena;
};

static enum err
out_of_memory(struct err_text *why)
{
    return err_set(ERR_MEM, why, "out of memory");
}

static enum err
keep(struct salvage *s, const struct row *row, const Knockbox__Record *record, struct err_text *why)
{
    if (s->n == s->room) {
        size_t room = s->room != 0 ? s->room * 2 : 256;
        struct stored *more = realloc(s->records, room * sizeof *more);
        if (more == NULL)
            return out_of_memory(why);
        s->records = more;
        s->room = room;
    }
    uint8_t *bytes = malloc(row->len + MARK_SIZE);
    if (bytes == NULL)
        return out_of_memory(why);
    memcpy(bytes, row->bytes, row->len);
    memcpy(bytes + row->len, record->mark.data, MARK_SIZE);
    struct stored *stored = &s->records[s->n++];
    *stored = (struct stored){.site = s->site,
                              .epoch = record->epoch,
                              .mark = bytes + row->len,
                              .seq = row->seq,
                              .held_ms = row->held_ms,
                              .bytes = bytes,
                              .len = row->len};
    memcpy(stored->hash, row->hash, HASH_SIZE);
    memcpy(stored->id, record->id.data, ID_SIZE);
    return ERR_OK;
}

/* The value of a row of `records`, whole or held in part; anything else is passed over. */
static enum err
take_value(struct salvage *s, const struct page_node *node, const uint8_t *value,
           struct err_text *why)
{
    struct row row;
    Knockbox__Record *record = NULL;
    uint64_t lsn = get_number(node->key, LSN_KEY);
    if (!row_unpack(lsn, value, node->value_len, false, &row) || row.len > RECORD_BIG_MAX)
        return ERR_OK;
    arena_reset(&s->arena);
    if (record_decode(row.bytes, row.len, false, &s->arena, &record, NULL) != ERR_OK)
        return ERR_OK; /* of the hub's log, held in part: it comes again by itself */
    bool fits = record->site != NULL && strcmp(record->site, s->site) == 0 &&
                record->seq == row.seq && record->mark.len == MARK_SIZE &&
                record->id.len == ID_SIZE;
    return fits ? keep(s, &row, record, why) : ERR_OK;
}

/* A value on pages of its own. */
static enum err
take_big(struct salvage *s, const struct page_node *node, struct err_text *why)
{
    enum err e = ERR_OK;
    if (node->value_len > ROW_MOST)
        return ERR_OK;
    uint8_t *value = malloc(node->value_len + 1);
    if (value == NULL)
        return out_of_memory(why);
    off_t at = (off_t)(node->big * PAGE_SIZE) + 16;
    if (node->big < UINT32_MAX &&
        pread(s->fd, value, node->value_len, at) == (ssize_t)node->value_len)
        e = take_value(s, node, value, why);
    free(value);
    return e;
}

static enum err
take_page(struct salvage *s, uint64_t number, const uint8_t bytes[PAGE_SIZE], struct err_text *why)
{
    struct page page;
    struct page_node node;
    enum err e = ERR_OK;
    if (page_open(bytes, number, true, &page) != NULL)
        return ERR_OK;
    for (unsigned i = 0; i < page.n && e == ERR_OK; i++) {
        if (page_node(&page, i, &node) != NULL || node.key_len != LSN_KEY || node.is_tree)
            continue;
        e = node.big != 0 ? take_big(s, &node, why) : take_value(s, &node, node.value, why);
    }
    return e;
}

static int
compare(const void *a, const void *b)
{
    const struct stored *x = a, *y = b;
    int c = (x->epoch > y->epoch) - (x->epoch < y->epoch);
    if (c == 0)
        c = memcmp(x->mark, y->mark, MARK_SIZE);
    if (c == 0)
        c = (x->seq > y->seq) - (x->seq < y->seq);
    return c;
}

/* In order, each number once. */
static void
sort(struct salvage *s)
{
    size_t kept = 0;
    if (s->n > 1)
        qsort(s->records, s->n, sizeof *s->records, compare);
    for (size_t i = 0; i < s->n; i++) {
        if (kept > 0 && compare(&s->records[kept - 1], &s->records[i]) == 0)
            free((void *)(uintptr_t)s->records[i].bytes);
        else
            s->records[kept++] = s->records[i];
    }
    s->n = kept;
}

static enum err
read_pages(struct salvage *s, uint64_t pages, struct err_text *why)
{
    uint8_t bytes[PAGE_SIZE];
    enum err e = ERR_OK;
    for (uint64_t i = 2; i < pages && e == ERR_OK; i++)
        if (pread(s->fd, bytes, sizeof bytes, (off_t)(i * PAGE_SIZE)) == (ssize_t)sizeof bytes)
            e = take_page(s, i, bytes, why);
    sort(s);
    return e;
}

static enum err
open_file(struct salvage *s, const char *folder, uint64_t *out_pages, struct err_text *why)
{
    struct stat st;
    int dir = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (dir < 0)
        return kv_error_system(errno, "open", folder, why);
    s->fd = openat(dir, "data.mdb", O_RDONLY | O_CLOEXEC);
    int code = errno;
    (void)close(dir);
    if (s->fd < 0)
        return code == ENOENT ? err_set(ERR_NOT_FOUND, why, "%s: holds no store", folder)
                              : kv_error_system(code, "open data.mdb in", folder, why);
    if (fstat(s->fd, &st) != 0 || !S_ISREG(st.st_mode))
        return err_set(ERR_IO, why, "%s/data.mdb cannot be read", folder);
    *out_pages = (uint64_t)st.st_size / PAGE_SIZE;
    return ERR_OK;
}

enum err
salvage_read(const char *folder, const char *site, struct salvage **out_salvage,
             struct err_text *why)
{
    uint64_t pages = 0;
    struct salvage *s = calloc(1, sizeof *s);
    if (s == NULL)
        return out_of_memory(why);
    s->fd = -1;
    (void)memcpy(s->site, site, strnlen(site, SITE_SIZE - 1));
    enum err e = arena_init(&s->arena, ARENA_BIG_RECORD, why);
    if (e == ERR_OK)
        e = open_file(s, folder, &pages, why);
    if (e == ERR_OK)
        e = read_pages(s, pages, why);
    if (e == ERR_OK)
        *out_salvage = s;
    else
        salvage_free(s);
    return e;
}

void
salvage_free(struct salvage *s)
{
    if (s == NULL)
        return;
    for (size_t i = 0; i < s->n; i++)
        free((void *)(uintptr_t)s->records[i].bytes);
    free(s->records);
    if (s->fd >= 0)
        (void)close(s->fd);
    arena_done(&s->arena);
    free(s);
}

size_t
salvage_count(const struct salvage *s)
{
    return s->n;
}

const struct stored *
salvage_at(const struct salvage *s, size_t i)
{
    return &s->records[i];
}
