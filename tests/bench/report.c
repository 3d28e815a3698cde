/* report.c - what a month's report costs over a large ledger: as JSON, as a page, and its close.
 *
 *   bench_report WORKDIR [RECORDS [SITES]]       1000000 records of 1000 cafés, over one year
 *
 * `why` (the records behind stock.closing_kg) and `span` (a week) fold all records again; `months`
 * (three) need not.
 *
 * Cafés write tubs, readings, sales and closes (records.h); the kitchen fetches, makes a batch and
 * has waste collected every day. Prints lines `metric<TAB>value<TAB>unit`; a `first` figure is the
 * first question after a start, `report.scan` a plain walk over the same rows of the log, and
 * `of processor` counts by processor time, which a busy machine changes less. The store is made
 * under WORKDIR, about 700 bytes a record, and stays there: another run with the same folder
 * measures without filling, and closes the next month.
 */
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <time.h>

#include "daemon/ledger/ledger.h"
#include "daemon/report/forms.h"
#include "daemon/report/report_month.h"
#include "daemon/report/why.h"
#include "proto/json.h"
#include "proto/when.h"
#include "tests/bench/records.h"

enum {
    DAYS = 365,
    A_DAY = 200, /* records of bench_record() */
    GROUP = 5000,
    FETCHED = 8, /* tubs a day */
    TIMES = 5
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

/* The clock goes four years fast: nothing lies ahead of it, and each close is at its own moment. */
static int64_t
after_all(void *owner)
{
    enum {
        DAYS_FAST = 1461
    };
    (void)owner;
    return ((int64_t)time(NULL) + (int64_t)DAYS_FAST * 86400) * 1000;
}

static struct store *
open_store(const char *dir)
{
    struct store_options options = {
        .site = "kitchen", .map_mib = 64, .most_mib = 65536, .clock = clock_system()};
    struct store *store = NULL;
    options.clock.now_ms = after_all;
    must(store_open(dir, &options, &store, &why), dir);
    return store;
}

/* ---- filling */

struct writer {
    struct store *store;
    struct store_txn *txn;
    struct arena arena;
    uint64_t n, next_id;
};

static void
append(struct writer *w, const char *site, Knockbox__Record *record)
{
    struct stored stored;
    if (w->txn == NULL)
        must(store_begin(w->store, &w->txn, &why), "begin");
    must(store_append(w->txn, site, record, &stored, &why), "append");
    if (++w->n % GROUP == 0)
        must(store_commit(&w->txn, &why), "commit");
}

static void
end_group(struct writer *w)
{
    if (w->txn != NULL)
        must(store_commit(&w->txn, &why), "commit");
}

/* One line of the import form; ' stands for ". */
__attribute__((format(printf, 3, 4))) static void
say(struct writer *w, const char *site, const char *format, ...)
{
    char text[2048];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    for (char *c = text; *c != '\0'; c++)
        *c = *c == '\'' ? '"' : *c;
    json_t *object = NULL;
    Knockbox__Record *record = NULL;
    uint8_t id[ID_SIZE] = {2, 2, 2, 2, 2, 2, 0x70, 0, 0x80};
    memcpy(id + 9, &w->next_id, 7);
    w->next_id++;
    arena_reset(&w->arena);
    must(json_parse(text, strlen(text), &object, &why), text);
    must(record_from_json(object, &w->arena, &record, &why), text);
    json_decref(object);
    record->has_id = record->has_logged_ms = 1;
    record->id = (ProtobufCBinaryData){sizeof id, id};
    record->logged_ms = record->at_ms;
    record->by = (char *)"RK";
    record->has_at_offset_min = 1;
    record->zone = (char *)"Europe/London";
    append(w, site, record);
}

static const char *
cafe(unsigned i, char room[16])
{
    (void)snprintf(room, 16, "c%05u", i);
    return room;
}

static void
say_sites(struct writer *w, unsigned sites)
{
    char code[16];
    for (unsigned i = 0; i < sites; i++) {
        cafe(i, code);
        say(w, "kitchen",
            "{'kind': 'site', 'at': '2025-12-01T00:00:00Z', 'code': '%s', 'role': 'cafe', 'zone': "
            "'Europe/London', 'currency': 'GBP', 'joined': '2025-12-01'}",
            code);
        say(w, "kitchen",
            "{'kind': 'place', 'at': '2025-12-01T00:00:00Z', 'code': '%s-freezer', 'for_site': "
            "'%s', 'class': 'freezer', 'max_c': '-15', 'readings_per_day': 1}",
            code, code);
    }
}

static void
say_catalogue(struct writer *w)
{
    static const char *const lines[] = {
        "'kind': 'site', 'code': 'kitchen', 'role': 'kitchen', 'zone': 'Europe/London', "
        "'currency': "
        "'GBP', 'joined': '2025-12-01', 'labour_minor_per_hour': 1300",
        "'kind': 'place', 'code': 'kf', 'for_site': 'kitchen', 'class': 'freezer', 'max_c': '-15'",
        "'kind': 'stream', 'code': 'general-bin', 'destination': 'landfill', 'settles': 'at-once', "
        "'material': 'mixed'",
        "'kind': 'stream', 'code': 'food', 'destination': 'composting', 'settles': "
        "'on-collection', 'material': 'food'",
        "'kind': 'product', 'code': 'second-pour-liqueur-house-dark', 'name': 'Liqueur', 'class': "
        "'liqueur'",
        "'kind': 'item', 'code': 'spirit', 'name': 'Spirit', 'class': 'spirit', 'abv_pct': '40', "
        "'pack_g': 19000, 'pack_minor': 26000, 'currency': 'GBP'",
        "'kind': 'recipe', 'code': 'l1', 'product': 'second-pour-liqueur-house-dark', "
        "'labour_min': "
        "90, 'parts': [{'input': 'grounds', 'parts': '1'}, {'input': 'spirit', 'parts': '2'}]",
        "'kind': 'price', 'product': 'second-pour-liqueur-house-dark', 'bottle_ml': 500, "
        "'currency': 'GBP', 'list_minor': 1650, 'buy_in_minor': 900, 'from': '2025-12-01'",
        "'kind': 'factors', 'edition': 'UK-2025', 'from': '2025-12-01'"};
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++)
        say(w, "kitchen", "{%s, 'at': '2025-12-01T00:00:00Z'}", lines[i]);
    say(w, "kitchen",
        "{'kind': 'supply', 'at': '2026-01-01T04:00:00Z', 'lot': 'S', 'item': 'spirit', "
        "'supplier': 'Still', 'received': '2026-01-01', 'mass_g': 1000000000}");
}

