/* Forecasts of days from days. Golden numbers: python3-statsmodels 0.13.5 (Debian 12),
 * tsa.holtwinters.ExponentialSmoothing, an implementation of its own of Hyndman and Athanasopoulos'
 * equations. Simulated cafés are made here; their bounds are judgement, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/calc/forecast.h"
#include "daemon/calc/smooth.h"
#include "tests/calc/near.h"

/* ---- smoothing against an independent implementation */

/* ES(y, trend='add', damped_trend=True, seasonal='mul', seasonal_periods=7,
 *    initialization_method='known', initial_level=33, initial_trend=0.2, initial_seasonal=...)
 *   .fit(smoothing_level=.2, smoothing_trend=.05, smoothing_seasonal=.15, damping_trend=.95,
 *        optimized=False); fittedvalues, forecast(14). Of the weekday of the last value forecast()
 * takes the share before that value came (0.13.5); days 7 and 14 are from the level, trend and
 * seasons of the same result instead. */
static const double golden_values[28] = {31, 28, 33, 35, 44, 52, 12, 30, 31, 34, 36, 47, 55, 14,
                                         33, 29, 36, 40, 46, 60, 13, 35, 33, 38, 39, 52, 61, 15};
static const double golden_fitted[28] = {29.871,
                                         28.58831019444445,
                                         31.98754624690605,
                                         34.06178408165956,
                                         44.75509765558472,
                                         55.15840590383451,
                                         13.686186224830799,
                                         30.28633422162458,
                                         28.370520879705442,
                                         32.65223101097862,
                                         34.7490975925259,
                                         45.354627128678224,
                                         56.08669630426055,
                                         13.87295066397576,
                                         32.09640858531666,
                                         30.78163450986821,
                                         34.09806054916769,
                                         36.34789998643853,
                                         48.058343922237206,
                                         57.97916325952179,
                                         14.558854300140295,
                                         32.95945802475438,
                                         31.389971618660567,
                                         36.1619071358874,
                                         38.77522183235406,
                                         49.22053017338146,
                                         61.29964640964668,
                                         14.946738858196};
static const double golden_ahead[14] = {
    35.52747666072154,  33.38022423849139,  38.05620860689497, 40.10151937924041, 51.20038984555264,
    62.41118103162712,  15.237273304597055, 36.13881726374232, 33.92434442453697, 38.64394544972788,
    40.688375371854015, 51.910483186782606, 63.23159112097399, 15.427142383571072};

Test(forecast, smoothing_is_damped_holt_winters_when_no_error_is_far)
{
    static const double season[7] = {0.90, 0.85, 0.95, 1.0, 1.3, 1.6, 0.4};
    struct calc_smooth_gain gain = {0.2, 0.05, 0.15, 0.95};
    struct calc_smooth s;
    calc_smooth_start(&s, 7);
    s.level = 33;
    s.trend = 0.2;
    s.seen = 1000;
    s.spread = INFINITY;
    for (int i = 0; i < 7; i++) {
        s.season[i] = season[i];
        s.weeks[i] = 1000;
    }
    for (int t = 0; t < 28; t++) {
        EXPECT_NEAR(calc_smooth_ahead(&s, &gain, t % 7, 1, NULL), golden_fitted[t], 1e-9,
                    "fitted %d", t);
        calc_smooth_take(&s, &gain, t % 7, golden_values[t], NULL);
    }
    for (int h = 1; h <= 14; h++)
        EXPECT_NEAR(calc_smooth_ahead(&s, &gain, (h - 1) % 7, h, NULL), golden_ahead[h - 1], 1e-9,
                    "%d days ahead", h);
}

/* ---- made-up cafés */

enum {
    AHEAD = 14,
    DAYS = 400
};

static const double week[7] = {0.8, 0.85, 0.9, 1.0, 1.25, 1.6, 0.6};

struct made {
    struct calc_forecast_ask ask;
    double values[12 * DAYS];
    signed char mark[12 * (DAYS + AHEAD)];
};

static struct made made;
static uint64_t state;

