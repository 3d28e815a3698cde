/* records.h - records of the size and mix that the benches assume.
 *
 * About 200 bytes each: tubs, readings, sales and closes of invented cafés.
 */
#ifndef TESTS_BENCH_RECORDS_H
#define TESTS_BENCH_RECORDS_H

#include <stddef.h>
#include <stdint.h>
#include "proto/record.pb-c.h"

/* One record and the memory that its pointers lead to. */
struct bench_record {
    Knockbox__Record record;
    union {
        Knockbox__Tub tub;
        Knockbox__Reading reading;
        Knockbox__Sale sale;
        Knockbox__Close close;
    } body;
    uint8_t id[16], mark[8], boot[8];
    char site[32], code[32], place[32];
};

/* Fills record number `n` of `site`; 200 records make a day. */
void bench_record(struct bench_record *out, const char *site, uint64_t n);

/* When record number `n` of any site happened. */
int64_t bench_at_ms(uint64_t n);

/* The same, packed with a sequence number and the mark of an epoch. Returns its size. */
size_t bench_record_bytes(const char *site, uint32_t epoch, const uint8_t mark[8], uint64_t seq,
                          uint8_t *out, size_t size, uint8_t out_id[16]);

/* Seconds of the steady clock; processor seconds of this process. */
double bench_now(void);
double bench_cpu(void);

/* `metric<TAB>value<TAB>unit` on stdout. */
void bench_print(const char *metric, double value, const char *unit);

/* Middle value of n numbers; sorts them. `part` 0.1 gives the tenth percentile. */
double bench_part(double *values, size_t n, double part);

#endif
