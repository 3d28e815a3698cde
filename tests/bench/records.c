/* records.c - records of the size and mix that the benches assume. */
#include "tests/bench/records.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>

enum {
    MINUTE = 60000,
    APART = 432000 /* 200 records a day */
};
static const int64_t first_ms = 1767222000000; /* 2025-12-31T23:00:00Z */

static void
fill_tub(struct bench_record *r, uint64_t n)
{
    Knockbox__Tub *tub = &r->body.tub;
    knockbox__tub__init(tub);
    (void)snprintf(r->code, sizeof r->code, "%.6s-%06llu", r->site, (unsigned long long)n);
    tub->tub = r->code;
    tub->coffee = (char *)"house-dark";
    tub->has_origin = tub->has_gross_g = tub->has_tare_g = tub->has_method = 1;
    tub->origin = KNOCKBOX__ORIGIN__ORIGIN_ESPRESSO;
    tub->gross_g = 3200 + (int64_t)(n % 900);
    tub->tare_g = 180;
    tub->method = KNOCKBOX__METHOD__METHOD_WEIGHED;
    tub->has_first_knock_ms = tub->has_frozen_ms = 1;
    tub->frozen_ms = r->record.at_ms - MINUTE;
    tub->first_knock_ms = tub->frozen_ms - 130 * MINUTE;
    tub->place = r->place;
    r->record.body_case = KNOCKBOX__RECORD__BODY_TUB;
    r->record.tub = tub;
}

static void
fill_reading(struct bench_record *r, uint64_t n)
{
    static const char *const temps[] = {"-18.4", "-19.1", "-20.2", "-17.9"};
    Knockbox__Reading *reading = &r->body.reading;
    knockbox__reading__init(reading);
    reading->place = r->place;
    reading->temp_c = (char *)temps[n % 4];
    reading->probe = (char *)"probe 2, under the lid, left hand side";
    r->record.body_case = KNOCKBOX__RECORD__BODY_READING;
    r->record.reading = reading;
}

static void
fill_sale(struct bench_record *r, uint64_t n)
{
    Knockbox__Sale *sale = &r->body.sale;
    knockbox__sale__init(sale);
    sale->product = (char *)"second-pour-liqueur-house-dark";
    sale->has_bottle_ml = 1;
    sale->bottle_ml = 500;
    sale->has_count = sale->has_unit_minor = 1;
    sale->count = 1 + (int64_t)(n % 3);
    sale->unit_minor = 1650;
    sale->currency = (char *)"GBP";
    r->record.body_case = KNOCKBOX__RECORD__BODY_SALE;
    r->record.sale = sale;
}

static void
fill_close(struct bench_record *r, uint64_t n)
{
    Knockbox__Close *close = &r->body.close;
    knockbox__close__init(close);
    close->has_day = close->has_pucks = close->has_uncaptured_g = close->has_uncaptured_method = 1;
    close->day = (int32_t)(r->record.at_ms / 86400000);
    close->pucks = 120;
    close->uncaptured_g = 400 + (int64_t)(n % 300);
    close->uncaptured_method = KNOCKBOX__METHOD__METHOD_WEIGHED;
    close->stream = (char *)"general-bin";
    r->record.body_case = KNOCKBOX__RECORD__BODY_CLOSE;
    r->record.close = close;
}

int64_t
bench_at_ms(uint64_t n)
{
    return first_ms + (int64_t)n * APART;
}

static void
fill_envelope(struct bench_record *r, uint64_t n)
{
    Knockbox__Record *record = &r->record;
    knockbox__record__init(record);
    record->site = r->site;
    record->has_at_ms = record->has_logged_ms = record->has_at_offset_min = 1;
    record->at_ms = bench_at_ms(n);
    record->logged_ms = record->at_ms + 40000;
    record->at_offset_min = 0;
    record->zone = (char *)"Europe/London";
    record->has_id = record->has_boot = record->has_mono_ms = record->has_clock = 1;
    uint64_t ms = (uint64_t)record->at_ms;
    for (int i = 0; i < 6; i++)
        r->id[i] = (uint8_t)(ms >> (40 - 8 * i));
    r->id[6] = 0x70;
    r->id[7] = (uint8_t)r->site[0];
    r->id[8] = (uint8_t)(0x80 | (r->site[5] & 0x3F));
    memcpy(r->id + 9, r->site + 3, 3);
    for (int i = 0; i < 4; i++)
        r->id[12 + i] = (uint8_t)(n >> (24 - 8 * i));
    record->id = (ProtobufCBinaryData){sizeof r->id, r->id};
    memset(r->boot, 0xB0, sizeof r->boot);
    record->boot = (ProtobufCBinaryData){sizeof r->boot, r->boot};
    record->mono_ms = 1000000 + n * APART;
    record->clock = KNOCKBOX__CLOCK__CLOCK_SYNCHRONISED;
    record->by = (char *)"RK";
    record->via = (char *)"uid 1000 (quayside-bar-till)";
}

/* A café's day of about 200 records: one close, four tubs, ten readings, else sales. */
static void (*fill_for(uint64_t n))(struct bench_record *, uint64_t)
{
    if (n % 200 == 199)
        return fill_close;
    if (n % 50 == 20)
        return fill_tub;
    return n % 20 == 7 ? fill_reading : fill_sale;
}

void
bench_record(struct bench_record *out, const char *site, uint64_t n)
{
    memset(out, 0, sizeof *out);
    (void)snprintf(out->site, sizeof out->site, "%s", site);
    (void)snprintf(out->place, sizeof out->place, "%.20s-freezer", site);
    fill_envelope(out, n);
    fill_for(n)(out, n);
}

size_t
bench_record_bytes(const char *site, uint32_t epoch, const uint8_t mark[8], uint64_t seq,
                   uint8_t *out, size_t size, uint8_t out_id[16])
{
    struct bench_record r;
    bench_record(&r, site, seq);
    memcpy(r.mark, mark, sizeof r.mark);
    r.record.has_epoch = r.record.has_seq = r.record.has_mark = 1;
    r.record.epoch = epoch;
    r.record.seq = seq;
    r.record.mark = (ProtobufCBinaryData){sizeof r.mark, r.mark};
    size_t len = knockbox__record__get_packed_size(&r.record);
    if (len > size) {
        (void)fprintf(stderr, "a bench record of %zu bytes\n", len);
        exit(1);
    }
    memcpy(out_id, r.id, sizeof r.id);
    return knockbox__record__pack(&r.record, out);
}

double
bench_now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

double
bench_cpu(void)
{
    struct rusage u;
    getrusage(RUSAGE_SELF, &u);
    return (double)u.ru_utime.tv_sec + (double)u.ru_utime.tv_usec * 1e-6 +
           (double)u.ru_stime.tv_sec + (double)u.ru_stime.tv_usec * 1e-6;
}

void
bench_print(const char *metric, double value, const char *unit)
{
    printf("%s\t%.6g\t%s\n", metric, value, unit);
    (void)fflush(stdout);
}

static int
compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double
bench_part(double *values, size_t n, double part)
{
    if (n == 0)
        return 0;
    qsort(values, n, sizeof *values, compare);
    return values[(size_t)((double)(n - 1) * part)];
}
