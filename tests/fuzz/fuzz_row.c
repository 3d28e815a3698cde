/* fuzz_row.c - bytes of a disk that may have rotted: rows of a store and pages of its file.
 *
 * The first byte says what the rest is taken for. What is taken packs again to the same bytes.
 */
#include <stdlib.h>
#include <string.h>

#include "daemon/store/kv_page.h"
#include "daemon/store/row.h"
#include "tests/fuzz/fuzz.h"

static void
try_row(const uint8_t *data, size_t size, bool partial)
{
    static uint8_t again[ROW_MOST];
    struct row row;
    uint32_t log = 0;
    if (size > sizeof again || !row_log(data, size, &log) ||
        !row_unpack(7, data, size, partial, &row))
        return;
    if (row_pack(&row, again) != size || memcmp(again, data, size) != 0)
        abort();
}

/* A row of these bytes, whose check fits. */
static void
try_packed(const uint8_t *data, size_t size, bool partial)
{
    static uint8_t packed[ROW_MOST];
    struct row row = {.lsn = 7, .log = 2, .seq = 5, .held_ms = 9}, back;
    if (size < 2 * HASH_SIZE || size - 2 * HASH_SIZE > RECORD_BIG_MAX)
        return;
    row.hash = data;
    row.prev = partial ? data + HASH_SIZE : NULL;
    row.bytes = data + (size_t)2 * HASH_SIZE;
    row.len = size - (size_t)2 * HASH_SIZE;
    size_t len = row_pack(&row, packed);
    if (!row_unpack(7, packed, len, partial, &back) || back.len != row.len ||
        memcmp(back.bytes, row.bytes, row.len) != 0 || back.seq != 5)
        abort();
    packed[data[0] % len] ^= (uint8_t)(data[1] | 1);
    if (row_unpack(7, packed, len, partial, &back))
        abort(); /* a flipped bit that nobody noticed */
}

static void
try_log(const uint8_t *data, size_t size)
{
    uint8_t again[LOG_MOST];
    struct log_mark mark;
    if (!log_unpack(data, size, &mark))
        return;
    if (log_pack(&mark, again) != size || memcmp(again, data, size) != 0)
        abort();
}

static void
try_value(const uint8_t *data, size_t size)
{
    uint8_t id[ID_SIZE];
    size_t len = 0;
    if (value_open("generation", 10, data, size, &len) && len + VALUE_CHECK != size)
        abort();
    (void)record_id_in(data, size, id);
}

static void
touch(const uint8_t *at, size_t len)
{
    static volatile uint8_t seen;
    for (size_t i = 0; i < len; i++)
        seen = (uint8_t)(seen ^ at[i]);
}

static void
try_page(const uint8_t *data, size_t size, bool leaf)
{
    static uint8_t bytes[PAGE_SIZE];
    struct page page;
    memset(bytes, 0, sizeof bytes);
    memcpy(bytes, data, size < sizeof bytes ? size : sizeof bytes);
    struct page_head heads[2] = {page_head_of(bytes), page_head_of(bytes + PAGE_HEAD_BYTES)};
    (void)page_heads_fault(heads);
    if (page_open(bytes, 3, leaf, &page) != NULL)
        return;
    for (unsigned i = 0; i < page.n; i++) {
        struct page_node node;
        if (page_node(&page, i, &node) != NULL)
            continue;
        touch(node.key, node.key_len);
        if (node.value != NULL)
            touch(node.value, node.value_len);
    }
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size == 0)
        return 0;
    const uint8_t *rest = data + 1;
    size--;
    switch (data[0] % 6) {
    case 0:
    case 1:
        try_row(rest, size, data[0] % 6 == 1);
        try_packed(rest, size, data[0] % 6 == 1);
        break;
    case 2:
        try_log(rest, size);
        break;
    case 3:
        try_value(rest, size);
        break;
    default:
        try_page(rest, size, data[0] % 6 == 5);
        break;
    }
    return 0;
}
