/* part_sink.c - writes a file in parts. */
#include <errno.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <zlib.h>

#include "daemon/backup/part_int.h"
#include "daemon/store/kv_error.h"
#include "daemon/store/row.h"

enum {
    PACK_LEVEL = 4 /* hashes and ids do not pack; more effort gains little */
};

struct part_sink {
    int fd;
    const char *name;
    uint8_t check[PART_CHECK]; /* of the part before */
    uint32_t number;
    enum part_kind kind;
    uint8_t *rows, *packed;
    size_t used, room, packed_room;
};

void
part_check_of_head(const uint8_t head[FILE_HEAD], uint8_t out[PART_CHECK])
{
    (void)crypto_generichash(out, PART_CHECK, head, FILE_HEAD, NULL, 0); /* cannot fail */
}

void
part_check_of(const uint8_t before[PART_CHECK], const uint8_t head[AT_CHECK], const uint8_t *packed,
              size_t len, uint8_t out[PART_CHECK])
{
    crypto_generichash_state state;
    (void)crypto_generichash_init(&state, NULL, 0, PART_CHECK); /* these cannot fail */
    (void)crypto_generichash_update(&state, before, PART_CHECK);
    (void)crypto_generichash_update(&state, head, AT_CHECK);
    (void)crypto_generichash_update(&state, packed, len);
    (void)crypto_generichash_final(&state, out, PART_CHECK);
}

static enum err
write_all(const struct part_sink *sink, const uint8_t *bytes, size_t len, struct err_text *why)
{
    while (len > 0) {
        errno = 0;
        ssize_t n = write(sink->fd, bytes, len);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return kv_error_system(errno != 0 ? errno : ENOSPC, "write", sink->name, why);
        bytes += n;
        len -= (size_t)n;
    }
    return ERR_OK;
}

static enum err
write_head(struct part_sink *sink, const char magic[PART_MAGIC], struct err_text *why)
{
    uint8_t head[FILE_HEAD];
    memcpy(head, magic, PART_MAGIC);
    put_number(head + PART_MAGIC, PART_FORMAT, 4);
    put_number(head + PART_MAGIC + 4, PART_FORMAT, 4);
    part_check_of_head(head, sink->check);
    return write_all(sink, head, sizeof head, why);
}

enum err
part_sink_new(int fd, const char *name, const char magic[PART_MAGIC], struct part_sink **out_sink,
              struct err_text *why)
{
    struct part_sink *sink = NULL;
    if (sodium_init() < 0)
        return err_set(ERR_IO, why, "libsodium cannot start");
    sink = calloc(1, sizeof *sink);
    if (sink == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    sink->fd = fd;
    sink->name = name;
    enum err e = write_head(sink, magic, why);
    if (e == ERR_OK)
        *out_sink = sink;
    else
        part_sink_free(sink);
    return e;
}

static enum err
make_room(uint8_t **bytes, size_t *room, size_t used, size_t want, struct err_text *why)
{
    if (want <= *room)
        return ERR_OK;
    uint8_t *more = malloc(want);
    if (more == NULL)
        return err_set(ERR_MEM, why, "out of memory for %zu bytes", want);
    if (used > 0)
        memcpy(more, *bytes, used);
    if (*bytes != NULL)
        sodium_memzero(*bytes, *room); /* a file of keys goes this way too */
    free(*bytes);
    *bytes = more;
    *room = want;
    return ERR_OK;
}

/* Packs and writes what is gathered as one part. */
static enum err
close_part(struct part_sink *sink, struct err_text *why)
{
    uint8_t head[PART_HEAD];
    uLongf len = compressBound(sink->used);
    enum err e = make_room(&sink->packed, &sink->packed_room, 0, len, why);
    if (e != ERR_OK)
        return e;
    if (compress2(sink->packed, &len, sink->used > 0 ? sink->rows : (const Bytef *)"", sink->used,
                  PACK_LEVEL) != Z_OK)
        return err_set(ERR_MEM, why, "%s: cannot be packed", sink->name);
    head[0] = (uint8_t)sink->kind;
    put_number(head + AT_NUMBER, sink->number++, 4);
    put_number(head + AT_PLAIN, sink->used, 4);
    put_number(head + AT_PACKED, len, 4);
    part_check_of(sink->check, head, sink->packed, len, sink->check);
    memcpy(head + AT_CHECK, sink->check, PART_CHECK);
    sink->used = 0;
    e = write_all(sink, head, sizeof head, why);
    return e == ERR_OK ? write_all(sink, sink->packed, len, why) : e;
}

enum err
part_put(struct part_sink *sink, const struct part_row *row, struct err_text *why)
{
    enum err e = ERR_OK;
    size_t len = ROW_LENGTHS + row->key_len + row->value_len;
    if (row->key_len > PART_KEY_MOST || row->value_len > PART_MOST - 1024)
        return err_set(ERR_INPUT, why, "%s: a row of %zu bytes is too large", sink->name, len);
    bool other = sink->used > 0 && sink->kind != row->kind;
    if (other || (sink->used > 0 && sink->used + len > PART_FULL))
        e = close_part(sink, why);
    if (e == ERR_OK)
        e = make_room(&sink->rows, &sink->room, sink->used,
                      sink->used + len > PART_FULL ? sink->used + len : PART_FULL, why);
    if (e != ERR_OK)
        return e;
    uint8_t *at = sink->rows + sink->used;
    put_number(at, row->key_len, 2);
    put_number(at + 2, row->value_len, 4);
    memcpy(at + ROW_LENGTHS, row->key, row->key_len);
    if (row->value_len > 0)
        memcpy(at + ROW_LENGTHS + row->key_len, row->value, row->value_len);
    sink->used += len;
    sink->kind = row->kind;
    return ERR_OK;
}

enum err
part_finish(struct part_sink *sink, uint8_t out_check[PART_CHECK], struct err_text *why)
{
    enum err e = sink->used > 0 ? close_part(sink, why) : ERR_OK;
    sink->kind = PART_END;
    if (e == ERR_OK)
        e = close_part(sink, why);
    memcpy(out_check, sink->check, PART_CHECK);
    return e;
}

static void
wipe(uint8_t *bytes, size_t room)
{
    if (bytes != NULL)
        sodium_memzero(bytes, room);
    free(bytes);
}

void
part_sink_free(struct part_sink *sink)
{
    if (sink == NULL)
        return;
    wipe(sink->rows, sink->room);
    wipe(sink->packed, sink->packed_room);
    free(sink);
}
