/* make_golden.c FOLDER - one record of each kind as KIND.bin and KIND.json; leaves files alone that
 * are there, because what was released never changes. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/record/record.h"
#include "proto/when.h"
#include "tests/record/sample.h"

static int
fail(const char *what, const char *words)
{
    fprintf(stderr, "make_golden: %s: %s\n", what, words);
    return EXIT_FAILURE;
}

/* Fills what a daemon knows. */
static void
fill_envelope(Knockbox__Record *record)
{
    static uint8_t mark[8] = {1, 2, 3, 4, 5, 6, 7, 8};
    record->has_epoch = record->has_mark = record->has_seq = record->has_at_offset_min = 1;
    record->has_logged_ms = record->has_boot = record->has_mono_ms = record->has_clock = 1;
    record->epoch = 1;
    record->seq = (uint64_t)record->body_case;
    record->mark.data = record->boot.data = mark;
    record->mark.len = record->boot.len = sizeof mark;
    record->at_offset_min = 60;
    record->zone = "Europe/London";
    record->logged_ms = record->at_ms + 1500;
    record->mono_ms = 123456;
    record->clock = KNOCKBOX__CLOCK__CLOCK_SYNCHRONISED;
    record->via = "quayside";
}

static int
write_file(const char *folder, const char *word, const char *end, const void *bytes, size_t len)
{
    char path[512];
    snprintf(path, sizeof path, "%s/%s.%s", folder, word, end);
    if (access(path, F_OK) == 0)
        return EXIT_SUCCESS;
    FILE *file = fopen(path, "wx");
    if (file == NULL)
        return fail(path, "cannot be written");
    size_t n = fwrite(bytes, 1, len, file);
    return fclose(file) == 0 && n == len ? EXIT_SUCCESS : fail(path, "not written");
}

static int
write_kind(const char *folder, const struct kind *kind, struct arena *arena)
{
    static uint8_t bytes[RECORD_BIG_MAX];
    static const uint8_t hash[HASH_SIZE] = {0xAB};
    struct err_text why = {.s = ""};
    Knockbox__Record *record = NULL;
    size_t len = 0;
    json_t *out = NULL;
    json_t *line = sample_line(kind);
    arena_reset(arena);
    enum err e = record_from_json(line, arena, &record, &why);
    json_decref(line);
    if (e != ERR_OK)
        return fail(kind->word, why.s);
    fill_envelope(record);
    if (codec_encode(&record->base, bytes, sizeof bytes, &len, &why) != ERR_OK ||
        record_to_json(record, hash, 1772574301000, &out, &why) != ERR_OK)
        return fail(kind->word, why.s);
    char *text = json_dumps(out, JSON_INDENT(1));
    int status = write_file(folder, kind->word, "bin", bytes, len);
    if (status == EXIT_SUCCESS)
        status = write_file(folder, kind->word, "json", text, strlen(text));
    free(text);
    json_decref(out);
    return status;
}

int
main(int argc, char **argv)
{
    unsigned n = 0;
    const struct kind *all = kinds(&n);
    struct arena arena;
    int status = EXIT_SUCCESS;
    if (argc != 2)
        return fail("usage", "make_golden FOLDER");
    if (arena_init(&arena, ARENA_BIG_RECORD, NULL) != ERR_OK)
        return fail("memory", "none");
    for (unsigned i = 0; i < n && status == EXIT_SUCCESS; i++)
        status = write_kind(argv[1], &all[i], &arena);
    arena_done(&arena);
    return status;
}
