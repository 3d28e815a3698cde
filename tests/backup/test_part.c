/* test_part.c - a file in parts: what is cut, changed, moved or put behind it is found.
 *
 * Source of the format: docs/store-format.md, "A backup". That each change is found is the promise
 * of that page; common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "daemon/backup/part.h"

static const char magic[PART_MAGIC] = "test of parts\n";

static int
memory_file(void)
{
    int fd = memfd_create("parts", MFD_CLOEXEC);
    cr_assert(fd >= 0);
    return fd;
}

static void
put_text(struct part_sink *sink, enum part_kind kind, const char *key, const char *value)
{
    struct part_row row = {.kind = kind,
                           .key = (const uint8_t *)key,
                           .key_len = strlen(key),
                           .value = (const uint8_t *)value,
                           .value_len = strlen(value)};
    cr_assert(part_put(sink, &row, NULL) == ERR_OK);
}

/* Three rows in two parts, and the end. *out_len: bytes of it. */
static uint8_t *
small_file(size_t *out_len)
{
    int fd = memory_file();
    struct part_sink *sink = NULL;
    uint8_t check[PART_CHECK];
    cr_assert(part_sink_new(fd, "a file", magic, &sink, NULL) == ERR_OK);
    put_text(sink, PART_ABOUT, "made", "at noon");
    put_text(sink, PART_NOTES, "one", "1");
    put_text(sink, PART_NOTES, "two", "");
    cr_assert(part_finish(sink, check, NULL) == ERR_OK);
    part_sink_free(sink);
    off_t len = lseek(fd, 0, SEEK_END);
    uint8_t *bytes = malloc((size_t)len);
    cr_assert(pread(fd, bytes, (size_t)len, 0) == len);
    close(fd);
    *out_len = (size_t)len;
    return bytes;
}