static double
chance(void) /* 0..1 */
{
    state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (double)(state >> 11) / 9007199254740992.0;
}

static double
bell(void) /* mean 0, spread 1: Irwin-Hall */
{
    double sum = -6;
    for (int i = 0; i < 12; i++)
        sum += chance();
    return sum;
}

static void
begin(size_t series, size_t past)
{
    memset(&made, 0, sizeof made);
    made.ask = (struct calc_forecast_ask){series, past, AHEAD, 0, made.values, made.mark};
}

static double *
at(size_t series, size_t day)
{
    return &made.values[series * made.ask.past + day];
}

/* Weekdays, a trend a day, noise relative to the day. */
static void
fill(size_t series, double level, double trend, double noise)
{
    for (size_t d = 0; d < made.ask.past; d++) {
        double usual = (level + trend * (double)d) * week[d % 7];
        *at(series, d) = fmax(usual * (1 + noise * bell()), 0);
    }
}

static struct calc_forecast *
ask(void)
{
    struct calc_forecast *f = NULL;
    struct err_text why = {.s = ""};
    cr_assert(calc_forecast(&made.ask, &f, &why) == ERR_OK, "%s", why.s);
    return f;
}

Test(forecast, with_weekdays_and_a_trend_it_beats_the_same_day_last_week)
{
    double quotient = 0;
    int won = 0;
    state = 11;
    for (int i = 0; i < 40; i++) {
        begin(1, 120);
        fill(0, 3000, 8, 0.15);
        struct calc_forecast *f = ask();
        quotient += f->scores[0].error / f->scores[0].naive_error / 40;
        won += f->scores[0].used;
        calc_forecast_free(f);
    }
    cr_assert(quotient < 0.85, "its error is %.3f of the naive one's", quotient);
    cr_assert(won >= 36, "used in %d of 40", won);
}

Test(forecast, two_weeks_ahead_the_interval_holds_about_four_of_five_days)
{
    int held = 0, n = 0, inside = 0, intervals = 0;
    double error = 0, naive = 0;
    state = 12;
    for (int i = 0; i < 60; i++) {
        begin(1, 200 + AHEAD);
        fill(0, 3000, 4, 0.2);
        double came[AHEAD];
        for (size_t h = 0; h < AHEAD; h++)
            came[h] = *at(0, 200 + h);
        made.ask.past = 200; /* one series: the days lie as before */
        struct calc_forecast *f = ask();
        for (size_t h = 0; h < AHEAD; h++, n++) {
            const struct calc_forecast_day *day = &f->days[h];
            held += came[h] >= day->low && came[h] <= day->high;
            error += fabs(came[h] - day->value);
            naive += fabs(came[h] - day->naive);
        }
        inside += f->scores[0].inside;
        intervals += f->scores[0].intervals;
        calc_forecast_free(f);
    }
    cr_assert(held > n * 72 / 100 && held < n * 90 / 100, "held %d of %d", held, n);
    cr_assert(inside > intervals * 74 / 100 && inside < intervals * 90 / 100, "held %d of %d",
              inside, intervals);
    cr_assert(error < naive * 0.85, "ahead: %.0f, naive %.0f", error, naive);
}

Test(forecast, the_past_is_forecast_from_earlier_days_only)
{
    struct calc_forecast_error before[CALC_FORECAST_WINDOW];
    state = 13;
    begin(2, 150);
    fill(0, 3000, 5, 0.2);
    fill(1, 900, 0, 0.3);
    double kept[2][150];
    for (size_t i = 0; i < 2; i++)
        memcpy(kept[i], at(i, 0), sizeof kept[i]);
    struct calc_forecast *f = ask();
    memcpy(before, f->errors, sizeof before);
    calc_forecast_free(f);
    begin(2, 170); /* twenty wild days follow */
    for (size_t i = 0; i < 2; i++)
        for (size_t d = 0; d < 170; d++)
            *at(i, d) = d < 150 ? kept[i][d] : 20000 * chance();
    f = ask();
    for (int k = 20; k < CALC_FORECAST_WINDOW; k++) {
        cr_assert(before[k].scored && f->errors[k - 20].scored);
        EXPECT_NEAR(f->errors[k - 20].smoothed, before[k].smoothed, 0, "day %d", k);
        EXPECT_NEAR(f->errors[k - 20].used, before[k].used, 0, "day %d", k);
    }
    calc_forecast_free(f);
}

