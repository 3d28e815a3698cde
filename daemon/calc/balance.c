/* balance.c - conservation in one batch. */
#include "daemon/calc/balance.h"

#include <math.h>

#include "daemon/calc/ethanol.h"

/* What went in, sorted. */
struct sum {
    struct calc_parts liquor;
    double dry_g;           /* grounds */
    double grounds_water_g; /* part of the liquor's water */
};

static void
add(struct sum *s, enum calc_input_kind kind, double mass_g, double pct)
{
    double part_g = mass_g * pct / 100;
    double ethanol_g = 0;
    switch (kind) {
    case CALC_GROUNDS:
        s->dry_g += mass_g - part_g;
        s->grounds_water_g += part_g;
        s->liquor.water_g += part_g;
        break;
    case CALC_SUGAR:
        s->liquor.sugar_g += mass_g;
        break;
    case CALC_SPIRIT:
        ethanol_g = mass_g * calc_ethanol_mass_fraction(pct, CALC_REFERENCE_C);
        s->liquor.ethanol_g += ethanol_g;
        s->liquor.water_g += mass_g - ethanol_g;
        break;
    case CALC_COFFEE:
        s->liquor.solids_g += part_g;
        s->liquor.water_g += mass_g - part_g;
        break;
    case CALC_WATER:
        s->liquor.water_g += mass_g;
        break;
    }
}

/* Which value of each lot: the likely one, or the end that makes the product
 * stronger (more ethanol, less of everything else that is liquor) or weaker. */
enum which {
    LIKELY,
    WEAKER,
    STRONGER
};

static double
value_of(const struct calc_input *in, enum which which)
{
    double less = in->kind == CALC_SPIRIT ? in->low : in->high;
    double more = in->kind == CALC_SPIRIT ? in->high : in->low;
    return which == LIKELY ? in->pct : which == WEAKER ? less : more;
}

static struct sum
sum_inputs(const struct calc_input *inputs, size_t count, enum which which)
{
    struct sum s = {0};
    for (size_t i = 0; i < count; i++)
        add(&s, inputs[i].kind, inputs[i].mass_g, value_of(&inputs[i], which));
    return s;
}

static double
held_liquor_g(const struct sum *s, double residue_g)
{
    return fmax(residue_g - s->dry_g, 0);
}

static struct calc_line
line_of(double in_g, double share, double dry_g, const struct calc_outputs *o, double held_g)
{
    struct calc_line l = {
        .in_g = in_g,
        .product_g = o->product_g * share,
        .residue_g = held_g * share + dry_g,
        .loss_g = o->loss_g * share,
    };
    l.gap_g = l.in_g - l.product_g - l.residue_g - l.loss_g;
    return l;
}

static void
fill_lines(const struct sum *s, const struct calc_outputs *o, double held_g,
           struct calc_line line[CALC_COMPONENTS])
{
    const struct calc_parts *p = &s->liquor;
    double liquor_g = p->ethanol_g + p->sugar_g + p->water_g + p->solids_g;
    double per_g = liquor_g > 0 ? 1 / liquor_g : 0;
    double dry_g = fmin(s->dry_g, o->residue_g); /* a residue lighter than that leaves a gap */
    line[CALC_TOTAL] = line_of(liquor_g + s->dry_g, 1, dry_g, o, held_g);
    line[CALC_ETHANOL] = line_of(p->ethanol_g, p->ethanol_g * per_g, 0, o, held_g);
    line[CALC_SUGAR_MASS] = line_of(p->sugar_g, p->sugar_g * per_g, 0, o, held_g);
    line[CALC_WATER_MASS] = line_of(p->water_g, p->water_g * per_g, 0, o, held_g);
    line[CALC_DRY_COFFEE] = line_of(s->dry_g + p->solids_g, p->solids_g * per_g, dry_g, o, held_g);
}

static double
low_abv(const struct calc_input *inputs, size_t count)
{
    struct sum s = sum_inputs(inputs, count, WEAKER);
    struct calc_blend b;
    calc_blend_of_parts(&s.liquor, &b);
    return b.abv_low;
}

/* Dry grounds, strong spirit, and some water that never left the grounds. */
static double
high_abv(const struct calc_input *inputs, size_t count, double residue_g)
{
    struct sum s = sum_inputs(inputs, count, STRONGER);
    double stays_g = fmin(held_liquor_g(&s, residue_g), s.grounds_water_g);
    s.liquor.water_g -= CALC_UNMIXED_SHARE * stays_g;
    struct calc_blend b;
    calc_blend_of_parts(&s.liquor, &b);
    return b.abv_high;
}

static void
fill_strength(const struct calc_input *inputs, size_t count, const struct calc_outputs *o,
              const struct calc_blend *liquor, struct calc_balance *out)
{
    out->abv_is_measured = !isnan(o->measured_abv_pct);
    if (out->abv_is_measured) {
        out->abv_pct = o->measured_abv_pct;
        out->abv_low = fmax(o->measured_abv_pct - o->measured_abv_doubt, 0);
        out->abv_high = fmin(o->measured_abv_pct + o->measured_abv_doubt, 100);
        return;
    }
    out->abv_pct = liquor->abv_pct;
    out->abv_low = low_abv(inputs, count);
    out->abv_high = high_abv(inputs, count, o->residue_g);
}

static void
fill_ethanol_ml(struct calc_balance *out)
{
    const struct calc_line *e = &out->line[CALC_ETHANOL];
    double ml_per_g = 1000 / CALC_ETHANOL_20C;
    out->ethanol_in_ml = e->in_g * ml_per_g;
    out->ethanol_residue_ml = e->residue_g * ml_per_g;
    out->ethanol_loss_ml = e->loss_g * ml_per_g;
    out->ethanol_product_ml = e->product_g * ml_per_g;
    if (out->abv_is_measured) /* a measurement takes the place of the estimate */
        out->ethanol_product_ml = out->product_ml * out->abv_pct / 100;
    out->ethanol_gap_ml = out->ethanol_in_ml - out->ethanol_product_ml - out->ethanol_residue_ml -
                          out->ethanol_loss_ml;
}

void
calc_balance(const struct calc_input *inputs, size_t count, const struct calc_outputs *outputs,
             struct calc_balance *out)
{
    struct sum s = sum_inputs(inputs, count, LIKELY);
    struct calc_blend liquor;
    *out = (struct calc_balance){0};
    calc_blend_of_parts(&s.liquor, &liquor);
    out->held_liquor_g = held_liquor_g(&s, outputs->residue_g);
    fill_lines(&s, outputs, out->held_liquor_g, out->line);
    fill_strength(inputs, count, outputs, &liquor, out);
    if (liquor.volume_ml > 0)
        out->product_ml = 1000 * outputs->product_g / liquor.density_kg_m3;
    fill_ethanol_ml(out);
}
