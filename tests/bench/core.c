/* core.c - what the layers below the network cost: decode, disk, chain check, rebuild, report.
 *
 *   bench_core WORKDIR [EVENTS]       EVENTS: 200000
 *
 * Prints lines `metric<TAB>value<TAB>unit`. Stores are made under WORKDIR, with the shipped defaults
 * (full sync), and removed.
 */
#include <inttypes.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/ledger/ledger.h"
#include "daemon/store/store.h"
#include "tests/bench/records.h"

enum {
    SITES = 40,
    RUN = 100,
    GROUP = 1000
};

static struct err_text why;

static void
must(enum err e, const char *what)
{
    if (e == ERR_OK)
        return;
    (void)fprintf(stderr, "%s: %s\n", what, why.s);
    exit(1);
}

static void
decode(void)
{
    enum {
        KINDS = 8,
        TIMES = 400000
    };
    uint8_t bytes[KINDS][RECORD_MAX], id[16], mark[8] = {1};
    size_t len[KINDS];
    double sum = 0;
    struct arena arena;
    must(arena_init(&arena, ARENA_RECORD, &why), "arena");
    for (int k = 0; k < KINDS; k++) {
        len[k] =
            bench_record_bytes("quayside", 1, mark, (uint64_t)k * 7 + 6, bytes[k], RECORD_MAX, id);
        sum += (double)len[k];
    }
    double start = bench_now();
    for (int i = 0; i < TIMES; i++) {
        Knockbox__Record *record;
        arena_reset(&arena);
        must(record_decode(bytes[i % KINDS], len[i % KINDS], true, &arena, &record, &why),
             "decode");
    }
    bench_print("product.decode", (bench_now() - start) * 1e6 / TIMES, "us/ev");
    start = bench_now();
    for (int i = 0; i < TIMES; i++) {
        Knockbox__Record *record = knockbox__record__unpack(NULL, len[i % KINDS], bytes[i % KINDS]);
        knockbox__record__free_unpacked(record, NULL);
    }
    bench_print("product.decode.plain_unpack", (bench_now() - start) * 1e6 / TIMES, "us/ev");
    bench_print("product.event_bytes", sum / KINDS, "B");
    arena_done(&arena);
}

static struct store *
open_store(const char *dir, const char *site)
{
    struct store_options options = {
        .site = site, .map_mib = 64, .most_mib = 16384, .clock = clock_system()};
    struct store *store = NULL;
    must(store_open(dir, &options, &store, &why), dir);
    return store;
}

static uint64_t
used_bytes(struct store *store)
{
    return kv_sizes(store_kv(store)).used_bytes;
}

/* A café's own log: groups of 100, as an import writes them. */
static void
fill_cafe(struct store *store, uint64_t events)
{
    struct store_txn *txn = NULL;
    for (uint64_t n = 1; n <= events; n++) {
        struct bench_record r;
        struct stored stored;
        bench_record(&r, "quayside", n);
        if (txn == NULL)
            must(store_begin(store, &txn, &why), "begin");
        must(store_append(txn, "quayside", &r.record, &stored, &why), "append");
        if (n % RUN == 0 || n == events)
            must(store_commit(&txn, &why), "commit");
    }
}

struct site {
    char code[16];
    uint8_t mark[8];
    uint64_t seq;
    uint8_t head[HASH_SIZE];
};

static void
accept_run(struct store_txn *txn, struct site *site)
{
    static uint8_t bytes[RUN][RECORD_MAX];
    struct stored run[RUN];
    memset(run, 0, sizeof run);
    for (uint64_t i = 0; i < RUN; i++) {
        run[i].len = bench_record_bytes(site->code, 1, site->mark, site->seq + 1 + i, bytes[i],
                                        RECORD_MAX, run[i].id);
        run[i].bytes = bytes[i];
    }
    enum accept_result result;
    struct log_mark mark;
    must(store_accept(txn, site->code, 1, site->mark, site->seq + 1, site->head, run, RUN,
                      bench_at_ms(site->seq + RUN) + 120000, &result, &mark, &why),
         "accept");
    if (result != ACCEPT_STORED) {
        (void)fprintf(stderr, "accept: result %d\n", (int)result);
        exit(1);
    }
    site->seq = mark.seq;
    memcpy(site->head, mark.hash, HASH_SIZE);
}