Test(forecast, where_last_week_is_the_better_guide_it_is_used)
{
    double level[7] = {3000, 2000, 4000, 2500, 3500, 6000, 1000};
    state = 14;
    begin(1, 140);
    for (size_t d = 0; d < 140; d++) { /* each weekday wanders by itself and has no noise */
        level[d % 7] = fmax(level[d % 7] + 400 * bell(), 0);
        *at(0, d) = level[d % 7];
    }
    struct calc_forecast *f = ask();
    cr_assert(not(f->scores[0].used));
    for (size_t h = 0; h < AHEAD; h++) {
        cr_assert(f->days[h].why == CALC_FORECAST_NOT_BEATS);
        EXPECT_NEAR(f->days[h].value, level[h % 7], 1e-9, "day %zu", h);
    }
    calc_forecast_free(f);
    begin(1, 140); /* always the same: neither is wrong, so nothing beats the naive one */
    for (size_t d = 0; d < 140; d++)
        *at(0, d) = 500;
    f = ask();
    cr_assert(f->days[0].why == CALC_FORECAST_NOT_BEATS);
    EXPECT_NEAR(f->days[3].value, 500, 0, "constant");
    calc_forecast_free(f);
}

Test(forecast, a_missing_day_is_unknown_and_a_zero_is_a_zero)
{
    begin(2, 140);
    for (size_t d = 0; d < 140; d++) {
        *at(0, d) = d % 3 == 1 ? CALC_FORECAST_UNKNOWN : 1000;
        *at(1, d) = d % 3 == 1 ? 0 : 1000;
    }
    struct calc_forecast *f = ask();
    double all = 0, some = 0;
    for (size_t h = 0; h < AHEAD; h++) {
        all += f->days[h].smoothed / AHEAD;
        some += f->days[AHEAD + h].smoothed / AHEAD;
    }
    EXPECT_NEAR(all, 1000, 30, "unknown days");
    EXPECT_NEAR(some, 667, 100, "zero days");
    cr_assert(eq(int, f->scores[0].scored, 37)); /* of the last 56 days 19 are unknown */
    calc_forecast_free(f);
}

Test(forecast, one_festival_day_does_not_capture_it_but_a_change_does)
{
    begin(1, 140);
    for (size_t d = 0; d < 140; d++)
        *at(0, d) = d == 137 ? 10000 : 1000 * (d % 2 == 0 ? 1.05 : 0.95);
    struct calc_forecast *f = ask();
    for (size_t h = 0; h < 7; h++)
        cr_assert(f->days[h].smoothed < 1250, "day %zu: %.0f", h, f->days[h].smoothed);
    calc_forecast_free(f);
    for (size_t d = 112; d < 140; d++) /* four weeks of twice as much */
        *at(0, d) = 2000 * (d % 2 == 0 ? 1.05 : 0.95);
    f = ask();
    for (size_t h = 0; h < 7; h++)
        cr_assert(f->days[h].smoothed > 1700 && f->days[h].smoothed < 2300, "day %zu: %.0f", h,
                  f->days[h].smoothed);
    calc_forecast_free(f);
}

