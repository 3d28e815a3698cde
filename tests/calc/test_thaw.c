/* Thaw time. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "daemon/calc/thaw.h"
#include "daemon/calc/thaw_material.h"
#include "tests/calc/csv.h"
#include "tests/calc/near.h"

static struct calc_thaw_in
row_of(const struct csv *t, int r)
{
    const char *shape = csv_text(t, r, "shape");
    return (struct calc_thaw_in){.shape = strcmp(shape, "slab") == 0       ? CALC_SLAB
                                          : strcmp(shape, "cylinder") == 0 ? CALC_CYLINDER
                                                                           : CALC_SPHERE,
                                 .size_m = csv_number(t, r, "size_m"),
                                 .h_w_m2_k = csv_number(t, r, "h_w_m2_k"),
                                 .surroundings_c = csv_number(t, r, "surroundings_c"),
                                 .initial_c = csv_number(t, r, "initial_c"),
                                 .k_frozen_w_m_k = csv_number(t, r, "k_frozen_w_m_k"),
                                 .k_thawed_w_m_k = csv_number(t, r, "k_thawed_w_m_k"),
                                 .c_frozen_mj_m3_k = csv_number(t, r, "c_frozen_mj_m3_k"),
                                 .c_thawed_mj_m3_k = csv_number(t, r, "c_thawed_mj_m3_k"),
                                 .latent_mj_m3 = csv_number(t, r, "latent_mj_m3"),
                                 .initial_freezing_c = csv_number(t, r, "initial_freezing_c")};
}

static struct calc_thaw_in
tub(enum calc_shape shape, double size_m, double h, double air_c, double initial_c)
{
    struct calc_thaw_in in = calc_thaw_grounds;
    in.shape = shape;
    in.size_m = size_m;
    in.h_w_m2_k = h;
    in.surroundings_c = air_c;
    in.initial_c = initial_c;
    return in;
}

/* Printed to 0.1 h; calc.md rule 23 asks for 5 %. */
Test(thaw, rule_23_agrees_with_the_numeric_table)
{
    struct csv *t = csv_reference("thaw_time_numeric.csv");
    for (int r = 0; r < t->rows; r++) {
        struct calc_thaw_in in = row_of(t, r);
        double want = csv_number(t, r, "thaw_time_h");
        enum calc_thaw_method method;
        EXPECT_NEAR(calc_thaw_enthalpy_h(&in), want, 0.05 + 0.002 * want, "row %d", r);
        EXPECT_NEAR(calc_thaw_cleland_h(&in), want, 0.09 * want, "row %d", r);
        EXPECT_NEAR(calc_thaw_time_h(&in, &method), want, 0.05 * want, "row %d", r);
        cr_assert(
            eq(int, method, in.surroundings_c > 5 ? CALC_THAW_CLELAND : CALC_THAW_ENTHALPY_1D));
    }
}

Test(thaw, rule_23_is_within_5_percent_of_the_enthalpy_solution_everywhere)
{
    static const double sizes[] = {0.02, 0.12, 0.3};
    static const double hs[] = {3, 8, 80, 400};
    static const double airs[] = {2, 4, 12, 20, 38};
    int inside = 0;
    for (int shape = 1; shape <= 3; shape++)
        for (int i = shape; i < 60; i += 4) {
            struct calc_thaw_in in =
                tub((enum calc_shape)shape, sizes[i % 3], hs[i / 3 % 4], airs[i / 12], -18);
            enum calc_thaw_method method;
            double time = calc_thaw_time_h(&in, &method);
            double solution = calc_thaw_enthalpy_h(&in);
            EXPECT_NEAR(time, solution, 0.05 * solution, "shape %d, row %d", shape, i);
            inside += method == CALC_THAW_CLELAND;
            if (method == CALC_THAW_CLELAND)
                cr_assert(calc_thaw_cleland_fits(&in));
        }
    cr_assert(inside > 5);
}

/* Plank's equation for the same slab, cylinder, sphere: the limit of small heat
 * capacity and equal conductivities (plank_examples.csv; 1.3 %, head of the thaw table). */
Test(thaw, reaches_planks_time_where_only_ice_counts)
{
    for (int e = 1; e <= 3; e++) {
        struct calc_thaw_in in = {
            (enum calc_shape)e, 0.1, 20, 20, -1.1, 0.5, 0.5, 0.002, 0.002, 200, -1};
        double a = in.size_m;
        double plank_s =
            200e6 / 21 * (a / (2 * e * in.h_w_m2_k) + a * a / (8 * e * in.k_thawed_w_m_k));
        /* from -1.1 only a part of the latent heat is left: L (1 - F/T) */
        double melted = 1 - 1 / 1.1;
        EXPECT_NEAR(calc_thaw_enthalpy_h(&in), plank_s * melted / 3600,
                    0.02 * plank_s * melted / 3600, "E %d", e);
    }
}

Test(thaw, plank_examples_are_the_equation)
{
    struct csv *t = csv_reference("plank_examples.csv");
    for (int r = 0; r < t->rows; r++) {
        double a = csv_number(t, r, "a_m");
        double s = csv_number(t, r, "density_kg_m3") * 1000 * csv_number(t, r, "latent_kj_kg") /
                   (csv_number(t, r, "freezing_point_c") - csv_number(t, r, "medium_c")) *
                   (csv_number(t, r, "p") * a / csv_number(t, r, "h_w_m2_k") +
                    csv_number(t, r, "r") * a * a / csv_number(t, r, "k_w_m_k"));
        EXPECT_NEAR(s, csv_number(t, r, "time_s"), 0.005 * s, "row %d", r);
    }
}

