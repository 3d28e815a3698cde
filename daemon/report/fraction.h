/* fraction.h - sums of quotients without rounding: what a batch costs is mass x price of a lot /
 * mass of the lot, again and again, with other divisors each time.
 *
 * Never below 0. Numerator and divisor have room for 2048 bits: about 30 quotients of the widest
 * numbers that a record can hold, many more of usual ones. Beyond that the fraction is `full` for
 * good and has no value any more.
 */
#ifndef DAEMON_REPORT_FRACTION_H
#define DAEMON_REPORT_FRACTION_H

#include <stdbool.h>
#include <stdint.h>

enum {
    FRACTION_LIMBS = 64 /* of 32 bits */
};

struct big {
    uint32_t limb[FRACTION_LIMBS]; /* the lowest first */
    int n;                         /* in use; 0: the number 0 */
};

struct fraction {
    struct big top, bottom;
    bool full;
};

/* 0 */
void fraction_init(struct fraction *f);
/* Adds a x b / c; a, b >= 0, c >= 1. */
void fraction_add(struct fraction *f, int64_t a, int64_t b, int64_t c);
/* Adds another one. */
void fraction_sum(struct fraction *f, const struct fraction *other);
/* Takes it times a / b; a >= 0, b >= 1. */
void fraction_scale(struct fraction *f, int64_t a, int64_t b);
/* The nearest whole number, half away from zero; false: it is full, or over 2^62. */
bool fraction_round(const struct fraction *f, int64_t *out_whole);

#endif