/* Tubs of this day's cafés come in, make one batch, are bottled; waste is collected. */
static void
say_kitchen_day(struct writer *w, int d, unsigned sites)
{
    char day[DAY_TEXT], code[16], inputs[1024] = "";
    (void)day_print(month_first_day(2026 * 12) + d, day);
    say(w, "kitchen",
        "{'kind': 'run', 'at': '%sT05:00:00Z', 'code': 'R%d', 'route': 'all', 'day': '%s', "
        "'fixed_minor': 1500, 'minor_per_kg': 20}",
        day, d, day);
    for (unsigned i = 0; i < FETCHED; i++) {
        cafe(((unsigned)d * FETCHED + i) % sites, code);
        say(w, code,
            "{'kind': 'tub', 'at': '%sT06:00:00Z', 'tub': 'K%d-%u', 'coffee': 'house', 'origin': "
            "'espresso', 'gross_g': 5100, 'tare_g': 100, 'method': 'weighed', 'first_knock': "
            "'%sT05:00:00Z', 'frozen': '%sT06:00:00Z', 'place': '%s-freezer'}",
            day, d, i, day, day, code);
        say(w, code, "{'kind': 'handover', 'at': '%sT07:00:00Z', 'run': 'R%d', 'tubs': ['K%d-%u']}",
            day, d, d, i);
        say(w, "kitchen",
            "{'kind': 'receive', 'at': '%sT09:00:00Z', 'run': 'R%d', 'tubs': [{'tub': 'K%d-%u'}]}",
            day, d, d, i);
        (void)snprintf(inputs + strlen(inputs), sizeof inputs - strlen(inputs),
                       "{'tub': 'K%d-%u', 'mass_g': 5000}, ", d, i);
    }
    say(w, "kitchen",
        "{'kind': 'mix', 'at': '%sT10:00:00Z', 'batch': 'B%d', 'recipe': 'l1', 'inputs': "
        "[%s{'lot': "
        "'S', 'mass_g': 80000}], 'vessel': 'V1', 'started': '%sT10:00:00Z'}",
        day, d, inputs, day);
    say(w, "kitchen",
        "{'kind': 'strain', 'at': '%sT14:00:00Z', 'batch': 'B%d', 'station': 'F1', 'event': 'end', "
        "'product_g': 76000, 'product_ml': 80000, 'residue_g': 43000, 'loss_g': 1000}",
        day, d);
    say(w, "kitchen",
        "{'kind': 'bottle', 'at': '%sT16:00:00Z', 'batch': 'B%d', 'lot': 'L%d', 'bottle_ml': 500, "
        "'count': 160}",
        day, d, d);
    say(w, "kitchen",
        "{'kind': 'residue', 'at': '%sT17:00:00Z', 'batch': 'B%d', 'mass_g': 43000, 'stream': "
        "'food'}",
        day, d);
    say(w, "kitchen",
        "{'kind': 'collection', 'at': '%sT18:00:00Z', 'stream': 'food', 'mass_g': 43000, "
        "'destination': 'composting', 'carrier': 'Tidewater', 'docket': 'D%d'}",
        day, d);
}