/* Twice the size at half the transfer is the same problem, four times slower. */
Test(thaw, time_goes_with_the_square_of_the_size_at_the_same_biot_number)
{
    for (int e = 1; e <= 3; e++) {
        struct calc_thaw_in small = tub((enum calc_shape)e, 0.08, 16, 6, -18);
        struct calc_thaw_in large = tub((enum calc_shape)e, 0.16, 8, 6, -18);
        double t = calc_thaw_enthalpy_h(&small);
        EXPECT_NEAR(calc_thaw_enthalpy_h(&large), 4 * t, 1e-6 * t, "E %d", e);
    }
}

Test(thaw, larger_is_slower_and_warmer_or_windier_is_faster)
{
    struct calc_thaw_in in = tub(CALC_CYLINDER, 0.12, 8, 10, -18);
    double t = calc_thaw_enthalpy_h(&in);
    in.size_m = 0.13;
    cr_assert(calc_thaw_enthalpy_h(&in) > t);
    in = tub(CALC_CYLINDER, 0.12, 9, 10, -18);
    cr_assert(calc_thaw_enthalpy_h(&in) < t);
    in = tub(CALC_CYLINDER, 0.12, 8, 11, -18);
    cr_assert(calc_thaw_enthalpy_h(&in) < t);
    in = tub(CALC_CYLINDER, 0.12, 8, 10, -25);
    cr_assert(calc_thaw_enthalpy_h(&in) > t);
    in = tub(CALC_SPHERE, 0.12, 8, 10, -18);
    cr_assert(calc_thaw_enthalpy_h(&in) < t);
}

/* A whole slab, both faces heated, by small explicit steps: an independent program.
 * The two halves must mirror each other, and the middle agree with the half slab. */
enum {
    CELLS = 40
};

static void
explicit_step(const struct material *m, double h[CELLS], double dx, double dt, double air_h,
              double air_c)
{
    double t[CELLS], flow[CELLS + 1];
    for (int i = 0; i < CELLS; i++)
        t[i] = material_temperature(m, h[i]);
    for (int i = 1; i < CELLS; i++)
        flow[i] = (material_conduction(m, t[i - 1]) - material_conduction(m, t[i])) / dx;
    double film = 1 / air_h + dx / 2 / material_conductivity(m, t[0]);
    flow[0] = (air_c - t[0]) / film;
    flow[CELLS] = -(air_c - t[CELLS - 1]) / film;
    for (int i = 0; i < CELLS; i++)
        h[i] += dt * (flow[i] - flow[i + 1]) / dx;
}

Test(thaw, a_whole_slab_is_symmetric_and_agrees_with_the_half)
{
    struct calc_thaw_in in = tub(CALC_SLAB, 0.06, 8, 20, -18);
    struct material m = material_of(&in);
    double h[CELLS], seconds = 0, dx = in.size_m / CELLS, dt = 0.5;
    for (int i = 0; i < CELLS; i++)
        h[i] = material_enthalpy(&m, -18);
    while (material_temperature(&m, h[CELLS / 2]) < 0) {
        explicit_step(&m, h, dx, dt, 8, 20);
        seconds += dt;
    }
    for (int i = 0; i < CELLS / 2; i++)
        EXPECT_NEAR(h[i], h[CELLS - 1 - i], 1e-3, "cell %d", i);
    double half = calc_thaw_enthalpy_h(&in);
    EXPECT_NEAR(seconds / 3600, half, 0.01 * half, "hours");
}

Test(thaw, temperature_and_enthalpy_are_an_inverse_pair)
{
    struct material m = material_of(&calc_thaw_grounds);
    for (int i = -400; i <= 400; i++) {
        double t = i / 10.0 + 0.003;
        EXPECT_NEAR(material_temperature(&m, material_enthalpy(&m, t)), t, 1e-9, "%g", t);
    }
}

Test(thaw, rule_23_already_at_0_takes_no_time)
{
    enum calc_thaw_method method;
    struct calc_thaw_in in = tub(CALC_SPHERE, 0.1, 8, 20, 0);
    cr_assert(eq(dbl, calc_thaw_time_h(&in, &method), 0));
    in.initial_c = 30;
    cr_assert(eq(dbl, calc_thaw_time_h(&in, &method), 0));
}

Test(thaw, extremes_come_out_finite)
{
    static const double sizes[] = {1e-4, 10};
    static const double hs[] = {0.01, 1e5};
    static const double airs[] = {0.001, 100};
    static const double starts[] = {-60, -0.001};
    for (int i = 0; i < 48; i += 3) {
        struct calc_thaw_in in = tub((enum calc_shape)(1 + i / 16), sizes[i & 1], hs[i >> 1 & 1],
                                     airs[i >> 2 & 1], starts[i >> 3 & 1]);
        for (int j = 0; j < 3; j++) {
            in.initial_freezing_c = j == 0 ? -1 : j == 1 ? 0 : -59;
            double t = calc_thaw_enthalpy_h(&in);
            cr_assert(t > 0 && t < 1e12, "row %d %d: %g", i, j, t);
        }
    }
}

/* One timed tub gives the site's own heat transfer back. */
Test(thaw, calibration_gives_the_timed_time_back)
{
    struct calc_thaw_in in = tub(CALC_CYLINDER, 0.12, 11.5, 4, -18);
    double timed = calc_thaw_enthalpy_h(&in);
    EXPECT_NEAR(calc_thaw_calibrated_h(&in, timed), 11.5, 0.03, "W/m2 K");
    cr_assert(isnan(calc_thaw_calibrated_h(&in, 0.01)));
}
