/* row.c - the rows of a store as bytes. */
#include "daemon/store/row.h"

#include <sodium.h>
#include <string.h>

enum {
    AT_CHECK = 0,
    AT_LOG = 4,
    AT_SEQ = 8,
    AT_HELD = 14,
    AT_HASH = 20
};
enum {
    CHECK_SIZE = 4
};

void
put_number(uint8_t *out, uint64_t n, size_t size)
{
    for (size_t i = size; i > 0; i--, n >>= 8)
        out[i - 1] = (uint8_t)n;
}

uint64_t
get_number(const uint8_t *at, size_t size)
{
    uint64_t n = 0;
    for (size_t i = 0; i < size; i++)
        n = n << 8 | at[i];
    return n;
}

void
run_key(uint32_t log, uint64_t seq, uint8_t out[RUN_KEY])
{
    put_number(out, log, 4);
    put_number(out + 4, seq, 8);
}

/* First four bytes of SipHash-2-4: finds what rots, no defence against who can write the file.
 * The place of the row is part of the key, so a row that moved is found too. */
static void
check_of(uint64_t place, const uint8_t *bytes, size_t len, uint8_t out[CHECK_SIZE])
{
    uint8_t key[crypto_shorthash_KEYBYTES] = "________knockbox";
    uint8_t hash[crypto_shorthash_BYTES];
    put_number(key, place, 8);
    (void)crypto_shorthash(hash, bytes, len, key); /* cannot fail */
    memcpy(out, hash, CHECK_SIZE);
}

/* The name's own hash stands for its place. */
static void
value_check(const void *name, size_t name_len, const uint8_t *value, size_t len,
            uint8_t out[CHECK_SIZE])
{
    uint8_t place[CHECK_SIZE];
    check_of(0, name, name_len, place);
    check_of(get_number(place, sizeof place), value, len, out);
}

void
value_seal(const void *name, size_t name_len, uint8_t *value, size_t len)
{
    value_check(name, name_len, value, len, value + len);
}

bool
value_open(const void *name, size_t name_len, const uint8_t *value, size_t len, size_t *out_len)
{
    uint8_t check[CHECK_SIZE];
    if (len < CHECK_SIZE)
        return false;
    *out_len = len - CHECK_SIZE;
    value_check(name, name_len, value, *out_len, check);
    return memcmp(check, value + *out_len, CHECK_SIZE) == 0;
}

size_t
row_pack(const struct row *row, uint8_t out[ROW_MOST])
{
    put_number(out + AT_LOG, row->log, 4);
    put_number(out + AT_SEQ, row->seq, 6);
    put_number(out + AT_HELD, (uint64_t)row->held_ms, 6);
    memcpy(out + AT_HASH, row->hash, HASH_SIZE);
    size_t len = ROW_HEAD;
    if (row->prev != NULL) {
        memcpy(out + len, row->prev, HASH_SIZE);
        len += HASH_SIZE;
    }
    memcpy(out + len, row->bytes, row->len);
    len += row->len;
    check_of(row->lsn, out + AT_LOG, len - AT_LOG, out + AT_CHECK);
    return len;
}

bool
row_log(const uint8_t *value, size_t len, uint32_t *out_log)
{
    if (len < ROW_HEAD)
        return false;
    *out_log = (uint32_t)get_number(value + AT_LOG, 4);
    return true;
}

bool
row_parts(uint64_t lsn, const uint8_t *value, size_t len, bool partial, struct row *out_row)
{
    size_t head = ROW_HEAD + (partial ? (size_t)HASH_SIZE : 0);
    if (len < head)
        return false;
    *out_row = (struct row){
        .lsn = lsn,
        .log = (uint32_t)get_number(value + AT_LOG, 4),
        .seq = get_number(value + AT_SEQ, 6),
        .held_ms = (int64_t)get_number(value + AT_HELD, 6),
        .hash = value + AT_HASH,
        .prev = partial ? value + ROW_HEAD : NULL,
        .bytes = value + head,
        .len = len - head,
    };
    return true;
}

bool
row_unpack(uint64_t lsn, const uint8_t *value, size_t len, bool partial, struct row *out_row)
{
    uint8_t check[CHECK_SIZE];
    if (len < ROW_HEAD)
        return false;
    check_of(lsn, value + AT_LOG, len - AT_LOG, check);
    return memcmp(check, value + AT_CHECK, CHECK_SIZE) == 0 &&
           row_parts(lsn, value, len, partial, out_row);
}

/* ---- logs */

enum {
    LOG_EPOCH = 0,
    LOG_MARK = 4,
    LOG_FLAGS = 12,
    LOG_SEQ = 16,
    LOG_HASH = 24,
    LOG_CHECK = 56
};
enum {
    FLAG_PARTIAL = 1,
    FLAG_OWN = 2
};

/* The check covers the row without itself; it is zero meanwhile. */
static void
log_check(const uint8_t *row, size_t len, uint8_t out[CHECK_SIZE])
{
    uint8_t copy[LOG_MOST];
    memcpy(copy, row, len);
    memset(copy + LOG_CHECK, 0, CHECK_SIZE);
    check_of(0, copy, len, out);
}

