/* decimal.c - exact decimal numbers. */
#include "proto/decimal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    DIGITS_MOST = 38
};

static bool
is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static const char *
skip_digits(const char *s)
{
    while (is_digit(*s))
        s++;
    return s;
}

bool
decimal_is_number(const char *text)
{
    const char *s = text + (*text == '-' ? 1 : 0);
    if (!is_digit(*s))
        return false;
    s = skip_digits(s);
    if (*s == '.') {
        if (!is_digit(s[1]))
            return false;
        s = skip_digits(s + 1);
    }
    if (*s == 'e' || *s == 'E') {
        s += (s[1] == '-' || s[1] == '+') ? 2 : 1;
        if (!is_digit(*s))
            return false;
        s = skip_digits(s);
    }
    return *s == '\0';
}

/* 10^n, n: 0 .. 38. */
static decimal_int
power_of_ten(int n)
{
    decimal_int p = 1;
    while (n-- > 0)
        p *= 10;
    return p;
}

static decimal_int
magnitude(decimal_int m)
{
    return m < 0 ? -m : m;
}

static int
count_digits(decimal_int m)
{
    int n = 0;
    for (m = magnitude(m); m != 0; m /= 10)
        n++;
    return n;
}

/* One spelling for each value: no zeros at the end. */
static struct decimal
tidy(decimal_int mantissa, int scale)
{
    if (mantissa == 0)
        return (struct decimal){0, 0};
    while (mantissa % 10 == 0) {
        mantissa /= 10;
        scale--;
    }
    return (struct decimal){mantissa, scale};
}

static enum err
too_long(struct err_text *why)
{
    return err_set(ERR_INPUT, why, "a number of more than %d digits", DIGITS_MOST);
}

static enum err
finish(decimal_int mantissa, int scale, struct decimal *out, struct err_text *why)
{
    struct decimal d = tidy(mantissa, scale);
    if (count_digits(d.mantissa) > DIGITS_MOST || abs(d.scale) > DECIMAL_SCALE_MOST)
        return too_long(why);
    *out = d;
    return ERR_OK;
}

/* The written exponent, held within +-100000, far past what can matter. */
static int
read_exponent(const char *s)
{
    if (*s != 'e' && *s != 'E')
        return 0;
    bool minus = s[1] == '-';
    s += (s[1] == '-' || s[1] == '+') ? 2 : 1;
    int n = 0;
    for (; is_digit(*s) && n < 100000; s++)
        n = n * 10 + (*s - '0');
    return minus ? -n : n;
}

/* Digits so far, zeros at the end held back so that 1.000...0 is one digit. */
struct digits {
    decimal_int mantissa;
    long scale; /* of the mantissa, held-back zeros left out */
    int used;
    long zeros;
};

/* Takes one more digit; false when the mantissa is full. */
static bool
take_digit(struct digits *d, int digit, bool after_point)
{
    d->scale += after_point ? 1 : 0;
    if (digit == 0) {
        d->zeros += d->used > 0 ? 1 : 0;
        return true;
    }
    if (d->used + d->zeros + 1 > DIGITS_MOST)
        return false;
    d->mantissa = d->mantissa * power_of_ten((int)d->zeros + 1) + digit;
    d->used += (int)d->zeros + 1;
    d->zeros = 0;
    return true;
}

enum err
decimal_parse(const char *text, struct decimal *out_value, struct err_text *why)
{
    if (!decimal_is_number(text))
        return err_set(ERR_INPUT, why, "\"%.60s\" is not a number such as 12.5", text);
    bool minus = *text == '-';
    const char *s = text + (minus ? 1 : 0);
    struct digits d = {0};
    bool after_point = false;
    for (; is_digit(*s) || *s == '.'; s++) {
        if (*s == '.')
            after_point = true;
        else if (!take_digit(&d, *s - '0', after_point))
            return too_long(why);
    }
    if (d.mantissa == 0) {
        *out_value = (struct decimal){0, 0};
        return ERR_OK;
    }
    long scale = d.scale - d.zeros - read_exponent(s);
    long leading = d.used - scale; /* the value is 0.d1d2... x 10^leading */
    if (leading < -323) {
        *out_value = (struct decimal){0, 0};
        return ERR_OK;
    }
    if (leading > 309)
        return err_set(ERR_INPUT, why, "\"%.60s\" is too large", text);
    return finish(minus ? -d.mantissa : d.mantissa, (int)scale, out_value, why);
}