static void
list(struct store_txn *txn, Knockbox__Record *record, uint8_t number)
{
    uint8_t id[ID_SIZE] = {1,     2, 3, 4, 5, 6, 0x70, 0, 0x80, [14] = (uint8_t)record->body_case,
                           number};
    struct stored stored;
    record->has_id = record->has_at_ms = record->has_logged_ms = 1;
    record->id = (ProtobufCBinaryData){sizeof id, id};
    record->at_ms = record->logged_ms = bench_at_ms(0) - 1;
    must(store_append(txn, "kitchen", record, &stored, &why), "catalogue");
}

static void
list_site(struct store_txn *txn, unsigned number, const char *code)
{
    Knockbox__Record record = KNOCKBOX__RECORD__INIT;
    Knockbox__Site site = KNOCKBOX__SITE__INIT;
    Knockbox__Place place = KNOCKBOX__PLACE__INIT;
    char freezer[40];
    site.code = place.for_site = (char *)(uintptr_t)code;
    site.has_role = place.has_class_ = 1;
    site.role = number == 0 ? KNOCKBOX__ROLE__ROLE_KITCHEN : KNOCKBOX__ROLE__ROLE_CAFE;
    site.zone = (char *)"Europe/London";
    site.currency = (char *)"GBP";
    record.body_case = KNOCKBOX__RECORD__BODY_SITE_;
    record.site_ = &site;
    list(txn, &record, (uint8_t)number);
    (void)snprintf(freezer, sizeof freezer, "%s-freezer", code);
    place.code = freezer;
    place.class_ = KNOCKBOX__PLACE_CLASS__PLACE_CLASS_FREEZER;
    record.body_case = KNOCKBOX__RECORD__BODY_PLACE;
    record.place = &place;
    list(txn, &record, (uint8_t)number);
}

static void
list_goods(struct store_txn *txn)
{
    Knockbox__Record record = KNOCKBOX__RECORD__INIT;
    Knockbox__Stream stream = KNOCKBOX__STREAM__INIT;
    Knockbox__Product product = KNOCKBOX__PRODUCT__INIT;
    stream.code = (char *)"general-bin";
    stream.has_destination = stream.has_settles = stream.has_material = 1;
    stream.destination = KNOCKBOX__DESTINATION__DESTINATION_LANDFILL;
    stream.settles = KNOCKBOX__SETTLES__SETTLES_AT_ONCE;
    stream.material = KNOCKBOX__MATERIAL__MATERIAL_MIXED;
    record.body_case = KNOCKBOX__RECORD__BODY_STREAM;
    record.stream = &stream;
    list(txn, &record, 0);
    product.code = product.name = (char *)"second-pour-liqueur-house-dark";
    product.has_class_ = 1;
    product.class_ = KNOCKBOX__PRODUCT_CLASS__PRODUCT_CLASS_LIQUEUR;
    record.body_case = KNOCKBOX__RECORD__BODY_PRODUCT;
    record.product = &product;
    list(txn, &record, 0);
}

/* What makes the records fit: sites, freezers, a bin, a product. */
static void
fill_catalogue(struct store *store)
{
    struct store_txn *txn = NULL;
    must(store_begin(store, &txn, &why), "begin");
    list_site(txn, 0, "kitchen");
    for (unsigned s = 0; s < SITES; s++) {
        char code[16];
        (void)snprintf(code, sizeof code, "cafe%02u", s);
        list_site(txn, s + 1, code);
    }
    list_goods(txn);
    must(store_commit(&txn, &why), "commit");
}