Test(forecast, a_new_cafe_borrows_the_weekdays_of_the_others)
{
    state = 15;
    begin(6, 140);
    for (size_t i = 0; i < 5; i++)
        fill(i, 1000.0 * (double)(i + 1), 0, 0.1);
    for (size_t d = 0; d < 140; d++) /* open since Monday, at 2000 a day */
        *at(5, d) = d < 133 ? CALC_FORECAST_UNKNOWN : 2000 * week[d % 7];
    for (size_t d = 137; d < 140; d++) /* Friday to Sunday it did not tell */
        *at(5, d) = CALC_FORECAST_UNKNOWN;
    struct calc_forecast *f = ask();
    const struct calc_forecast_day *day = &f->days[5 * AHEAD];
    cr_assert(day[5].why == CALC_FORECAST_ALONE); /* it never had a Saturday */
    EXPECT_NEAR(day[5].value, 2000 * week[5], 320, "Saturday");
    EXPECT_NEAR(day[6].value, 2000 * week[6], 160, "Sunday");
    cr_assert(day[5].low < 2000 * week[5] && day[5].high > 2000 * week[5]);
    cr_assert(day[5].high < 2 * 2000 * week[5]); /* the others' errors say how wide */
    calc_forecast_free(f);
}

Test(forecast, closed_days_are_nothing_and_special_days_are_as_they_were)
{
    state = 16;
    begin(3, 300);
    for (size_t i = 0; i < 3; i++)
        fill(i, 2000, 0, 0.05);
    for (size_t i = 0; i < 3; i++) {
        signed char *mark = &made.mark[i * (300 + AHEAD)];
        mark[100] = mark[200] = mark[302] = 4; /* the regatta: half as much again, twice */
        *at(i, 100) = 2000 * week[100 % 7] * 1.5;
        *at(i, 200) = 2000 * week[200 % 7] * 1.5;
        mark[290] = mark[301] = CALC_FORECAST_CLOSED;
        *at(i, 290) = 0;
    }
    struct calc_forecast *f = ask();
    cr_assert(f->days[1].why == CALC_FORECAST_SHUT);
    EXPECT_NEAR(f->days[1].value, 0, 0, "closed");
    EXPECT_NEAR(f->days[1].high, 0, 0, "closed");
    EXPECT_NEAR(f->days[2].smoothed / (2000 * week[302 % 7]), 1.43, 0.1, "the regatta");
    EXPECT_NEAR(f->days[3].smoothed / (2000 * week[303 % 7]), 1, 0.1, "the day after");
    EXPECT_NEAR(f->days[290 + 14 - 300].naive / (2000 * week[290 % 7]), 1, 0.2,
                "naive passes over the closed day");
    calc_forecast_free(f);
}

Test(forecast, a_weekday_off_is_learned_and_nothing_is_below_nothing)
{
    state = 17;
    begin(1, 140);
    fill(0, 800, 0, 0.6);
    for (size_t d = 0; d < 140; d++)
        if (d % 7 == 6)
            *at(0, d) = 0;
    struct calc_forecast *f = ask();
    cr_assert(f->days[6].value < 60, "Sunday: %.1f", f->days[6].value);
    for (size_t h = 0; h < AHEAD; h++) {
        cr_assert(f->days[h].low >= 0 && f->days[h].value >= f->days[h].low);
        cr_assert(f->days[h].high >= f->days[h].value);
    }
    calc_forecast_free(f);
}

Test(forecast, the_order_of_cafes_changes_nothing)
{
    double value[4], high[4];
    state = 18;
    begin(4, 140);
    for (size_t i = 0; i < 4; i++)
        fill(i, 1000.0 * (double)(i + 1), (double)i, 0.2);
    struct calc_forecast *f = ask();
    for (size_t i = 0; i < 4; i++) {
        value[i] = f->days[i * AHEAD + 9].value;
        high[i] = f->days[i * AHEAD + 9].high;
    }
    calc_forecast_free(f);
    static double turned[4 * 140];
    for (size_t i = 0; i < 4; i++)
        memcpy(&turned[i * 140], at(3 - i, 0), 140 * sizeof(double));
    memcpy(made.values, turned, sizeof turned);
    f = ask();
    for (size_t i = 0; i < 4; i++) {
        EXPECT_NEAR(f->days[(3 - i) * AHEAD + 9].value, value[i], 1e-6, "café %zu", i);
        EXPECT_NEAR(f->days[(3 - i) * AHEAD + 9].high, high[i], 1e-6, "café %zu", i);
    }
    calc_forecast_free(f);
}

