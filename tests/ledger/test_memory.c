/* test_memory.c - memory is short: each allocation of the ledger fails in turn, and once it is there
 * again the books are those of a ledger that never lacked any. The records are those of the example
 * month (tests/data/example-month). Common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/ledger/ledger.h"
#include "daemon/record/record.h"
#include "tests/fuzz/desk.h"
#include "tests/fuzz/lack.h"

enum {
    LINES_MOST = 120, /* of each file */
    STEP = 1,
    EACH_MOST = 150, /* beyond, one of ever more */
    CALLS_MOST = 2000000
};

static struct arena arena;

static void
append_line(struct desk *desk, const char *text)
{
    struct err_text why = {.s = ""};
    struct store_txn *txn = NULL;
    struct stored stored;
    Knockbox__Record *record = NULL;
    json_t *line = json_loads(text, 0, NULL);
    uint8_t id[16];
    arena_reset(&arena);
    cr_assert(record_from_json(line, &arena, &record, &why) == ERR_OK, "%s", why.s);
    const char *site = record->site != NULL ? record->site : "kitchen";
    if (!record->has_id) {
        clock_new_id(&desk->clock, id);
        record->has_id = true;
        record->id = (ProtobufCBinaryData){sizeof id, id};
    }
    if (!record->has_at_ms)
        record->at_ms = desk->now_ms;
    if (!record->has_logged_ms)
        record->logged_ms = record->at_ms;
    record->has_at_ms = record->has_logged_ms = true;
    cr_assert(store_begin(desk->store, &txn, &why) == ERR_OK, "%s", why.s);
    cr_assert(store_append(txn, site, record, &stored, &why) == ERR_OK, "%s", why.s);
    cr_assert(store_commit(&txn, &why) == ERR_OK, "%s", why.s);
    json_decref(line);
}

static void
append_file(struct desk *desk, const char *name)
{
    char path[512], *line = NULL;
    size_t room = 0;
    snprintf(path, sizeof path, "%s/example-month/%s", TEST_DATA, name);
    FILE *file = fopen(path, "r");
    cr_assert(file != NULL, "%s", path);
    for (int i = 0; i < LINES_MOST && getline(&line, &room, file) > 0; i++)
        append_line(desk, line);
    fclose(file);
    free(line);
}

static void
fill(struct desk *desk)
{
    desk_open(desk, "kitchen");
    append_file(desk, "catalogue.jsonl");
    append_file(desk, "records.jsonl");
}

/* From a fresh ledger to its digest; what fails is closed and tried again by the caller. */
static enum err
fold(struct desk *desk, bool rebuild, uint8_t digest[32])
{
    struct ledger *ledger = NULL;
    uint64_t records = 0;
    enum err e = ledger_open(desk->store, &ledger, NULL);
    if (e == ERR_OK)
        e = rebuild ? ledger_rebuild(ledger, &records, NULL) : ledger_catch_up(ledger, NULL);
    if (e == ERR_OK)
        e = ledger_digest(ledger, digest, NULL);
    ledger_close(ledger);
    return e;
}

/* The allocations of one fold from nothing, one after the other, then ever fewer of them. */
Test(memory, each_allocation_of_the_ledger_may_fail_and_the_books_are_the_same, .timeout = 100)
{
    struct desk desk;
    uint8_t clean[32], digest[32];
    unsigned tried = 0;
    cr_assert(arena_init(&arena, ARENA_BIG_RECORD, NULL) == ERR_OK);
    fill(&desk);
    cr_assert(fold(&desk, true, clean) == ERR_OK);
    bool failed = true;
    for (unsigned n = 1; failed; n += n < EACH_MOST ? STEP : n / 20) {
        cr_assert(n < CALLS_MOST);
        lack_at(n);
        enum err e = fold(&desk, true, digest);
        failed = lack_end();
        tried++;
        cr_expect(e == ERR_OK || e == ERR_MEM, "allocation %u: error %d", n, (int)e);
        if (e == ERR_OK)
            cr_expect(memcmp(clean, digest, sizeof clean) == 0, "allocation %u", n);
        cr_assert(fold(&desk, false, digest) == ERR_OK, "allocation %u", n);
        cr_assert(memcmp(clean, digest, sizeof clean) == 0, "allocation %u", n);
    }
    cr_assert(tried > 50, "only %u allocations were tried", tried);
    desk_close(&desk);
    arena_done(&arena);
}