size_t
log_pack(const struct log_mark *mark, uint8_t out[LOG_MOST])
{
    size_t site_len = strlen(mark->site), len = LOG_HEAD + site_len;
    put_number(out + LOG_EPOCH, mark->epoch, 4);
    memcpy(out + LOG_MARK, mark->mark, MARK_SIZE);
    put_number(out + LOG_FLAGS, (mark->partial ? FLAG_PARTIAL : 0u) | (mark->own ? FLAG_OWN : 0u),
               4);
    put_number(out + LOG_SEQ, mark->seq, 8);
    memcpy(out + LOG_HASH, mark->hash, HASH_SIZE);
    memcpy(out + LOG_HEAD, mark->site, site_len);
    log_check(out, len, out + LOG_CHECK);
    return len;
}

bool
log_unpack(const uint8_t *value, size_t len, struct log_mark *out_mark)
{
    uint8_t check[CHECK_SIZE];
    if (len <= LOG_HEAD || len >= LOG_MOST)
        return false;
    log_check(value, len, check);
    if (memcmp(check, value + LOG_CHECK, CHECK_SIZE) != 0)
        return false;
    uint64_t flags = get_number(value + LOG_FLAGS, 4);
    if ((flags & ~(uint64_t)(FLAG_PARTIAL | FLAG_OWN)) != 0 ||
        memchr(value + LOG_HEAD, '\0', len - LOG_HEAD) != NULL)
        return false;
    memset(out_mark, 0, sizeof *out_mark);
    out_mark->epoch = (uint32_t)get_number(value + LOG_EPOCH, 4);
    memcpy(out_mark->mark, value + LOG_MARK, MARK_SIZE);
    out_mark->partial = (flags & FLAG_PARTIAL) != 0;
    out_mark->own = (flags & FLAG_OWN) != 0;
    out_mark->seq = get_number(value + LOG_SEQ, 8);
    memcpy(out_mark->hash, value + LOG_HASH, HASH_SIZE);
    memcpy(out_mark->site, value + LOG_HEAD, len - LOG_HEAD);
    return true;
}

void
chain_link(const uint8_t prev[HASH_SIZE], const uint8_t *bytes, size_t len,
           uint8_t out_hash[HASH_SIZE])
{
    crypto_generichash_state state;
    (void)crypto_generichash_init(&state, NULL, 0, HASH_SIZE); /* these cannot fail */
    (void)crypto_generichash_update(&state, prev, HASH_SIZE);
    (void)crypto_generichash_update(&state, bytes, len);
    (void)crypto_generichash_final(&state, out_hash, HASH_SIZE);
}

const char *
chain_fault(const struct chain_end *end, const struct row *row)
{
    uint8_t hash[HASH_SIZE];
    bool follows = row->seq == end->seq + 1;
    if (row->prev == NULL && !follows)
        return "does not follow the one before it";
    if (row->prev != NULL && follows && memcmp(row->prev, end->hash, HASH_SIZE) != 0)
        return "hangs on another record than the one before it";
    chain_link(row->prev != NULL ? row->prev : end->hash, row->bytes, row->len, hash);
    return memcmp(hash, row->hash, HASH_SIZE) == 0 ? NULL : "its bytes do not fit its hash";
}

void
chain_follow(struct chain_end *end, const struct row *row)
{
    if (row->seq <= end->seq)
        return;
    end->seq = row->seq;
    memcpy(end->hash, row->hash, HASH_SIZE);
}

/* ---- the id inside the bytes (protobuf wire format, encoding.md: tag = field << 3 | type) */

struct reader {
    const uint8_t *at, *end;
};

static bool
read_varint(struct reader *r, uint64_t *out)
{
    uint64_t n = 0;
    for (unsigned shift = 0; r->at < r->end && shift < 64; shift += 7) {
        uint8_t byte = *r->at++;
        n |= (uint64_t)(byte & 0x7F) << shift;
        if (byte < 0x80) {
            *out = n;
            return true;
        }
    }
    return false;
}

static bool
skip(struct reader *r, uint64_t n)
{
    if (n > (uint64_t)(r->end - r->at))
        return false;
    r->at += n;
    return true;
}

/* Passes over one field; *out_len is the length of a length-delimited one, which ends at r->at. */
static bool
read_field(struct reader *r, uint64_t *out_tag, uint64_t *out_len)
{
    uint64_t n = 0;
    *out_len = 0;
    if (!read_varint(r, out_tag))
        return false;
    switch (*out_tag & 7) {
    case 0:
        return read_varint(r, &n);
    case 1:
        return skip(r, 8);
    case 2:
        return read_varint(r, out_len) && skip(r, *out_len);
    case 5:
        return skip(r, 4);
    default:
        return false;
    }
}

bool
record_id_in(const uint8_t *bytes, size_t len, uint8_t out_id[ID_SIZE])
{
    struct reader r = {bytes, bytes + len};
    uint64_t tag = 0, n = 0;
    while (r.at < r.end && read_field(&r, &tag, &n)) {
        if (tag == (5 << 3 | 2) && n == ID_SIZE) {
            memcpy(out_id, r.at - ID_SIZE, ID_SIZE);
            return true;
        }
    }
    return false;
}