struct decimal
decimal_of(int64_t unscaled, int scale)
{
    return tidy(unscaled, scale);
}

static int
sign_of(decimal_int m)
{
    return (m > 0) - (m < 0);
}

/* Both above 0. The place of the first digit decides; when it is the same, the
 * shorter mantissa is filled up to the length of the longer, which always fits. */
static int
compare_positive(decimal_int a, int a_scale, decimal_int b, int b_scale)
{
    int a_first = count_digits(a) - a_scale;
    int b_first = count_digits(b) - b_scale;
    if (a_first != b_first)
        return a_first < b_first ? -1 : 1;
    if (a_scale < b_scale)
        a *= power_of_ten(b_scale - a_scale);
    else
        b *= power_of_ten(a_scale - b_scale);
    return (a > b) - (a < b);
}

int
decimal_compare(const struct decimal *a, const struct decimal *b)
{
    int sa = sign_of(a->mantissa);
    int sb = sign_of(b->mantissa);
    if (sa != sb)
        return sa < sb ? -1 : 1;
    if (sa == 0)
        return 0;
    return sa *
           compare_positive(magnitude(a->mantissa), a->scale, magnitude(b->mantissa), b->scale);
}

/* The mantissa at a larger scale; false when it does not fit. */
static bool
rescale(const struct decimal *a, int scale, decimal_int *out)
{
    int more = scale - a->scale;
    if (a->mantissa != 0 && count_digits(a->mantissa) + more > DIGITS_MOST)
        return false;
    *out = a->mantissa == 0 ? 0 : a->mantissa * power_of_ten(more);
    return true;
}

enum err
decimal_add(const struct decimal *a, const struct decimal *b, struct decimal *out_sum,
            struct err_text *why)
{
    int scale = a->scale > b->scale ? a->scale : b->scale;
    decimal_int ma = 0;
    decimal_int mb = 0;
    if (a->mantissa == 0 || b->mantissa == 0) {
        *out_sum = a->mantissa == 0 ? *b : *a;
        return ERR_OK;
    }
    if (!rescale(a, scale, &ma) || !rescale(b, scale, &mb))
        return too_long(why);
    decimal_int sum = 0;
    if (__builtin_add_overflow(ma, mb, &sum))
        return too_long(why);
    return finish(sum, scale, out_sum, why);
}

enum err
decimal_subtract(const struct decimal *a, const struct decimal *b, struct decimal *out_difference,
                 struct err_text *why)
{
    struct decimal minus_b = {-b->mantissa, b->scale};
    return decimal_add(a, &minus_b, out_difference, why);
}

enum err
decimal_multiply(const struct decimal *a, const struct decimal *b, struct decimal *out_product,
                 struct err_text *why)
{
    decimal_int product = 0;
    if (__builtin_mul_overflow(a->mantissa, b->mantissa, &product))
        return too_long(why);
    return finish(product, product == 0 ? 0 : a->scale + b->scale, out_product, why);
}

static decimal_int
greatest_common_divisor(decimal_int a, decimal_int b)
{
    while (b != 0) {
        decimal_int rest = a % b;
        a = b;
        b = rest;
    }
    return a;
}

/* n / d rounded half away from zero; d > 0. */
static decimal_int
divide_rounded(decimal_int n, decimal_int d)
{
    decimal_int whole = n / d;
    decimal_int rest = magnitude(n % d);
    if (rest >= d - rest)
        whole += n < 0 ? -1 : 1;
    return whole;
}

/* The quotient n / d of a fraction in lowest terms ends when d is 2^i 5^j: then
 * it is n x 10^k / d with k the larger of i and j. -1: it does not end. */