/* Which record of bench_record() comes first on a day: its close, a tub, a reading, then sales. */
static uint64_t
number_of(uint64_t day, uint64_t k)
{
    static const uint64_t first[] = {199, 20, 7};
    enum {
        FIRST = sizeof first / sizeof first[0]
    };
    uint64_t at = k < FIRST ? first[k] : k - FIRST + 21 + (k - FIRST) / 10;
    return (day + 1) * A_DAY + at % A_DAY; /* its first day begins in the year before */
}

/* As many a day of each café as makes `records` in the year. */
static void
fill(struct store *store, uint64_t records, unsigned sites)
{
    struct writer w = {.store = store};
    char code[16];
    uint64_t days = (uint64_t)sites * DAYS, done = 0;
    must(arena_init(&w.arena, ARENA_BIG_RECORD, &why), "arena");
    say_catalogue(&w);
    say_sites(&w, sites);
    double start = bench_now();
    for (uint64_t d = 0; d < DAYS; d++) {
        say_kitchen_day(&w, (int)d, sites);
        for (unsigned s = 0; s < sites; s++) {
            uint64_t until = records * (d * sites + s + 1) / days;
            for (uint64_t k = 0; done < until && k < 150; k++, done++) {
                struct bench_record r;
                bench_record(&r, cafe(s, code), number_of(d, k));
                append(&w, code, &r.record);
            }
        }
    }
    end_group(&w);
    arena_done(&w.arena);
    bench_print("report.append", (double)w.n / (bench_now() - start), "ev/s");
}

/* ---- measuring */

struct place {
    struct store *store;
    struct ledger *ledger;
};

static size_t
print(const struct place *p, int32_t month, const char *name)
{
    const struct report_form *form = report_form_find(name);
    struct report_ask ask = {.month = month, .pictures = form->pictures};
    struct table_model *model = NULL;
    char *bytes = NULL;
    size_t len = 0;
    must(report_month(p->ledger, p->store, &ask, &model, &why), "report");
    must(form->print(model, &bytes, &len, &why), "print");
    table_free(model);
    free(bytes);
    return len;
}

