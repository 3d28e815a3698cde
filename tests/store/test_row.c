/* test_row.c - rows as bytes: there and back, and what does not fit. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>
#include "daemon/store/kv_page.h"
#include "daemon/store/row.h"

static const uint8_t hash[HASH_SIZE] = {1, 2, 3}, prev[HASH_SIZE] = {4, 5, 6};
static uint8_t out[ROW_MOST];

static struct row
sample(bool partial)
{
    return (struct row){.lsn = 258,
                        .log = 3,
                        .seq = 1000000000000, /* the most there can be */
                        .held_ms = 1772574000000,
                        .hash = hash,
                        .prev = partial ? prev : NULL,
                        .bytes = (const uint8_t *)"abc",
                        .len = 3};
}

Test(row, a_record_comes_back_as_it_was_whole_and_in_part)
{
    for (int partial = 0; partial < 2; partial++) {
        struct row row = sample(partial), back;
        uint32_t log = 0;
        size_t len = row_pack(&row, out);
        cr_assert_eq(len, (partial ? 84 : 52) + 3);
        cr_assert(row_log(out, len, &log));
        cr_assert(eq(u32, log, 3));
        cr_assert(row_unpack(258, out, len, partial, &back));
        cr_assert(eq(u64, back.seq, row.seq));
        cr_assert(eq(i64, back.held_ms, row.held_ms));
        cr_assert_eq(back.len, 3);
        cr_assert_arr_eq(back.bytes, "abc", 3);
        cr_assert_arr_eq(back.hash, hash, HASH_SIZE);
        cr_assert_eq(back.prev == NULL, !partial);
    }
}

Test(row, each_flipped_bit_and_each_other_length_and_place_is_noticed)
{
    struct row row = sample(false), back;
    size_t len = row_pack(&row, out);
    for (size_t bit = 0; bit < len * 8; bit++) {
        out[bit / 8] ^= (uint8_t)(1 << bit % 8);
        cr_assert_not(row_unpack(258, out, len, false, &back), "bit %zu", bit);
        out[bit / 8] ^= (uint8_t)(1 << bit % 8);
    }
    for (size_t n = 0; n < len; n++)
        cr_assert_not(row_unpack(258, out, n, false, &back));
    cr_assert_not(row_unpack(259, out, len, false, &back)); /* the row of another number */
    cr_assert(row_unpack(258, out, len, false, &back));
}

Test(row, a_log_comes_back_as_it_was_and_each_flipped_bit_is_noticed)
{
    struct log_mark mark = {.site = "quayside", .epoch = 7, .seq = 99, .own = true}, back;
    uint8_t bytes[LOG_MOST];
    memcpy(mark.hash, hash, HASH_SIZE);
    size_t len = log_pack(&mark, bytes);
    cr_assert(log_unpack(bytes, len, &back));
    cr_assert_eq(memcmp(&mark, &back, sizeof mark), 0);
    for (size_t bit = 0; bit < len * 8; bit++) {
        bytes[bit / 8] ^= (uint8_t)(1 << bit % 8);
        cr_assert_not(log_unpack(bytes, len, &back), "bit %zu", bit);
        bytes[bit / 8] ^= (uint8_t)(1 << bit % 8);
    }
}

/* Protocol Buffers' encoding: tag = field << 3 | type; 0x2A is field 5, bytes. */
Test(row, the_id_is_found_behind_fields_of_each_type_and_not_in_broken_bytes)
{
    static const struct {
        const char *name, *bytes;
        size_t len;
        bool found;
    } rows[] = {
        {"first",
         "\x2A\x10"
         "0123456789abcdef",
         18, true},
        {"after a varint",
         "\x10\x96\x01\x2A\x10"
         "0123456789abcdef",
         21, true},
        {"after bytes",
         "\x0A\x02xy\x2A\x10"
         "0123456789abcdef",
         22, true},
        {"after 8 and 4 fixed",
         "\x09"
         "12345678\x0D"
         "1234\x2A\x10"
         "0123456789abcdef",
         32, true},
        {"of another length",
         "\x2A\x0F"
         "0123456789abcde",
         17, false},
        {"cut",
         "\x2A\x10"
         "0123456789",
         12, false},
        {"inside other bytes",
         "\x0A\x12\x2A\x10"
         "0123456789abcdef",
         20, false},
        {"after a group",
         "\x0B\x2A\x10"
         "0123456789abcdef",
         19, false},
        {"after a varint without end", "\x10\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF", 12,
         false},
        {"after a length past the end", "\x0A\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\x7F\x2A", 11, false},
        {"nothing", "", 0, false},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        uint8_t id[ID_SIZE] = {0};
        bool found = record_id_in((const uint8_t *)rows[i].bytes, rows[i].len, id);
        cr_expect_eq(found, rows[i].found, "%s", rows[i].name);
        if (found)
            cr_expect_arr_eq(id, "0123456789abcdef", ID_SIZE, "%s", rows[i].name);
    }
}

/* Any bytes at all: no read outside the page (the address sanitizer tells), an answer or words. */
Test(row, a_page_of_random_bytes_is_taken_apart_safely)
{
    static uint8_t bytes[PAGE_SIZE];
    uint64_t x = 20260303;
    for (int round = 0; round < 2000; round++) {
        struct page page;
        struct page_node node;
        for (size_t i = 0; i < sizeof bytes; i++) {
            x = x * 6364136223846793005u + 1442695040888963407u;
            bytes[i] = (uint8_t)(x >> 56);
        }
        memset(bytes, 0, 12);
        bytes[0] = 5;
        bytes[10] = round % 2 != 0 ? 2 : 1;
        bytes[13] = round % 16; /* lower bound under 4096 */
        bytes[12] &= 0xFE;
        bytes[15] = 16;
        bytes[14] = 0; /* upper bound: the end */
        if (round % 4 < 2)
            memcpy(bytes + 14, bytes + 12, 2);
        if (page_open(bytes, 5, round % 2 != 0, &page) != NULL)
            continue;
        for (unsigned i = 0; i < page.n; i++) {
            if (page_node(&page, i, &node) != NULL)
                continue;
            cr_assert(node.key + node.key_len <= bytes + PAGE_SIZE);
            cr_assert(node.value == NULL || node.value + node.value_len <= bytes + PAGE_SIZE);
        }
    }
}
