/* test_golden.c - every record kind as version 1 stored it is still read, word for word. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/record/record.h"

static struct arena arena;

static size_t
read_file(const char *word, const char *end, uint8_t *bytes, size_t size)
{
    char path[512];
    snprintf(path, sizeof path, TEST_SOURCE "/tests/golden/v1/%s.%s", word, end);
    FILE *file = fopen(path, "rb");
    cr_assert(file != NULL, "%s", path);
    size_t n = fread(bytes, 1, size - 1, file);
    fclose(file);
    bytes[n] = '\0';
    return n;
}

static void
expect_golden(const struct kind *kind)
{
    static uint8_t bytes[RECORD_BIG_MAX + 1];
    static uint8_t again[RECORD_BIG_MAX];
    static uint8_t json[RECORD_BIG_MAX + 1];
    static const uint8_t hash[HASH_SIZE] = {0xAB};
    struct err_text why = {.s = ""};
    Knockbox__Record *record = NULL;
    size_t again_len = 0;
    json_t *line = NULL;
    arena_reset(&arena);
    size_t len = read_file(kind->word, "bin", bytes, sizeof bytes);
    (void)read_file(kind->word, "json", json, sizeof json);
    cr_assert(record_decode(bytes, len, true, &arena, &record, &why) == ERR_OK, "%s: %s",
              kind->word, why.s);
    cr_expect(eq(u32, record->body_case, kind->number));
    cr_assert(codec_encode(&record->base, again, sizeof again, &again_len, &why) == ERR_OK);
    cr_expect(again_len == len && memcmp(bytes, again, len) == 0, "%s", kind->word);
    cr_assert(record_to_json(record, hash, 1772574301000, &line, &why) == ERR_OK);
    char *text = json_dumps(line, JSON_INDENT(1));
    cr_expect(eq(str, text, (char *)json));
    free(text);
    json_decref(line);
}

Test(golden, every_kind_of_version_1_is_read_and_written_as_it_was)
{
    unsigned n = 0;
    const struct kind *all = kinds(&n);
    cr_assert(arena_init(&arena, ARENA_BIG_RECORD, NULL) == ERR_OK);
    for (unsigned i = 0; i < n; i++)
        expect_golden(&all[i]);
    arena_done(&arena);
}