/* What reading the bytes to their end says; *out_rows read before. */
static enum err
read_bytes(const uint8_t *bytes, size_t len, unsigned *out_rows, struct err_text *why)
{
    int fd = memory_file();
    struct part_source *source = NULL;
    struct part_row row;
    *out_rows = 0;
    cr_assert(write(fd, bytes, len) == (ssize_t)len);
    cr_assert(lseek(fd, 0, SEEK_SET) == 0);
    enum err e = part_source_new(fd, "a file", magic, &source, why);
    while (e == ERR_OK && (e = part_next(source, &row, why)) == ERR_OK)
        (*out_rows)++;
    part_source_free(source);
    close(fd);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

Test(part, what_was_written_is_read_in_order)
{
    size_t len = 0;
    unsigned rows = 0;
    uint8_t *bytes = small_file(&len);
    cr_expect(eq(int, read_bytes(bytes, len, &rows, NULL), ERR_OK));
    cr_expect(eq(uint, rows, 3));
    free(bytes);
}

Test(part, every_flipped_bit_is_found)
{
    size_t len = 0;
    unsigned rows = 0;
    uint8_t *bytes = small_file(&len);
    for (size_t bit = 0; bit < len * 8; bit++) {
        bytes[bit / 8] ^= (uint8_t)(1u << (bit % 8));
        enum err e = read_bytes(bytes, len, &rows, NULL);
        cr_expect(e == ERR_DAMAGED || e == ERR_FORMAT, "bit %zu: %d", bit, (int)e);
        bytes[bit / 8] ^= (uint8_t)(1u << (bit % 8));
    }
    free(bytes);
}

Test(part, every_cut_is_found)
{
    size_t len = 0;
    unsigned rows = 0;
    uint8_t *bytes = small_file(&len);
    for (size_t n = 0; n < len; n++) {
        enum err e = read_bytes(bytes, n, &rows, NULL);
        cr_expect(e == ERR_DAMAGED || e == ERR_FORMAT, "cut to %zu of %zu: %d", n, len, (int)e);
    }
    free(bytes);
}

Test(part, what_stands_behind_the_end_is_found)
{
    size_t len = 0;
    unsigned rows = 0;
    uint8_t *bytes = small_file(&len);
    bytes = realloc(bytes, len * 2);
    memcpy(bytes + len, bytes, len);
    cr_expect(eq(int, read_bytes(bytes, len + 1, &rows, NULL), ERR_DAMAGED));
    cr_expect(eq(int, read_bytes(bytes, len * 2, &rows, NULL), ERR_DAMAGED));
    free(bytes);
}

/* The head is 24 bytes, a part's head 45, its packed length big-endian at byte 9. */
static size_t
length_of_part(const uint8_t *part)
{
    return 45 + ((size_t)part[9] << 24 | (size_t)part[10] << 16 | (size_t)part[11] << 8 | part[12]);
}

Test(part, a_part_that_was_taken_out_or_moved_is_found)
{
    size_t len = 0;
    unsigned rows = 0;
    uint8_t *bytes = small_file(&len), *other = malloc(len);
    size_t first = length_of_part(bytes + 24), second = length_of_part(bytes + 24 + first);
    memcpy(other, bytes, 24);
    memcpy(other + 24, bytes + 24 + first, len - 24 - first); /* without the first */
    cr_expect(eq(int, read_bytes(other, len - first, &rows, NULL), ERR_DAMAGED));
    memcpy(other + 24, bytes + 24 + first, second); /* the two the other way round */
    memcpy(other + 24 + second, bytes + 24, first);
    memcpy(other + 24 + first + second, bytes + 24 + first + second, len - 24 - first - second);
    cr_expect(eq(int, read_bytes(other, len, &rows, NULL), ERR_DAMAGED));
    free(bytes);
    free(other);
}

Test(part, of_another_kind_or_a_newer_release_is_said_so)
{
    size_t len = 0;
    unsigned rows = 0;
    struct err_text why = {.s = ""};
    uint8_t *bytes = small_file(&len);
    bytes[0] = 'T';
    cr_expect(eq(int, read_bytes(bytes, len, &rows, &why), ERR_FORMAT));
    cr_expect(strstr(why.s, "not a file of this kind") != NULL, "%s", why.s);
    bytes[0] = 't';
    bytes[19] = bytes[23] = 2; /* format, and oldest that may read it */
    cr_expect(eq(int, read_bytes(bytes, len, &rows, &why), ERR_FORMAT));
    cr_expect(strstr(why.s, "use the newer release") != NULL, "%s", why.s);
    free(bytes);
}

Test(part, large_rows_and_many_rows_come_back)
{
    int fd = memory_file();
    struct part_sink *sink = NULL;
    struct part_source *source = NULL;
    uint8_t check[PART_CHECK];
    size_t large = 3 << 20;
    uint8_t *bytes = malloc(large);
    uint32_t x = 1; /* Numerical Recipes' LCG: bytes that do not pack */
    for (size_t i = 0; i < large; i++)
        bytes[i] = (uint8_t)((x = x * 1664525 + 1013904223) >> 24);
    cr_assert(part_sink_new(fd, "a file", magic, &sink, NULL) == ERR_OK);
    for (size_t i = 0; i < 5000; i++) {
        struct part_row row = {PART_RECORDS, (uint8_t *)&i, bytes + i, sizeof i, 300};
        cr_assert(part_put(sink, &row, NULL) == ERR_OK);
    }
    struct part_row row = {PART_OUTBOX, (const uint8_t *)"big", bytes, 3, large}, got;
    cr_assert(part_put(sink, &row, NULL) == ERR_OK);
    cr_assert(part_finish(sink, check, NULL) == ERR_OK);
    part_sink_free(sink);
    cr_assert(lseek(fd, 0, SEEK_SET) == 0);
    cr_assert(part_source_new(fd, "a file", magic, &source, NULL) == ERR_OK);
    for (size_t i = 0; i < 5000; i++) {
        cr_assert(part_next(source, &got, NULL) == ERR_OK);
        cr_assert(memcmp(got.key, &i, sizeof i) == 0 && got.value_len == 300 &&
                  memcmp(got.value, bytes + i, 300) == 0);
    }
    cr_assert(part_next(source, &got, NULL) == ERR_OK);
    cr_expect(got.value_len == large && memcmp(got.value, bytes, large) == 0);
    cr_expect(eq(int, part_next(source, &got, NULL), ERR_NOT_FOUND));
    cr_expect(memcmp(part_check(source), check, PART_CHECK) == 0);
    part_source_free(source);
    free(bytes);
    close(fd);
}