static void
time_print(const struct place *p, int32_t month, const char *form, const char *metric)
{
    double times[TIMES], cpu[TIMES];
    size_t len = 0;
    for (int i = 0; i < TIMES; i++) {
        double start = bench_now(), used = bench_cpu();
        len = print(p, month, form);
        times[i] = bench_now() - start;
        cpu[i] = bench_cpu() - used;
    }
    bench_print(metric, bench_part(times, TIMES, 0.5), "s");
    bench_print(metric, bench_part(cpu, TIMES, 0.5), "s of processor");
    (void)fprintf(stderr, "%s: %zu bytes\n", metric, len);
}

static void
time_span(const struct place *p, const struct span *span, const char *metric)
{
    struct report_ask ask = {.span = span};
    struct table_model *model = NULL;
    double start = bench_now(), used = bench_cpu();
    must(report_month(p->ledger, p->store, &ask, &model, &why), metric);
    bench_print(metric, bench_now() - start, "s");
    bench_print(metric, bench_cpu() - used, "s of processor");
    table_free(model);
}

/* The records behind a figure, and spans. */
static void
time_folds(const struct place *p, int32_t month)
{
    struct span days = {.from = month_first_day(month) + 9, .to = month_first_day(month) + 15};
    struct span months = {.from = month_first_day(month - 2), .to = month_last_day(month)};
    struct report_ask ask = {.month = month};
    struct table_model *model = NULL;
    double start = bench_now(), used = bench_cpu();
    must(report_why(p->ledger, p->store, &ask, "stock.closing_kg", &model, &why), "why");
    bench_print("report.why", bench_now() - start, "s");
    bench_print("report.why", bench_cpu() - used, "s of processor");
    table_free(model);
    time_span(p, &months, "report.months");
    time_span(p, &days, "report.span");
}

static void
close_month(const struct place *p, int32_t month)
{
    struct arena arena;
    Knockbox__Record record = KNOCKBOX__RECORD__INIT;
    struct store_txn *txn = NULL;
    struct stored stored;
    uint8_t id[ID_SIZE] = {3, 3, 3, 3, 3, 3, 0x70, 0, 0x80, [15] = (uint8_t)(month % 251)};
    must(arena_init(&arena, 64 << 20, &why), "arena");
    double start = bench_now(), used = bench_cpu();
    must(period_close_make(p->ledger, p->store, month, NULL, INT32_MAX, &arena,
                           &record.period_close, &why),
         "close");
    record.body_case = KNOCKBOX__RECORD__BODY_PERIOD_CLOSE;
    record.has_id = record.has_at_ms = record.has_logged_ms = 1;
    record.id = (ProtobufCBinaryData){sizeof id, id};
    record.at_ms = record.logged_ms = after_all(NULL) - 1000;
    must(store_begin(p->store, &txn, &why), "begin");
    must(store_append(txn, "kitchen", &record, &stored, &why), "append");
    must(store_commit(&txn, &why), "commit");
    bench_print("report.close", bench_now() - start, "s");
    bench_print("report.close", bench_cpu() - used, "s of processor");
    start = bench_now();
    must(ledger_catch_up(p->ledger, &why), "catch up");
    bench_print("report.after_close", bench_now() - start, "s");
    arena_done(&arena);
}

/* What one more record costs before the next answer: those of a café's days in June, mostly sales. */
static void
time_fold_one(const struct place *p)
{
    enum {
        MORE = 200,
        FROM = (165 + 1) * A_DAY
    };
    double times[MORE], cpu[MORE];
    int64_t mark = (int64_t)time(NULL) * 1000; /* other ids than those of the run before */
    for (unsigned i = 0; i < MORE; i++) {
        struct bench_record r;
        struct stored stored;
        struct store_txn *txn = NULL;
        bench_record(&r, "c00007", FROM + i);
        memcpy(r.id + 9, &mark, 3);
        must(store_begin(p->store, &txn, &why), "begin");
        must(store_append(txn, "c00007", &r.record, &stored, &why), "append");
        must(store_commit(&txn, &why), "commit");
        double start = bench_now(), used = bench_cpu();
        must(ledger_catch_up(p->ledger, &why), "catch up");
        times[i] = (bench_now() - start) * 1e6;
        cpu[i] = (bench_cpu() - used) * 1e6;
    }
    bench_print("report.fold_one.p50", bench_part(times, MORE, 0.5), "us");
    bench_print("report.fold_one.p50", bench_part(cpu, MORE, 0.5), "us of processor");
    bench_print("report.fold_one.p99", bench_part(cpu, MORE, 0.99), "us of processor");
}