Test(forecast, a_sum_has_an_interval_of_its_own_narrower_than_all_added)
{
    struct calc_forecast_day days[AHEAD];
    struct calc_forecast_score score;
    size_t which[8] = {0, 1, 2, 3, 4, 5, 6, 7};
    state = 19;
    begin(8, 200);
    for (size_t i = 0; i < 8; i++)
        fill(i, 1500, 2, 0.25);
    struct calc_forecast *f = ask();
    calc_forecast_sum(f, which, 8, days, &score);
    double value = 0, half = 0;
    for (size_t i = 0; i < 8; i++) {
        value += f->days[i * AHEAD + 3].value;
        half += f->days[i * AHEAD + 3].high - f->days[i * AHEAD + 3].value;
    }
    EXPECT_NEAR(days[3].value, value, 1e-6, "sum");
    cr_assert(days[3].high - days[3].value < half * 0.6);
    cr_assert(days[3].high - days[3].value > half * 0.15);
    cr_assert(eq(int, score.scored, CALC_FORECAST_WINDOW));
    cr_assert(score.error < score.naive_error);
    calc_forecast_free(f);
}

/* By hand: of 9 errors the 8th, ceil(10 x 0.8), is the width; of 8 the last, ceil(7.2). */
Test(forecast, the_width_is_the_conformal_rank)
{
    double nine[] = {9, 1, 8, 2, 7, 3, 6, 4, 5}, eight[] = {1, 2, 3, 4, 5, 6, 7, 8};
    EXPECT_NEAR(calc_forecast_width(nine, 9, 8), 8, 0, "nine");
    EXPECT_NEAR(calc_forecast_width(eight, 8, 8), 8, 0, "eight");
    EXPECT_NEAR(calc_forecast_width(eight, 7, 8), CALC_FORECAST_UNKNOWN, 0, "too few");
}

Test(forecast, nothing_known_is_nothing_and_a_cafe_gone_quiet_too)
{
    begin(3, 200);
    for (size_t d = 0; d < 200; d++) {
        *at(0, d) = CALC_FORECAST_UNKNOWN;
        *at(1, d) = d < 100 ? 1000 : CALC_FORECAST_UNKNOWN;
        *at(2, d) = 0;
    }
    struct calc_forecast *f = ask();
    for (size_t i = 0; i < 3; i++) {
        cr_assert(f->days[i * AHEAD].why == CALC_FORECAST_NOTHING);
        EXPECT_NEAR(f->days[i * AHEAD].value, 0, 0, "series %zu", i);
        EXPECT_NEAR(f->days[i * AHEAD].high, 0, 0, "series %zu", i);
    }
    calc_forecast_free(f);
    begin(1, 200); /* a first day, and that is all: everything up to twice as much */
    for (size_t d = 0; d < 199; d++)
        *at(0, d) = CALC_FORECAST_UNKNOWN;
    *at(0, 199) = 700;
    f = ask();
    EXPECT_NEAR(f->days[0].value, 700, 1e-9, "one day");
    EXPECT_NEAR(f->days[0].low, 0, 1e-9, "one day");
    EXPECT_NEAR(f->days[0].high, 1400, 1e-9, "one day");
    calc_forecast_free(f);
    begin(0, 0);
    calc_forecast_free(ask());
}

Test(forecast, absurd_numbers_are_refused)
{
    struct calc_forecast *f = NULL;
    struct err_text why = {.s = ""};
    static const double bad[] = {NAN, INFINITY, -INFINITY, 1e300};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        begin(1, 20);
        *at(0, 7) = bad[i];
        cr_assert(calc_forecast(&made.ask, &f, &why) == ERR_INPUT, "%g", bad[i]);
    }
    begin(1, 20);
    made.mark[3] = 100;
    cr_assert(calc_forecast(&made.ask, &f, &why) == ERR_INPUT);
    begin(1, 20);
    made.ask.first_weekday = 7;
    cr_assert(calc_forecast(&made.ask, &f, &why) == ERR_INPUT);
    begin(1, CALC_FORECAST_PAST_MOST + 1);
    cr_assert(calc_forecast(&made.ask, &f, &why) == ERR_INPUT);
}
