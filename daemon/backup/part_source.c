/* part_source.c - reads a file in parts; trusts nothing before its checksum fits. */
#include <errno.h>
#include <inttypes.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <zlib.h>

#include "daemon/backup/part_int.h"
#include "daemon/store/kv_error.h"
#include "daemon/store/row.h"

static const char known_kinds[] = {PART_ABOUT,  PART_META,  PART_LOGS, PART_NOTES, PART_RECORDS,
                                   PART_OUTBOX, PART_FILES, PART_END,  '\0'};

struct part_source {
    int fd;
    const char *name;
    uint8_t check[PART_CHECK];
    uint32_t number; /* of the next part */
    uint64_t bytes;
    bool ended;
    enum part_kind kind;
    uint8_t *rows, *packed;
    size_t len, at, room, packed_room;
};

static enum err
damaged(const struct part_source *source, const char *what, struct err_text *why)
{
    return err_set(ERR_DAMAGED, why, "%.300s is damaged at part %" PRIu32 ": %s", source->name,
                   source->number, what);
}

/* *out_len: less than `len` only at the end of the file. */
static enum err
read_some(struct part_source *source, uint8_t *bytes, size_t len, size_t *out_len,
          struct err_text *why)
{
    size_t used = 0;
    while (used < len) {
        ssize_t n = read(source->fd, bytes + used, len - used);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return kv_error_system(errno, "read", source->name, why);
        if (n == 0)
            break;
        used += (size_t)n;
    }
    source->bytes += used;
    *out_len = used;
    return ERR_OK;
}

static enum err
read_exactly(struct part_source *source, uint8_t *bytes, size_t len, struct err_text *why)
{
    size_t got = 0;
    enum err e = read_some(source, bytes, len, &got, why);
    return e == ERR_OK && got < len ? damaged(source, "it is cut short", why) : e;
}

static enum err
read_head(struct part_source *source, const char magic[PART_MAGIC], struct err_text *why)
{
    uint8_t head[FILE_HEAD];
    size_t got = 0;
    enum err e = read_some(source, head, sizeof head, &got, why);
    if (e != ERR_OK)
        return e;
    if (got < PART_MAGIC || memcmp(head, magic, PART_MAGIC) != 0)
        return err_set(ERR_FORMAT, why, "%.300s is not a file of this kind", source->name);
    if (got < sizeof head)
        return damaged(source, "it is cut short", why);
    uint64_t format = get_number(head + PART_MAGIC, 4);
    if (get_number(head + PART_MAGIC + 4, 4) > PART_FORMAT)
        return err_set(ERR_FORMAT, why,
                       "%.300s has format %" PRIu64 ", this program (%s) knows formats up to %d: "
                       "use the newer release",
                       source->name, format, KNOCKBOX_VERSION, PART_FORMAT);
    part_check_of_head(head, source->check);
    return ERR_OK;
}