/* The first month from `month` on that is open. */
static int32_t
first_open(const struct place *p, int32_t month)
{
    struct closing closing;
    while (ledger_closing(p->ledger, month, INT64_MAX, &closing, &why) == ERR_OK)
        month++;
    return month;
}

static void
measure(struct store *store)
{
    struct place p = {.store = store};
    struct rusage used;
    double start = bench_now();
    int32_t first = 2026 * 12, june = first + 5;
    must(ledger_open(store, &p.ledger, &why), "ledger");
    must(ledger_catch_up(p.ledger, &why), "catch up");
    (void)print(&p, june, "json");
    bench_print("report.first", bench_now() - start, "s");
    time_print(&p, june, "json", "report.json");
    time_print(&p, june, "html", "report.page");
    time_fold_one(&p);
    time_folds(&p, june);
    close_month(&p, first_open(&p, first));
    time_print(&p, first, "json", "report.closed_json");
    time_print(&p, june, "json", "report.json_after_close");
    (void)getrusage(RUSAGE_SELF, &used);
    bench_print("report.memory", (double)used.ru_maxrss / 1024, "MiB");
    ledger_close(p.ledger);
}

/* What nothing can be quicker than: LMDB's own cursor over the log, each byte read once. */
static void
scan(struct store *store)
{
    struct kv *kv = store_kv(store);
    struct kv_txn *txn = NULL;
    struct kv_walk *walk = NULL;
    MDB_dbi table;
    MDB_val key, value;
    uint64_t rows = 0;
    unsigned sum = 0;
    must(kv_table(kv, "records", &table, &why), "records");
    double start = bench_now(), used = bench_cpu();
    must(kv_read(kv, &txn, &why), "read");
    must(kv_walk_open(txn, table, NULL, 0, &walk, &why), "walk");
    for (; kv_next(walk, &key, &value, &why) == ERR_OK; rows++)
        for (size_t i = 0; i < value.mv_size; i++)
            sum += ((const uint8_t *)value.mv_data)[i];
    kv_walk_close(walk);
    kv_abort(&txn);
    bench_print("report.scan", (double)rows / (bench_now() - start), "ev/s");
    bench_print("report.scan", (double)rows / (bench_cpu() - used), "ev/s of processor");
    (void)fprintf(stderr, "report.scan: %" PRIu64 " rows, sum %u\n", rows, sum);
}

static void
rebuild(struct store *store)
{
    struct ledger *ledger = NULL;
    uint64_t records = 0;
    must(ledger_open(store, &ledger, &why), "ledger");
    double start = bench_now(), used = bench_cpu();
    must(ledger_rebuild(ledger, &records, &why), "rebuild");
    bench_print("report.rebuild", (double)records / (bench_now() - start), "ev/s");
    bench_print("report.rebuild", (double)records / (bench_cpu() - used), "ev/s of processor");
    ledger_close(ledger);
}

int
main(int argc, char **argv)
{
    char dir[512];
    struct stat there;
    if (argc < 2) {
        (void)fputs("usage: bench_report WORKDIR [RECORDS [SITES]]\n", stderr);
        return 2;
    }
    uint64_t records = argc > 2 ? strtoull(argv[2], NULL, 10) : 1000000;
    unsigned sites = argc > 3 ? (unsigned)strtoul(argv[3], NULL, 10) : 1000;
    (void)snprintf(dir, sizeof dir, "%s/bench-report", argv[1]);
    bool made = stat(dir, &there) == 0;
    struct store *store = open_store(dir);
    if (!made)
        fill(store, records, sites);
    scan(store);
    if (!made)
        rebuild(store);
    measure(store);
    store_close(store);
    return 0;
}
