/* fuzz_json.c - a line of JSON: whatever becomes a record prints a line that becomes the same. */
#include <stdlib.h>

#include "daemon/record/record.h"
#include "proto/json.h"
#include "tests/fuzz/fuzz.h"

static void
expect_same_again(const json_t *line, struct arena *arena)
{
    struct err_text why = {.s = ""};
    Knockbox__Record *record = NULL;
    Knockbox__Record *again = NULL;
    json_t *out = NULL;
    if (record_from_json(line, arena, &record, &why) != ERR_OK)
        return;
    if (record_to_json(record, NULL, -1, &out, &why) != ERR_OK)
        abort();
    if (record_from_json(out, arena, &again, &why) != ERR_OK || !record_same(record, again))
        abort();
    json_decref(out);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct arena arena; /* kept: making it anew costs more than what is tried */
    struct err_text why = {.s = ""};
    json_t *line = NULL;
    if (arena.block == NULL && arena_init(&arena, 4 * ARENA_BIG_RECORD, &why) != ERR_OK)
        return 0;
    arena_reset(&arena);
    if (json_parse((const char *)data, size, &line, &why) == ERR_OK)
        expect_same_again(line, &arena);
    json_decref(line);
    return 0;
}
