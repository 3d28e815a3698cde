/* thaw_enthalpy.c - the one-dimensional enthalpy solution.
 *
 * Shells of equal thickness from the centre to the surface, each with enthalpy h.
 * A step is implicit (backward Euler): for every shell
 *
 *   V (h - h_before) = dt (heat in from its neighbours and, outside, the air)
 *
 * with heat flows from the Kirchhoff integral of the temperature that belongs to
 * h. Newton on all shells at once; the matrix has three diagonals.
 */
#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "daemon/calc/solve.h"
#include "daemon/calc/thaw.h"
#include "daemon/calc/thaw_material.h"

enum {
    SHELLS_MOST = 160,
    NEWTON_MOST = 40
};

struct body {
    struct material m;
    int shells;
    double dx;                    /* thickness of a shell, m */
    double air_c, air_h;          /* C, W/m2 K */
    double volume[SHELLS_MOST];   /* per unit of length or angle */
    double area[SHELLS_MOST + 1]; /* area[i]: inner face of shell i; area[shells]: the surface */
    double h[SHELLS_MOST];
};

static void
body_init(struct body *b, const struct calc_thaw_in *in, int shells)
{
    b->m = material_of(in);
    b->shells = shells;
    b->dx = in->size_m / 2 / shells;
    b->air_c = in->surroundings_c;
    b->air_h = in->h_w_m2_k;
    int e = (int)in->shape; /* 1, 2, 3: area goes with r^(e-1), volume with r^e / e */
    for (int i = 0; i < shells; i++) {
        double inner = i * b->dx;
        double outer = (i + 1) * b->dx;
        b->area[i] = i == 0 ? 0 : pow(inner, e - 1);
        b->volume[i] = (pow(outer, e) - (i == 0 ? 0 : pow(inner, e))) / e;
        b->h[i] = material_enthalpy(&b->m, in->initial_c);
    }
    b->area[shells] = pow(shells * b->dx, e - 1);
}

/* What the surface's temperature must fulfil: conduction out of the last shell's
 * middle equals what the air gives. */
struct surface {
    const struct body *b;
    double conduction; /* of the last shell's middle */
};

static double
surface_gap(double t, const void *context, double *out_slope)
{
    const struct surface *s = context;
    const struct body *b = s->b;
    double half = b->dx / 2;
    *out_slope = material_conductivity(&b->m, t) + b->air_h * half;
    return material_conduction(&b->m, t) - s->conduction - b->air_h * half * (b->air_c - t);
}

/* Heat from the air, W/m2, and how it changes with the last shell's conduction. */
static double
heat_from_air(const struct body *b, double conduction, double shell_c, double *out_slope)
{
    const struct material *m = &b->m;
    double film = b->air_h * b->dx / 2;
    double t = (conduction + m->k_thawed * m->freezing_c + film * b->air_c) / (m->k_thawed + film);
    if (t < m->freezing_c) {
        struct surface s = {b, conduction};
        t = calc_solve(surface_gap, &s, fmin(shell_c, b->air_c), b->air_c, 1e-9);
    }
    *out_slope = -b->air_h / (material_conductivity(m, t) + film);
    return b->air_h * (b->air_c - t);
}

/* What belongs to the shells' h: conduction integrals and their slopes by h. */
struct field {
    double conduction[SHELLS_MOST], slope[SHELLS_MOST];
    double air, air_slope; /* heat from the air, W/m2, and its slope by the last h */
};

static void
field_of(const struct body *b, struct field *f)
{
    int last = b->shells - 1;
    double t = 0;
    double slope = 0;
    for (int i = 0; i <= last; i++) {
        t = material_temperature(&b->m, b->h[i]);
        f->conduction[i] = material_conduction(&b->m, t);
        slope = material_conductivity(&b->m, t) / material_capacity(&b->m, t);
        f->slope[i] = slope;
    }
    f->air = heat_from_air(b, f->conduction[last], t, &f->air_slope);
    f->air_slope *= slope; /* of the last shell */
}

/* One shell's equation: what is missing, and its slopes by the h of the shell
 * inside (`lower`), of itself and of the one outside (`upper`). */
struct row {
    double gap, lower, diagonal, upper;
};