/* A hub's store: 40 sites in runs of 100, groups of 1000. */
static void
fill_hub(struct store *store, uint64_t events)
{
    struct site sites[SITES];
    memset(sites, 0, sizeof sites);
    for (unsigned s = 0; s < SITES; s++) {
        (void)snprintf(sites[s].code, sizeof sites[s].code, "cafe%02u", s);
        sites[s].mark[0] = (uint8_t)(s + 1);
    }
    for (uint64_t n = 0; n < events;) {
        struct store_txn *txn = NULL;
        must(store_begin(store, &txn, &why), "begin");
        for (unsigned i = 0; i < GROUP / RUN; i++, n += RUN)
            accept_run(txn, &sites[n / RUN % SITES]);
        must(store_commit(&txn, &why), "commit");
    }
}

static void
cafe(const char *work, uint64_t events)
{
    char dir[512];
    (void)snprintf(dir, sizeof dir, "%s/bench-cafe", work);
    struct store *store = open_store(dir, "quayside");
    uint64_t empty = used_bytes(store);
    fill_cafe(store, events);
    bench_print("product.site.disk_per_event", (double)(used_bytes(store) - empty) / (double)events,
                "B");
    store_close(store);
}

static void
hub(const char *work, uint64_t events)
{
    char dir[512];
    (void)snprintf(dir, sizeof dir, "%s/bench-hub", work);
    struct store *store = open_store(dir, "kitchen");
    uint64_t empty = used_bytes(store), checked = 0, records = 0;
    fill_catalogue(store);
    double start = bench_now();
    fill_hub(store, events);
    bench_print("product.accept", (double)events / (bench_now() - start), "ev/s");
    bench_print("product.hub.disk_log_per_event",
                (double)(used_bytes(store) - empty) / (double)events, "B");

    start = bench_now();
    must(store_verify(store, &checked, &why), "verify");
    bench_print("product.verify", (bench_now() - start) * 1e6 / (double)checked, "us/ev");

    struct ledger *ledger = NULL;
    must(ledger_open(store, &ledger, &why), "ledger");
    start = bench_now();
    double used = bench_cpu();
    must(ledger_rebuild(ledger, &records, &why), "rebuild");
    bench_print("product.rebuild", (double)records / (bench_now() - start), "ev/s");
    bench_print("product.rebuild", (double)records / (bench_cpu() - used), "ev/s of processor");
    bench_print("product.hub.disk_per_event", (double)(used_bytes(store) - empty) / (double)events,
                "B");

    enum {
        MORE = 200
    };
    double times[MORE], cpu[MORE];
    for (unsigned i = 0; i < MORE; i++) {
        struct bench_record r;
        struct stored stored;
        struct store_txn *txn = NULL;
        bench_record(&r, "kitchen", i + 1);
        must(store_begin(store, &txn, &why), "begin");
        must(store_append(txn, "kitchen", &r.record, &stored, &why), "append");
        must(store_commit(&txn, &why), "commit");
        start = bench_now();
        used = bench_cpu();
        must(ledger_catch_up(ledger, &why), "catch up");
        times[i] = (bench_now() - start) * 1e6;
        cpu[i] = (bench_cpu() - used) * 1e6;
    }
    bench_print("product.fold_one.p50", bench_part(times, MORE, 0.5), "us");
    bench_print("product.fold_one.p50", bench_part(cpu, MORE, 0.5), "us of processor");
    ledger_close(ledger);
    store_close(store);
}

int
main(int argc, char **argv)
{
    if (argc < 2) {
        (void)fputs("usage: bench_core WORKDIR [EVENTS]\n", stderr);
        return 2;
    }
    uint64_t events = argc > 2 ? strtoull(argv[2], NULL, 10) : 200000;
    decode();
    cafe(argv[1], events);
    hub(argv[1], events);
    return 0;
}