enum err
part_source_new(int fd, const char *name, const char magic[PART_MAGIC],
                struct part_source **out_source, struct err_text *why)
{
    struct part_source *source = NULL;
    if (sodium_init() < 0)
        return err_set(ERR_IO, why, "libsodium cannot start");
    source = calloc(1, sizeof *source);
    if (source == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    source->fd = fd;
    source->name = name;
    enum err e = read_head(source, magic, why);
    if (e == ERR_OK)
        *out_source = source;
    else
        part_source_free(source);
    return e;
}

static enum err
make_room(uint8_t **bytes, size_t *room, size_t want, struct err_text *why)
{
    if (want <= *room)
        return ERR_OK;
    if (*bytes != NULL)
        sodium_memzero(*bytes, *room);
    free(*bytes);
    *bytes = malloc(want);
    *room = *bytes != NULL ? want : 0;
    return *bytes != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory for %zu bytes", want);
}

/* What the head of a part says of itself, before its bytes are read. */
static const char *
head_fault(const struct part_source *source, const uint8_t head[PART_HEAD])
{
    uint64_t plain = get_number(head + AT_PLAIN, 4), packed = get_number(head + AT_PACKED, 4);
    if (head[0] == '\0' || strchr(known_kinds, head[0]) == NULL)
        return "it is of an unknown kind";
    if (get_number(head + AT_NUMBER, 4) != source->number)
        return "it has the number of another part";
    if (plain > PART_MOST || packed > compressBound(PART_MOST))
        return "its length cannot be";
    return NULL;
}

static enum err
unpack(struct part_source *source, size_t packed, size_t plain, struct err_text *why)
{
    uLongf len = plain;
    enum err e = make_room(&source->rows, &source->room, plain > 0 ? plain : 1, why);
    if (e != ERR_OK)
        return e;
    int rc = uncompress(source->rows, &len, source->packed, packed);
    if (rc == Z_MEM_ERROR)
        return err_set(ERR_MEM, why, "out of memory");
    if (rc != Z_OK || len != plain)
        return damaged(source, "it does not unpack", why);
    source->len = plain;
    source->at = 0;
    return ERR_OK;
}

static enum err
read_part(struct part_source *source, struct err_text *why)
{
    uint8_t head[PART_HEAD];
    enum err e = read_exactly(source, head, sizeof head, why);
    if (e != ERR_OK)
        return e;
    const char *what = head_fault(source, head);
    if (what != NULL)
        return damaged(source, what, why);
    size_t packed = (size_t)get_number(head + AT_PACKED, 4);
    e = make_room(&source->packed, &source->packed_room, packed > 0 ? packed : 1, why);
    if (e == ERR_OK)
        e = read_exactly(source, source->packed, packed, why);
    if (e != ERR_OK)
        return e;
    part_check_of(source->check, head, source->packed, packed, source->check);
    if (sodium_memcmp(source->check, head + AT_CHECK, PART_CHECK) != 0)
        return damaged(source, "its checksum does not fit", why);
    e = unpack(source, packed, (size_t)get_number(head + AT_PLAIN, 4), why);
    source->kind = head[0];
    source->number++;
    return e;
}

/* Nothing may follow the end. */
static enum err
check_end(struct part_source *source, struct err_text *why)
{
    uint8_t byte = 0;
    size_t got = 0;
    enum err e = read_some(source, &byte, 1, &got, why);
    source->ended = e == ERR_OK && got == 0 && source->len == 0;
    if (e == ERR_OK && !source->ended)
        e = damaged(source, "something follows its end", why);
    return e == ERR_OK ? ERR_NOT_FOUND : e;
}

static enum err
take_row(struct part_source *source, struct part_row *out, struct err_text *why)
{
    const uint8_t *at = source->rows + source->at;
    size_t left = source->len - source->at;
    size_t key = left >= ROW_LENGTHS ? (size_t)get_number(at, 2) : 0;
    size_t value = left >= ROW_LENGTHS ? (size_t)get_number(at + 2, 4) : 0;
    if (left < ROW_LENGTHS || key > PART_KEY_MOST || key > left - ROW_LENGTHS ||
        value > left - ROW_LENGTHS - key)
        return damaged(source, "a row reaches over its part", why);
    *out = (struct part_row){.kind = source->kind,
                             .key = at + ROW_LENGTHS,
                             .key_len = key,
                             .value = at + ROW_LENGTHS + key,
                             .value_len = value};
    source->at += ROW_LENGTHS + key + value;
    return ERR_OK;
}

enum err
part_next(struct part_source *source, struct part_row *out_row, struct err_text *why)
{
    if (source->ended)
        return ERR_NOT_FOUND;
    while (source->at == source->len) {
        enum err e = read_part(source, why);
        if (e == ERR_OK && source->kind == PART_END)
            e = check_end(source, why);
        if (e != ERR_OK)
            return e;
    }
    return take_row(source, out_row, why);
}

const uint8_t *
part_check(const struct part_source *source)
{
    return source->check;
}

uint64_t
part_bytes(const struct part_source *source)
{
    return source->bytes;
}

void
part_source_free(struct part_source *source)
{
    if (source == NULL)
        return;
    if (source->rows != NULL)
        sodium_memzero(source->rows, source->room);
    if (source->packed != NULL)
        sodium_memzero(source->packed, source->packed_room);
    free(source->rows);
    free(source->packed);
    free(source);
}
