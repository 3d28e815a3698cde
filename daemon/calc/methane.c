/* methane.c - IPCC first order decay. */
#include "daemon/calc/methane.h"

#include <math.h>
#include <stdio.h>

#include "daemon/calc/emissions.h"

static const struct decimal ONE = {1, 0};
static const struct decimal CARBON_TO_CH4_TOP = {4, 0}; /* 16/12 = 4/3 */
static const struct decimal CARBON_TO_CH4_BOTTOM = {3, 0};

static double
rest_of(const struct decimal *share)
{
    struct decimal rest = {0, 0};
    if (decimal_subtract(&ONE, share, &rest, NULL) != ERR_OK)
        return 1 - decimal_double(share);
    return decimal_double(&rest);
}

/* All digits of mass x shares x 4 x gwp / 3; ERR_INPUT when they are too many. */
static enum err
exact_co2e(const struct calc_methane_in *in, struct decimal *out)
{
    struct decimal not_oxidised = {0, 0};
    struct decimal not_collected = {0, 0};
    enum err e = decimal_subtract(&ONE, &in->ox, &not_oxidised, NULL);
    if (e == ERR_OK)
        e = decimal_subtract(&ONE, &in->collection, &not_collected, NULL);
    const struct decimal *parts[] = {&in->doc,      &in->docf,      &in->mcf,           &in->f,
                                     &not_oxidised, &not_collected, &CARBON_TO_CH4_TOP, &in->gwp};
    struct decimal product = in->mass_kg;
    for (size_t i = 0; e == ERR_OK && i < sizeof parts / sizeof parts[0]; i++)
        e = decimal_multiply(&product, parts[i], &product, NULL);
    if (e == ERR_OK)
        e = decimal_divide(&product, &CARBON_TO_CH4_BOTTOM, CALC_EMISSION_PLACES, out, NULL);
    return e;
}

/* A double at 6 decimals. */
static struct decimal
six_places(double value)
{
    char text[DECIMAL_TEXT_MAX];
    struct decimal d = {0, 0};
    (void)snprintf(text, sizeof text, "%.6f", value);
    (void)decimal_parse(text, &d, NULL); /* values stay under 1e30 */
    return d;
}

static struct decimal
smaller(struct decimal a, struct decimal b)
{
    return decimal_compare(&a, &b) <= 0 ? a : b;
}

static struct decimal
larger(struct decimal a, struct decimal b)
{
    return decimal_compare(&a, &b) >= 0 ? a : b;
}

void
calc_methane(const struct calc_methane_in *in, struct calc_methane *out)
{
    double doc = decimal_double(&in->doc);
    double per_doc = decimal_double(&in->mass_kg) * decimal_double(&in->docf) *
                     decimal_double(&in->mcf) * decimal_double(&in->f) * 16 / 12;
    double kept = rest_of(&in->collection) * rest_of(&in->ox);
    double gwp = decimal_double(&in->gwp);
    out->generated_kg = per_doc * doc;
    out->emitted_kg = out->generated_kg * kept;
    if (exact_co2e(in, &out->kg_co2e) != ERR_OK)
        out->kg_co2e = six_places(out->emitted_kg * gwp);
    out->low = smaller(six_places(per_doc * fmin(doc, CALC_DOC_LOW) * kept * gwp), out->kg_co2e);
    out->high = larger(six_places(per_doc * fmax(doc, CALC_DOC_HIGH) * kept * gwp), out->kg_co2e);
}

double
calc_methane_year_kg(double emitted_kg, double k, int n)
{
    return emitted_kg * exp(-k * (n - 1)) * -expm1(-k);
}