static int
places_to_end(decimal_int d)
{
    int twos = 0;
    int fives = 0;
    for (; d % 2 == 0; d /= 2)
        twos++;
    for (; d % 5 == 0; d /= 5)
        fives++;
    if (d != 1)
        return -1;
    return twos > fives ? twos : fives;
}

enum err
decimal_divide(const struct decimal *a, const struct decimal *b, int places,
               struct decimal *out_quotient, struct err_text *why)
{
    if (b->mantissa == 0)
        return err_set(ERR_INPUT, why, "division by zero");
    if (a->mantissa == 0) {
        *out_quotient = (struct decimal){0, 0};
        return ERR_OK;
    }
    decimal_int common = greatest_common_divisor(magnitude(a->mantissa), magnitude(b->mantissa));
    decimal_int n = a->mantissa / common * sign_of(b->mantissa);
    decimal_int d = magnitude(b->mantissa) / common;
    int scale = a->scale - b->scale;
    int more = places_to_end(d);
    if (more < 0)
        more = places - scale;
    if (more < 0) { /* fewer places than the dividend has: 0.12345 / 3 to 2 places */
        if (count_digits(d) - more > DIGITS_MOST) {
            *out_quotient = (struct decimal){0, 0};
            return ERR_OK;
        }
        return finish(divide_rounded(n, d * power_of_ten(-more)), places, out_quotient, why);
    }
    if (count_digits(n) + more > DIGITS_MOST)
        return too_long(why);
    return finish(divide_rounded(n * power_of_ten(more), d), scale + more, out_quotient, why);
}

struct decimal
decimal_round(const struct decimal *a, int places)
{
    int drop = a->scale - places;
    if (drop <= 0)
        return *a;
    if (drop > DIGITS_MOST)
        return (struct decimal){0, 0};
    return tidy(divide_rounded(a->mantissa, power_of_ten(drop)), places);
}

struct decimal
decimal_cut(const struct decimal *a, int places)
{
    int drop = a->scale - places;
    if (drop <= 0)
        return *a;
    if (drop > DIGITS_MOST)
        return (struct decimal){0, 0};
    return tidy(a->mantissa / power_of_ten(drop), places);
}

/* The mantissa's digits as text; returns how many. */
static int
print_digits(decimal_int m, char digits[DIGITS_MOST + 2])
{
    int n = count_digits(m);
    digits[n] = '\0';
    m = magnitude(m);
    for (int i = n - 1; i >= 0; i--, m /= 10)
        digits[i] = (char)('0' + (int)(m % 10));
    return n;
}

/* Digit number `place` of the value: 0 is the ones, 1 the tenths, -1 the tens. */
static char
digit_at(const struct decimal *a, const char *digits, int count, int place)
{
    int i = count - a->scale - 1 + place;
    return i >= 0 && i < count ? digits[i] : '0';
}

static const char *
print_with(const struct decimal *a, int places, char *text)
{
    char digits[DIGITS_MOST + 2];
    int count = print_digits(a->mantissa, digits);
    int before = count - a->scale;
    char *to = text;
    if (a->mantissa < 0)
        *to++ = '-';
    for (int place = before > 1 ? 1 - before : 0; place <= 0; place++)
        *to++ = digit_at(a, digits, count, place);
    if (places > 0)
        *to++ = '.';
    for (int place = 1; place <= places; place++)
        *to++ = digit_at(a, digits, count, place);
    *to = '\0';
    return text;
}

const char *
decimal_print(const struct decimal *a, char text[DECIMAL_TEXT_MAX])
{
    return print_with(a, a->scale, text);
}

const char *
decimal_print_places(const struct decimal *a, int places, char text[DECIMAL_TEXT_MAX])
{
    struct decimal rounded = decimal_round(a, places);
    return print_with(&rounded, places, text);
}

double
decimal_double(const struct decimal *a)
{
    char digits[DIGITS_MOST + 2];
    char text[DIGITS_MOST + 24];
    (void)print_digits(a->mantissa, digits);
    (void)snprintf(text, sizeof text, "%s%se%d", a->mantissa < 0 ? "-" : "",
                   digits[0] != '\0' ? digits : "0", -a->scale);
    return strtod(text, NULL);
}
