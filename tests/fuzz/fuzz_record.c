/* fuzz_record.c - bytes of a peer: whatever passes the checks can be printed, and what is printed
 * can be read and printed again. Fields of a later version are not printed. */
#include <stdlib.h>
#include <string.h>

#include "daemon/record/record.h"
#include "proto/json.h"
#include "proto/spelling.h"
#include "tests/fuzz/fuzz.h"

/* The body as JSON; instants in UTC. */
static json_t *
body_of(const Knockbox__Record *record)
{
    struct err_text why = {.s = ""};
    json_t *object = json_object();
    if (json_from_message(record_body(record), 0, object, &why) != ERR_OK)
        abort();
    return object;
}

static void
expect_same_again(const Knockbox__Record *record, struct arena *arena)
{
    struct err_text why = {.s = ""};
    Knockbox__Record *again = NULL;
    json_t *line = NULL;
    if (record_to_json(record, NULL, -1, &line, &why) != ERR_OK)
        abort();
    enum err e = record_from_json(line, arena, &again, &why);
    json_decref(line);
    if (e != ERR_OK && record->body_case == KNOCKBOX__RECORD__BODY_SITE_)
        return; /* this machine may not know the zone */
    if (e != ERR_OK)
        abort();
    json_t *body = body_of(record);
    json_t *body_again = body_of(again);
    if (!json_equal(body, body_again))
        abort();
    json_decref(body);
    json_decref(body_again);
}

/* The walk over the bytes finds what packing again finds. */
static void
expect_spelling(const uint8_t *data, size_t size, const Knockbox__Record *record)
{
    static uint8_t again[2 * RECORD_BIG_MAX];
    size_t n = protobuf_c_message_get_packed_size(&record->base);
    bool same = n == size && protobuf_c_message_pack(&record->base, again) == size &&
                memcmp(again, data, size) == 0;
    if (spelling_good(&knockbox__record__descriptor, data, size) != same)
        abort();
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct arena arena; /* kept: making it anew costs more than what is tried */
    struct err_text why = {.s = ""};
    Knockbox__Record *record = NULL;
    if (arena.block == NULL && arena_init(&arena, ARENA_BIG_RECORD, &why) != ERR_OK)
        return 0;
    arena_reset(&arena);
    if (record_decode(data, size, false, &arena, &record, &why) == ERR_OK)
        expect_spelling(data, size, record);
    arena_reset(&arena);
    if (record_decode(data, size, true, &arena, &record, &why) == ERR_OK &&
        record_body(record) != NULL)
        expect_same_again(record, &arena);
    return 0;
}
