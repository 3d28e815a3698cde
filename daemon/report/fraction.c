/* fraction.c - see fraction.h: long multiplication by hand, no division but by halving. */
#include "daemon/report/fraction.h"

#include <string.h>

/* ---- whole numbers. Each of these: false when there is no room. */

static void
trim(struct big *x)
{
    while (x->n > 0 && x->limb[x->n - 1] == 0)
        x->n--;
}

static bool
push(struct big *x, uint64_t limb)
{
    if (limb == 0)
        return true;
    if (x->n == FRACTION_LIMBS)
        return false;
    x->limb[x->n++] = (uint32_t)limb;
    return true;
}

static bool
times_limb(struct big *x, uint32_t by)
{
    uint64_t carry = 0;
    for (int i = 0; i < x->n; i++) {
        carry += (uint64_t)x->limb[i] * by;
        x->limb[i] = (uint32_t)carry;
        carry >>= 32;
    }
    bool fits = push(x, carry);
    trim(x);
    return fits;
}

static bool
add(struct big *x, const struct big *y)
{
    uint64_t carry = 0;
    while (x->n < y->n)
        x->limb[x->n++] = 0;
    for (int i = 0; i < x->n; i++) {
        carry += (uint64_t)x->limb[i] + (i < y->n ? y->limb[i] : 0);
        x->limb[i] = (uint32_t)carry;
        carry >>= 32;
    }
    return push(x, carry);
}

/* By 2^32. */
static bool
shift(struct big *x)
{
    if (x->n == 0)
        return true;
    if (x->n == FRACTION_LIMBS)
        return false;
    memmove(x->limb + 1, x->limb, (size_t)x->n * sizeof *x->limb);
    x->limb[0] = 0;
    x->n++;
    return true;
}

static bool
times(struct big *x, uint64_t by)
{
    struct big high = *x;
    return times_limb(x, (uint32_t)by) && times_limb(&high, (uint32_t)(by >> 32)) && shift(&high) &&
           add(x, &high);
}

static bool
times_big(struct big *x, const struct big *y)
{
    struct big sum = {.n = 0};
    for (int i = y->n - 1; i >= 0; i--) {
        struct big part = *x;
        if (!shift(&sum) || !times_limb(&part, y->limb[i]) || !add(&sum, &part))
            return false;
    }
    *x = sum;
    return true;
}

static int
compare(const struct big *x, const struct big *y)
{
    if (x->n != y->n)
        return x->n < y->n ? -1 : 1;
    for (int i = x->n - 1; i >= 0; i--)
        if (x->limb[i] != y->limb[i])
            return x->limb[i] < y->limb[i] ? -1 : 1;
    return 0;
}

/* ---- fractions */

void
fraction_init(struct fraction *f)
{
    memset(f, 0, sizeof *f);
    (void)push(&f->bottom, 1);
}

void
fraction_sum(struct fraction *f, const struct fraction *other)
{
    struct big cross = other->top;
    f->full = f->full || other->full;
    if (f->full || other->top.n == 0)
        return;
    if (compare(&f->bottom, &other->bottom) == 0)
        f->full = !add(&f->top, &other->top);
    else
        f->full = !times_big(&cross, &f->bottom) || !times_big(&f->top, &other->bottom) ||
                  !add(&f->top, &cross) || !times_big(&f->bottom, &other->bottom);
}

void
fraction_add(struct fraction *f, int64_t a, int64_t b, int64_t c)
{
    struct fraction part;
    fraction_init(&part);
    part.top = part.bottom;
    part.full = !times(&part.top, (uint64_t)a) || !times(&part.top, (uint64_t)b) ||
                !times(&part.bottom, (uint64_t)c);
    fraction_sum(f, &part);
}

void
fraction_scale(struct fraction *f, int64_t a, int64_t b)
{
    f->full = f->full || !times(&f->top, (uint64_t)a) || !times(&f->bottom, (uint64_t)b);
}

/* Is 2 top >= `odd` bottom? */
static bool
reaches(const struct fraction *f, uint64_t odd, bool *out_fits)
{
    struct big twice = f->top, bound = f->bottom;
    *out_fits = *out_fits && times(&twice, 2) && times(&bound, odd);
    return *out_fits && compare(&twice, &bound) >= 0;
}

/* The greatest q with q - 1/2 <= the fraction, bit by bit. */
bool
fraction_round(const struct fraction *f, int64_t *out_whole)
{
    bool fits = !f->full;
    uint64_t q = 0;
    if (!fits || reaches(f, (uint64_t)1 << 63, &fits))
        return false;
    for (int bit = 61; fits && bit >= 0; bit--) {
        uint64_t more = q | (uint64_t)1 << bit;
        if (reaches(f, 2 * more - 1, &fits))
            q = more;
    }
    *out_whole = (int64_t)q;
    return fits;
}
