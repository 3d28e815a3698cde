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

/* One Newton correction of h towards the end of a step; returns its largest part,
 * relative to the heat of thawing. */
static double
correct(struct body *b, const double *before, double dt)
{
    int n = b->shells;
    double conduction[SHELLS_MOST], slope[SHELLS_MOST], upper[SHELLS_MOST], rest[SHELLS_MOST];
    double t = 0;
    for (int i = 0; i < n; i++) {
        t = material_temperature(&b->m, b->h[i]);
        conduction[i] = material_conduction(&b->m, t);
        slope[i] = material_conductivity(&b->m, t) / material_capacity(&b->m, t);
    }
    double air_slope = 0;
    double air = heat_from_air(b, conduction[n - 1], t, &air_slope);

    for (int i = 0; i < n; i++) { /* rows of the matrix, eliminated on the way (Thomas) */
        double in = dt * b->area[i] / b->dx;
        double out = i < n - 1 ? dt * b->area[i + 1] / b->dx : 0;
        double gap = b->volume[i] * (b->h[i] - before[i]);
        double diagonal = b->volume[i] + (in + out) * slope[i];
        if (i > 0)
            gap += in * (conduction[i] - conduction[i - 1]);
        if (i < n - 1)
            gap -= out * (conduction[i + 1] - conduction[i]);
        else {
            gap -= dt * b->area[n] * air;
            diagonal -= dt * b->area[n] * air_slope * slope[i];
        }
        double lower = i > 0 ? -in * slope[i - 1] : 0;
        double pivot = diagonal - (i > 0 ? lower * upper[i - 1] : 0);
        upper[i] = i < n - 1 ? -out * slope[i + 1] / pivot : 0;
        rest[i] = (-gap - (i > 0 ? lower * rest[i - 1] : 0)) / pivot;
    }
    double largest = 0;
    double scale = b->m.latent + b->m.c_thawed;
    for (int i = n - 1; i >= 0; i--) {
        if (i < n - 1)
            rest[i] -= upper[i] * rest[i + 1];
        b->h[i] += rest[i];
        largest = fmax(largest, fabs(rest[i]) / scale);
    }
    return largest;
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