static struct row
row_of(const struct body *b, const struct field *f, int i, double before, double dt)
{
    bool innermost = i == 0;
    bool outermost = i == b->shells - 1;
    double in = innermost ? 0 : dt * b->area[i] / b->dx;
    double out = outermost ? 0 : dt * b->area[i + 1] / b->dx;
    double heat = 0;
    if (!innermost)
        heat -= in * (f->conduction[i] - f->conduction[i - 1]);
    if (!outermost)
        heat += out * (f->conduction[i + 1] - f->conduction[i]);
    struct row r = {
        .gap = b->volume[i] * (b->h[i] - before) - heat,
        .lower = innermost ? 0 : -in * f->slope[i - 1],
        .diagonal = b->volume[i] + (in + out) * f->slope[i],
        .upper = outermost ? 0 : -out * f->slope[i + 1],
    };
    if (outermost) {
        r.gap -= dt * b->area[b->shells] * f->air;
        r.diagonal -= dt * b->area[b->shells] * f->air_slope;
    }
    return r;
}

/* One Newton correction of h towards the end of a step, the three diagonals solved
 * by elimination (Thomas); returns its largest part, relative to the heat of thawing. */
static double
correct(struct body *b, const double *before, double dt)
{
    struct field f;
    double upper[SHELLS_MOST], rest[SHELLS_MOST];
    field_of(b, &f);
    double next_upper = 0;
    double next_rest = 0;
    for (int i = 0; i < b->shells; i++) {
        struct row r = row_of(b, &f, i, before[i], dt);
        double pivot = r.diagonal - r.lower * next_upper;
        next_upper = upper[i] = r.upper / pivot;
        next_rest = rest[i] = (-r.gap - r.lower * next_rest) / pivot;
    }
    double largest = 0;
    double correction = 0;
    for (int i = b->shells; i-- > 0;) {
        correction = rest[i] - upper[i] * correction;
        b->h[i] += correction;
        largest = fmax(largest, fabs(correction));
    }
    return largest / (b->m.latent + b->m.c_thawed);
}

/* One step of dt; false (h as before) when Newton does not settle. */
static bool
step(struct body *b, double dt)
{
    double before[SHELLS_MOST];
    size_t size = (size_t)b->shells * sizeof before[0];
    memcpy(before, b->h, size);
    for (int i = 0; i < NEWTON_MOST; i++)
        if (correct(b, before, dt) < 1e-7)
            return true;
    memcpy(b->h, before, size);
    return false;
}

/* A step of dt in as many parts as it needs, up to 1024. */
static bool
steps(struct body *b, double dt)
{
    double done = 0;
    double part = dt;
    while (done < dt * (1 - 1e-9)) {
        if (step(b, part))
            done += part;
        else if (part > dt / 1024)
            part /= 2;
        else
            return false;
    }
    return true;
}

/* At r = 0, from the parabola through the two innermost shells. */
static double
centre_c(const struct body *b)
{
    double first = material_temperature(&b->m, b->h[0]);
    double second = material_temperature(&b->m, b->h[1]);
    return first - (second - first) / 8;
}

/* Seconds, roughly: Plank for the ice, an exponential for the rest, and the time heat
 * needs to be felt in the middle. Sets the step. */
static double
rough_time(const struct calc_thaw_in *in)
{
    struct material m = material_of(in);
    double d = in->size_m;
    double resistance = (d / (2 * in->h_w_m2_k) + d * d / (8 * m.k_thawed)) / (int)in->shape;
    double heat = material_enthalpy(&m, 0) - material_enthalpy(&m, in->initial_c);
    double drive = in->surroundings_c - m.freezing_c;
    double felt = 0.02 * m.c_thawed * d * d / m.k_thawed;
    return felt + resistance * (heat / drive + m.c_thawed * log(drive / in->surroundings_c));
}

/* Seconds until the centre is at 0 C, NAN when it does not come out. */
static double
thaw_time(const struct calc_thaw_in *in, int shells, int parts)
{
    struct body b;
    body_init(&b, in, shells);
    double dt = rough_time(in) / parts;
    double colder = in->initial_c;
    for (int i = 0; i < 40 * parts; i++) {
        if (!steps(&b, dt))
            return NAN;
        double now = centre_c(&b);
        if (now >= 0)
            return dt * (i + colder / (colder - now));
        colder = now;
    }
    return NAN;
}

/* Grid and step are halved together; the error is first order in them (mostly of
 * the step), so two times give a third without it (Richardson). */
double
calc_thaw_enthalpy_h(const struct calc_thaw_in *in)
{
    if (in->initial_c >= 0)
        return 0;
    double coarse = thaw_time(in, 20, 200);
    double last = NAN;
    for (int shells = 40; shells <= SHELLS_MOST; shells *= 2) {
        double fine = thaw_time(in, shells, 10 * shells);
        double limit = 2 * fine - coarse;
        if (fabs(limit - last) <= 0.001 * limit)
            return limit / 3600;
        last = limit;
        coarse = fine;
    }
    return last / 3600;
}
