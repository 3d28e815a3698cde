/* knockbox calc: every rule of the bench calculator, by its number. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "client/calc/calc.h"
#include "client/calc/what.h"
#include "tests/calc/csv.h"
#include "tests/calc/near.h"

/* json_is_... are macros, which cr_assert cannot take. */
static bool
is_object(const json_t *v)
{
    return json_is_object(v);
}

static bool
is_string(const json_t *v)
{
    return json_is_string(v);
}

static bool
is_number(const json_t *v)
{
    return json_is_number(v);
}

static bool
is_null(const json_t *v)
{
    return json_is_null(v);
}

static bool
is_true(const json_t *v)
{
    return json_is_true(v);
}

static bool
is_false(const json_t *v)
{
    return json_is_false(v);
}

struct said {
    int status;
    char *out, *err;
    json_t *json; /* of out or err */
};

/* What was said lives until the test ends. */
static struct said said[4000];
static size_t said_count;

static void
forget(void)
{
    for (size_t i = 0; i < said_count; i++) {
        free(said[i].out);
        free(said[i].err);
        json_decref(said[i].json);
    }
}

TestSuite(command, .fini = forget);

/* Words parted by one blank; a blank inside a value is written as ~. */
static struct said
say(const char *line, bool json)
{
    static char words[40][400];
    char *argv[40];
    int argc = 0;
    for (const char *s = line; *s != '\0' && argc < 40;) {
        size_t n = strcspn(s, " ");
        snprintf(words[argc], sizeof words[argc], "%.*s", (int)n, s);
        for (char *c = words[argc]; *c != '\0'; c++)
            *c = *c == '~' ? ' ' : *c;
        argv[argc] = words[argc];
        argc++;
        s += n;
        s += *s == ' ' ? 1 : 0;
    }
    cr_assert(said_count < sizeof said / sizeof said[0]);
    struct said r = {0};
    size_t out_size = 0, err_size = 0;
    FILE *out = open_memstream(&r.out, &out_size);
    FILE *err = open_memstream(&r.err, &err_size);
    r.status = calc_command(argc, argv, json, out, err);
    fclose(out);
    fclose(err);
    if (json)
        r.json = json_loads(r.status == 0 ? r.out : r.err, JSON_REJECT_DUPLICATES, NULL);
    said[said_count++] = r;
    return r;
}

static const char *const answers_have[] = {"what", "source", "valid", "assumed"};

/* A success: exit 0, one object on stdout and nothing else (rule 1). */
static json_t *
answer(const char *line)
{
    struct said r = say(line, true);
    cr_assert(r.status == 0, "%s: %s", line, r.err);
    cr_assert(r.err[0] == '\0', "%s", line);
    cr_assert(is_object(r.json), "%s: %s", line, r.out);
    for (size_t i = 0; i < 4; i++)
        cr_assert(json_object_get(r.json, answers_have[i]) != NULL, "%s: %s", line, r.out);
    cr_assert(strlen(json_string_value(json_object_get(r.json, "source"))) > 0);
    json_t *why = json_object_get(r.json, "why");
    if (json_is_true(json_object_get(r.json, "valid")))
        cr_assert(why == NULL, "%s", line);
    else
        cr_assert(is_string(why), "%s", line);
    cr_assert(strstr(r.out, ":nan") == NULL && strstr(r.out, "inf,") == NULL, "%s", r.out);
    return r.json;
}

static double
number(const char *line, const char *key)
{
    json_t *v = json_object_get(answer(line), key);
    cr_assert(is_number(v), "%s: %s is no number", line, key);
    return json_number_value(v);
}

static void
expect(const char *line, const char *key, double want, double tolerance)
{
    EXPECT_NEAR(number(line, key), want, tolerance, "%s: %s", line, key);
}

static void
expect_null(const char *line, const char *key)
{
    cr_assert(is_null(json_object_get(answer(line), key)), "%s: %s", line, key);
}

static void
expect_valid(const char *line, bool valid)
{
    cr_assert(eq(int, json_is_true(json_object_get(answer(line), "valid")), valid), "%s", line);
}

static const char *
text(const char *line, const char *key)
{
    const char *s = json_string_value(json_object_get(answer(line), key));
    cr_assert(s != NULL, "%s: %s is no text", line, key);
    return s;
}

/* A failure: nothing on stdout, one error object with all five keys on stderr. `got`
 * "(null)" means null; NULL: not looked at. */
static void
expect_failure(const char *line, int status, const char *field, const char *got)
{
    struct said r = say(line, true);
    cr_assert(r.status == status, "%s: exit %d, %s", line, r.status, r.err);
    cr_assert(r.out[0] == '\0', "%s: %s", line, r.out);
    json_t *e = json_object_get(r.json, "error");
    cr_assert(is_object(e) && json_object_size(e) == 5, "%s: %s", line, r.err);
    cr_assert(eq(str, (char *)json_string_value(json_object_get(e, "code")),
                 status == 2 ? "usage" : "input"));
    cr_assert(is_string(json_object_get(e, "message")));
    cr_assert(json_object_get(e, "want") != NULL);
    if (field != NULL)
        cr_assert(eq(str, (char *)json_string_value(json_object_get(e, "field")), (char *)field),
                  "%s: %s", line, r.err);
    if (got == NULL)
        return;
    if (strcmp(got, "(null)") == 0)
        cr_assert(is_null(json_object_get(e, "got")), "%s: %s", line, r.err);
    else
        cr_assert(eq(str, (char *)json_string_value(json_object_get(e, "got")), (char *)got),
                  "%s: %s", line, r.err);
}

Test(command, rule_1_success_is_one_object_and_failure_one_error_object)
{
    for (size_t w = 0; calc_what_at(w) != NULL; w++)
        for (int i = 0; i < 2; i++) {
            const char *line = calc_what_at(w)->examples[i] + strlen("knockbox calc ");
            cr_assert(eq(str, (char *)text(line, "what"), (char *)calc_what_at(w)->name));
        }
    expect_failure("ethanol", 3, "abv_pct", "(null)");
}

Test(command, rule_2_numbers_are_unrounded_and_kg_co2e_is_text)
{
    struct said r = say("extraction dose_g=3 beverage_g=1 tds_pct=1", true);
    cr_assert(strstr(r.out, "0.33333333333") != NULL, "%s", r.out);
    const char *line = "emissions mass_kg=3274.578 treatment=landfill edition=UK-2025";
    cr_assert(eq(str, (char *)text(line, "kg_co2e"), "2293.21598616108"));
    cr_assert(eq(str, (char *)text("emissions mass_kg=1000 DOC=0.15", "kg_co2e"), "1400"));
}

Test(command, rule_3_numbers_in_have_one_form)
{
    static const char *const bad[] = {
        "1,5", "5ml", "5%", "5~", "~5", "0x10",  "1_0",   "nan", "inf",  "NaN", "",
        "-",   ".5",  "5.", "+5", "1e", "1e400", "1.2.3", "٥",   "1e5e", "--5", "infinity"};
    char line[200];
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        snprintf(line, sizeof line, "blend water_g=%s", bad[i]);
        char got[40];
        snprintf(got, sizeof got, "%s", bad[i]);
        for (char *c = got; *c != '\0'; c++)
            *c = *c == '~' ? ' ' : *c;
        expect_failure(line, 3, "water_g", got);
    }
    expect("ethanol abv_pct=4e1", "abv_pct", 40, 0);
    expect("ethanol abv_pct=0.4E+2", "abv_pct", 40, 1e-12);
    expect("ethanol abv_pct=1e-400", "abv_pct", 0, 0);
    expect("ethanol abv_pct=007", "abv_pct", 7, 0);
    expect("ethanol abv_pct=-0", "abv_pct", 0, 0);
    expect("ethanol abv_pct=100.0000000000000000000000000000000000000000000000000001", "abv_pct",
           100, 0);
}

Test(command, rule_4_a_senseless_line_is_2_and_a_bad_value_3)
{
    expect_failure("", 2, "what", "(null)");
    expect_failure("etanol abv_pct=40", 2, "what", "etanol");
    expect_failure("ethanol abv=40", 2, "abv", "abv=40");
    expect_failure("ethanol ABV_PCT=40", 2, "ABV_PCT", NULL);
    expect_failure("ethanol abv_pct", 2, "abv_pct", "abv_pct");
    expect_failure("ethanol abv_pct=40 abv_pct=40", 2, "abv_pct", "40");
    expect_failure("ethanol --jason abv_pct=40", 2, "--jason", NULL);
    expect_failure("ethanol =40", 2, NULL, "=40");
    expect_failure("ethanol abv_pct=x abv=3", 2, "abv", NULL); /* the line comes first */
    expect_failure("ethanol abv_pct=140", 3, "abv_pct", "140");
    expect_failure("dilute abv_pct=40 to_abv_pct=20", 3, "volume_ml", "(null)");
    expect_failure("ethanol abv_pct=40 mass_pct=30", 3, "mass_pct", "30");
    char line[300] = "ethanol abv_pct=";
    for (int i = 0; i < 200; i++)
        strcat(line, "9");
    expect_failure(line, 3, "abv_pct", line + strlen("ethanol abv_pct=")); /* as typed, all of it */
}

Test(command, rule_4_what_is_not_utf_8_is_still_told_as_json)
{
    expect_failure("ethanol abv_pct=\xff\xc3", 3, "abv_pct", "\xEF\xBF\xBD\xEF\xBF\xBD");
    expect_failure("ethanol \xff=3", 2, "\xEF\xBF\xBD", NULL);
}

Test(command, rule_5_impossible_is_3_and_outside_the_model_is_not_valid)
{
    static const char *const impossible[] = {
        "blend sugar_g=-5 water_g=10",
        "dilute volume_ml=-1 abv_pct=40 to_abv_pct=20",
        "dilute volume_ml=1000000001 abv_pct=40 to_abv_pct=20",
        "ethanol abv_pct=100.1",
        "ethanol abv_pct=40 t_c=40.1",
        "ethanol abv_pct=40 t_c=-20.1",
        "sucrose t_c=100.1",
        "sucrose t_c=-0.1",
        "sucrose brix_pct=50 t_c=-5",
        "thaw shape=slab size_m=0.1 h_w_m2_k=8 surroundings_c=101 initial_c=-18",
        "thaw shape=slab size_m=0.1 h_w_m2_k=8 surroundings_c=20 initial_c=-61",
        "extraction dose_g=1e-300 beverage_g=1e9 tds_pct=100"};
    for (size_t i = 0; i < sizeof impossible / sizeof impossible[0]; i++)
        expect_failure(impossible[i], 3, NULL, NULL);
    expect_valid("blend spirit_ml=100 spirit_abv_pct=96 sugar_g=10", false);
    expect("blend spirit_ml=100 spirit_abv_pct=96 sugar_g=10", "mass_g", 90.74, 0.01);
}

Test(command, rule_6_low_and_high_hold_the_answer_and_only_estimates)
{
    json_t *a = answer("blend spirit_ml=1000 spirit_abv_pct=40 sugar_g=300");
    static const char *const keys[] = {"density_kg_m3", "abv_pct"};
    cr_assert(eq(sz, json_object_size(json_object_get(a, "low")), 2));
    for (int i = 0; i < 2; i++) {
        double low = json_number_value(json_object_get(json_object_get(a, "low"), keys[i]));
        double high = json_number_value(json_object_get(json_object_get(a, "high"), keys[i]));
        double value = json_number_value(json_object_get(a, keys[i]));
        cr_assert(low <= value && value <= high);
    }
    a = answer("emissions mass_kg=1000 DOC=0.15");
    cr_assert(is_string(json_object_get(json_object_get(a, "low"), "kg_co2e")));
    a = answer("thaw shape=slab size_m=0.1 h_w_m2_k=8 surroundings_c=20 initial_c=-18");
    cr_assert(is_number(json_object_get(json_object_get(a, "high"), "thaw_time_h")));
    cr_assert(json_object_get(answer("ethanol abv_pct=40"), "low") == NULL);
}

Test(command, rule_7_temperature_is_of_volumes_or_density)
{
    expect("ethanol abv_pct=40 t_c=5", "abv_pct", 40, 0);
    expect("ethanol mass_pct=50 t_c=30", "density_kg_m3", 905.712, 0.002);
    double cold = number("blend spirit_ml=1000 spirit_abv_pct=40 t_c=5", "volume_ml");
    cr_assert(cold > 1008 && cold < 1013); /* answers at 20 C */
    expect("blend spirit_ml=1000 spirit_abv_pct=40 t_c=5", "abv_pct", 40, 1e-9);
    double warm = number("units volume_ml=700 abv_pct=40 t_c=30", "ethanol_g");
    cr_assert(warm < number("units volume_ml=700 abv_pct=40", "ethanol_g"));
}

Test(command, rule_8_spirit_alone_gives_back_its_strength)
{
    expect("blend spirit_g=700 spirit_abv_pct=37.5", "abv_pct", 37.5, 1e-9);
    expect("blend spirit_ml=700 spirit_abv_pct=96", "volume_ml", 700, 1e-9);
    expect("units volume_ml=1000 abv_pct=100", "ethanol_g", 789.2391, 0.0001);
    expect("blend spirit_g=789.2391 spirit_abv_pct=100", "ethanol_ml", 1000, 0.0001);
}

Test(command, rule_9_ethanol_by_density_and_the_freezing_curve)
{
    expect("ethanol density_kg_m3=998.211", "mass_pct", 0, 0);
    expect_failure("ethanol density_kg_m3=998.2113", 3, "density_kg_m3", "998.2113");
    expect("ethanol density_kg_m3=789.2292", "abv_pct", 100, 0);
    expect_failure("ethanol density_kg_m3=789.2290", 3, "density_kg_m3", NULL);
    expect_valid("ethanol mass_pct=5 t_c=-10", false);
    expect_null("ethanol mass_pct=5 t_c=-10", "density_kg_m3");
    expect_valid("ethanol mass_pct=40 t_c=-20", true);
    expect_valid("ethanol mass_pct=0 t_c=0", true);
    expect_failure("ethanol t_c=20", 3, "abv_pct", "(null)");
}

Test(command, rule_10_dilute)
{
    expect("dilute volume_ml=700 abv_pct=40 to_abv_pct=40", "water_ml", 0, 0);
    expect("dilute volume_ml=700 abv_pct=40 to_abv_pct=40 t_c=5", "volume_after_ml", 700, 1e-9);
    expect_failure("dilute volume_ml=700 abv_pct=40 to_abv_pct=41", 3, "to_abv_pct", "41");
    expect_failure("dilute volume_ml=700 abv_pct=40 to_abv_pct=0", 3, "to_abv_pct", "0");
    const char *line = "dilute volume_ml=700 abv_pct=96 to_abv_pct=40 t_c=10";
    expect(line, "contraction_ml", 700 + number(line, "water_ml") - number(line, "volume_after_ml"),
           1e-9);
    expect_valid("dilute volume_ml=700 abv_pct=96 to_abv_pct=40 t_c=-5", false);
    expect_null("dilute volume_ml=700 abv_pct=96 to_abv_pct=40 t_c=-5", "water_ml");
    expect("dilute volume_ml=0 abv_pct=96 to_abv_pct=40", "water_ml", 0, 0);
}

Test(command, rule_11_sucrose)
{
    expect_failure("sucrose brix_pct=50 g_per_l=600", 3, "g_per_l", "600");
    expect_failure("sucrose", 3, "brix_pct", "(null)");
    expect_null("sucrose t_c=50", "brix_pct");
    expect_null("sucrose t_c=50", "water_activity");
    expect("sucrose t_c=50", "soluble_pct", 72.25, 0.5);
    expect_valid("sucrose t_c=50", true);
    expect_valid("sucrose brix_pct=70", false);
    expect_valid("sucrose brix_pct=70 t_c=50", true);
    expect("sucrose brix_pct=84", "density_kg_m3", 1438.3, 0.1);
    expect_failure("sucrose brix_pct=84.1", 3, "brix_pct", "84.1");
    expect_valid("sucrose g_per_l=1208", false);
    expect_failure("sucrose g_per_l=1209", 3, "g_per_l", "1209");
    expect("sucrose g_per_l=645.1", "brix_pct", 52, 0.01);
    expect("sucrose brix_pct=50 t_c=80", "density_kg_m3", 1229.5, 0.1); /* at 20 C */
}

Test(command, rule_12_invert_is_1_0526_exactly)
{
    expect("sucrose g_per_l=190", "invert_g_per_l", 199.994, 1e-9);
    const char *line = "blend spirit_ml=1000 spirit_abv_pct=40 sugar_g=300";
    expect(line, "invert_g_per_l", 1.0526 * number(line, "sugar_g_per_l"), 1e-9);
}

static double
activity(const char *line, const char *end)
{
    return json_number_value(json_object_get(json_object_get(answer(line), "water_activity"), end));
}

Test(command, rule_13_water_activity)
{
    double norrish = number("sucrose brix_pct=50", "water_activity");
    EXPECT_NEAR(activity("blend sugar_g=50 water_g=50", "low"), norrish, 1e-12, "low");
    EXPECT_NEAR(activity("blend sugar_g=50 water_g=50", "high"), norrish, 1e-12, "high");
    const char *line = "blend spirit_g=100 spirit_abv_pct=40 sugar_g=30";
    cr_assert(activity(line, "low") < activity(line, "high"));
}

Test(command, rule_14_what_blend_needs)
{
    expect_failure("blend spirit_ml=5 spirit_g=5 spirit_abv_pct=40", 3, "spirit_g", "5");
    expect_failure("blend spirit_ml=5", 3, "spirit_abv_pct", "(null)");
    expect_failure("blend coffee_g=5", 3, "coffee_tds_pct", "(null)");
    expect_failure("blend grounds_g=5 water_g=1", 3, "grounds_moisture_pct", "(null)");
    expect_failure("blend", 3, NULL, "(null)");
    expect_failure("blend sugar_g=0 water_g=0", 3, NULL, "(null)");
    json_t *assumed = json_object_get(answer("blend spirit_g=5 spirit_abv_pct=40"), "assumed");
    cr_assert(eq(sz, json_object_size(assumed), 0));
    assumed = json_object_get(answer("blend spirit_ml=5 spirit_abv_pct=40"), "assumed");
    EXPECT_NEAR(json_number_value(json_object_get(assumed, "t_c")), 20, 0, "t_c");
    assumed = json_object_get(answer("date-mark made=2026-03-02"), "assumed");
    EXPECT_NEAR(json_number_value(json_object_get(assumed, "days")), 7, 0, "days");
}

Test(command, rule_15_blend_describes_the_liquor)
{
    const char *line = "blend spirit_g=100 spirit_abv_pct=40 sugar_g=100 coffee_g=200 "
                       "coffee_tds_pct=1.3 grounds_g=100 grounds_moisture_pct=60";
    EXPECT_NEAR(number(line, "mass_g") + number(line, "dry_grounds_g"), 500, 1e-9, "mass");
    expect(line, "density_kg_m3", 1000 * number(line, "mass_g") / number(line, "volume_ml"), 1e-9);
    expect("blend coffee_g=100 coffee_tds_pct=10", "brix_in_water_pct", 0, 0);
    expect("blend coffee_g=100 coffee_tds_pct=10", "density_kg_m3", 1038.1, 0.1);
    const char *dry = "blend grounds_g=100 grounds_moisture_pct=0";
    expect_valid(dry, false);
    expect(dry, "mass_g", 0, 0);
    expect_null(dry, "abv_pct");
}

Test(command, rule_16_limits_of_the_model)
{
    expect_valid("blend sugar_g=500 water_g=500", true);
    expect_valid("blend spirit_g=500 spirit_abv_pct=96", true);
    expect_valid("blend spirit_g=500 spirit_abv_pct=96 sugar_g=50", false);
    expect_valid("blend spirit_g=50 spirit_abv_pct=40 sugar_g=500 water_g=450", false);
    expect_valid("blend sugar_g=680 water_g=320", false);
    expect("blend sugar_g=680 water_g=320", "brix_in_water_pct", 68, 1e-9);
    expect_valid("blend sugar_g=670 water_g=330", true);
    expect("blend sugar_g=100", "mass_g", 100, 0); /* numbers are still given */
}

static bool
reminds(const char *line, const char *id)
{
    json_t *list = json_object_get(answer(line), "reminders");
    size_t i;
    json_t *one;
    int found = 0;
    json_array_foreach(list, i, one) found +=
        strcmp(json_string_value(json_object_get(one, "id")), id) == 0;
    cr_assert(found <= 1, "%s twice", id);
    return found == 1;
}

Test(command, rule_17_and_18_reminders_at_their_limits)
{
    cr_assert(not(reminds("blend spirit_g=100 spirit_abv_pct=10", "EU-DMD-EXEMPT")));
    cr_assert(reminds("blend spirit_g=100 spirit_abv_pct=9.9", "EU-DMD-EXEMPT"));
    cr_assert(not(reminds("blend spirit_g=100 spirit_abv_pct=15", "EU-LIQ-ABV")));
    cr_assert(reminds("blend spirit_g=100 spirit_abv_pct=14.9", "EU-LIQ-ABV"));
    cr_assert(reminds("blend sugar_g=50 water_g=50", "EU-INGR-EXEMPT"));
    cr_assert(not(reminds("blend sugar_g=50 water_g=50", "US-WARNING")));
    cr_assert(reminds("blend spirit_g=100 spirit_abv_pct=40", "US-LIQ-SUGAR"));
    json_t *one = json_array_get(
        json_object_get(answer("blend spirit_g=100 spirit_abv_pct=10"), "reminders"), 0);
    cr_assert(is_string(json_object_get(one, "text")));
    cr_assert(is_string(json_object_get(one, "source")));
}

Test(command, rule_19_label_checks)
{
    json_t *checks = json_object_get(answer("units volume_ml=700 abv_pct=20.3 label_abv_pct=20"),
                                     "label_checks");
    static const char *const ids[] = {"EU-ABV-TOL", "EU-ABV-TOL-MAC", "US-ABV-TOL"};
    cr_assert(eq(sz, json_array_size(checks), 3));
    for (size_t i = 0; i < 3; i++) {
        json_t *c = json_array_get(checks, i);
        cr_assert(eq(str, (char *)json_string_value(json_object_get(c, "id")), (char *)ids[i]));
        cr_assert(is_true(json_object_get(c, "within")));
    }
    EXPECT_NEAR(json_number_value(json_object_get(json_array_get(checks, 1), "low_pct")), 18.5,
                1e-9, "low");
}

Test(command, rule_20_proof_is_at_60_f)
{
    expect("units volume_ml=1 abv_pct=40", "us_proof", 79.863, 0.001);
    expect("units volume_ml=1 abv_60f_pct=20", "us_proof", 40, 1e-9);
    expect("units volume_ml=568 abv_pct=5", "uk_units", 2.84, 1e-9);
    expect("units volume_ml=1000 abv_pct=1.77441", "us_standard_drinks", 1, 1e-5);
    expect("ethanol abv_60f_pct=19.935", "abv_pct", 20, 0.001);
    expect_failure("units volume_ml=1 abv_pct=4 abv_60f_pct=4", 3, "abv_60f_pct", "4");
}

/* Builds the command line of calc blend from a target's answer. */
static char *
blend_line(json_t *blend)
{
    static char line[400];
    const char *key;
    json_t *value;
    snprintf(line, sizeof line, "blend");
    json_object_foreach(blend, key, value) snprintf(line + strlen(line), sizeof line - strlen(line),
                                                    " %s=%.17g", key, json_number_value(value));
    return line;
}

Test(command, rule_21_and_22_target)
{
    static const struct {
        const char *line;
        double abv, sugar;
    } rows[] = {
        {"target abv_pct=20 sugar_g_per_l=250 volume_ml=5000 spirit_abv_pct=40", 20, 250},
        {"target abv_pct=15 sugar_g_per_l=200 grounds_g=800 grounds_moisture_pct=60 "
         "spirit_abv_pct=96",
         15, 200},
        {"target abv_pct=0 sugar_g_per_l=600 volume_ml=300", 0, 600},
        {"target abv_pct=9 sugar_g_per_l=99 volume_ml=9 spirit_abv_pct=40 coffee_tds_pct=9", 9, 99},
        {"target abv_pct=30 sugar_g_per_l=0 volume_ml=10 spirit_abv_pct=40", 30, 0},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        json_t *a = answer(rows[i].line);
        char *line = blend_line(json_object_get(a, "blend"));
        expect(line, "abv_pct", rows[i].abv, 1e-6);
        expect(line, "sugar_g_per_l", rows[i].sugar, 1e-6);
        expect(line, "volume_ml", json_number_value(json_object_get(a, "volume_ml")), 1e-6);
        expect(line, "mass_g", json_number_value(json_object_get(a, "mass_g")), 1e-6);
        json_t *first = json_array_get(json_object_get(a, "parts"), 0);
        if (rows[i].sugar > 0)
            EXPECT_NEAR(json_number_value(json_object_get(first, "part")), 1, 0, "row %zu", i);
    }
    const char *wet = "target abv_pct=9 sugar_g_per_l=9 volume_ml=9 spirit_abv_pct=40 grounds_g=90 "
                      "grounds_moisture_pct=60";
    const char *const unreachable[] = {
        "target abv_pct=45 sugar_g_per_l=200 volume_ml=500 spirit_abv_pct=40",
        "target abv_pct=20 sugar_g_per_l=900 volume_ml=500 spirit_abv_pct=96",
        wet,
    };
    for (size_t i = 0; i < 3; i++) {
        json_t *a = answer(unreachable[i]);
        cr_assert(is_false(json_object_get(a, "valid")), "%s", unreachable[i]);
        cr_assert(is_null(json_object_get(a, "blend")));
        cr_assert(eq(sz, json_array_size(json_object_get(a, "parts")), 0));
        cr_assert(eq(int, is_object(json_object_get(a, "nearest")), i < 2)); /* 54 g in 9 ml */
    }
    expect_failure("target abv_pct=20 sugar_g_per_l=250 spirit_abv_pct=40", 3, "volume_ml", NULL);
    expect_failure("target abv_pct=20 sugar_g_per_l=250 volume_ml=5", 3, "spirit_abv_pct", NULL);
    expect_failure("target abv_pct=20 sugar_g_per_l=250 grounds_g=5 spirit_abv_pct=40", 3,
                   "grounds_moisture_pct", "(null)");
    expect_failure("target abv_pct=20 sugar_g_per_l=0 grounds_g=5 grounds_moisture_pct=60 "
                   "spirit_abv_pct=40",
                   3, "sugar_g_per_l", "0");
}

Test(command, rule_23_thaw)
{
    const char *inside =
        "thaw shape=cylinder size_m=0.12 h_w_m2_k=8 surroundings_c=20 initial_c=-18";
    expect(inside, "thaw_time_h", 12.4, 0.62);
    cr_assert(eq(str, (char *)text(inside, "method"), "cleland"));
    const char *outside =
        "thaw shape=cylinder size_m=0.12 h_w_m2_k=8 surroundings_c=4 initial_c=-18";
    expect(outside, "thaw_time_h", 37.7, 1.9);
    cr_assert(eq(str, (char *)text(outside, "method"), "enthalpy-1d"));
    expect_failure("thaw shape=slab size_m=0.1 h_w_m2_k=8 surroundings_c=0 initial_c=-18", 3,
                   "surroundings_c", "0");
    expect_failure("thaw shape=cube size_m=0.1 h_w_m2_k=8 surroundings_c=5 initial_c=-18", 3,
                   "shape", "cube");
    expect_failure("thaw shape=slab size_m=0 h_w_m2_k=8 surroundings_c=5 initial_c=-18", 3,
                   "size_m", "0");
    expect("thaw shape=slab size_m=0.1 h_w_m2_k=8 surroundings_c=20 initial_c=3", "thaw_time_h", 0,
           0);
    json_t *assumed = json_object_get(answer(inside), "assumed");
    cr_assert(eq(sz, json_object_size(assumed), 6));
}

Test(command, rule_24_extraction)
{
    expect("extraction dose_g=18 beverage_g=40 tds_pct=10", "extraction_yield_pct", 22.2, 0.05);
    expect_failure("extraction dose_g=0 beverage_g=40 tds_pct=10", 3, "dose_g", "0");
    expect_valid("extraction dose_g=1 beverage_g=40 tds_pct=10", false);
    expect("extraction dose_g=1 beverage_g=40 tds_pct=10", "extraction_yield_pct", 400, 1e-9);
    expect_valid("extraction dose_g=1 beverage_g=10 tds_pct=10", true);
}

Test(command, rule_25_and_26_date_mark)
{
    const char *line = "date-mark made=2025-10-01 frozen=2025-10-03 thawed=2025-10-10";
    cr_assert(eq(str, (char *)text(line, "discard_by"), "2025-10-14"));
    expect(line, "days_left", 5, 0);
    cr_assert(eq(
        str, (char *)text("date-mark made=2025-06-03 oldest_ingredient=2025-06-01", "discard_by"),
        "2025-06-07"));
    expect_null("date-mark made=2025-10-01 frozen=2025-10-03", "discard_by");
    expect_valid("date-mark made=2025-10-01 frozen=2025-10-03", true);
    expect_valid("date-mark made=2025-10-01 frozen=2025-10-08", false);
    expect_failure("date-mark made=2025-02-29", 3, "made", "2025-02-29");
    expect_failure("date-mark made=2025-10-01T00:00:00Z", 3, "made", NULL);
    expect_failure("date-mark made=2025-10-01 thawed=2025-10-03", 3, "frozen", "(null)");
    expect_failure("date-mark made=2025-10-05 frozen=2025-10-03", 3, "frozen", "2025-10-03");
    expect_failure("date-mark made=2025-10-05 days=7.5", 3, "days", "7.5");
    expect_failure("date-mark made=2025-10-05 days=366", 3, "days", "366");
    expect_failure("date-mark made=9999-12-31", 3, "days", NULL);
    expect_failure("date-mark", 3, "made", "(null)");
}

Test(command, rule_27_elapsed)
{
    expect("elapsed from=2026-10-25T01:30:00+01:00 to=2026-10-25T01:30:00+00:00", "minutes", 60, 0);
    expect("elapsed from=2026-01-01T00:00:00Z to=2026-01-01T00:00:01.5Z", "minutes", 0.025, 1e-15);
    expect_failure("elapsed from=2026-01-01T00:00:00 to=2026-01-01T00:00:01Z", 3, "from", NULL);
    expect_failure("elapsed from=2026-01-01T00:00:60Z to=2026-01-01T00:02:01Z", 3, "from", NULL);
    expect_failure("elapsed from=2026-01-01T00:00:01Z to=2026-01-01T00:00:00Z", 3, "to", NULL);
}

static const char food[] = "organic: food and drink waste";

Test(command, rule_28_published_factors)
{
    const char *line = "emissions mass_kg=500 treatment=landfill edition=UK-2025";
    cr_assert(eq(str, (char *)text(line, "kg_co2e"), "350.15443"));
    cr_assert(eq(str, (char *)text(line, "factor_id"), "UK-2025-FD-landfill"));
    cr_assert(eq(str, (char *)text(line, "factor_unit"), "kgCO2e/t"));
    cr_assert(eq(str, (char *)text(line, "edition"), "UK-2025"));
    cr_assert(eq(str, (char *)text(line, "material"), (char *)food));
    cr_assert(eq(str, (char *)text(line, "basis"), "AR5"));
    expect(line, "factor", 700.30886, 0);
    expect(line, "mass_kg", 500, 0);
    const char *mixed = "emissions mass_kg=1 treatment=landfill edition=UK-2024 "
                        "material=commercial~and~industrial~waste~(mixed)";
    cr_assert(eq(str, (char *)text(mixed, "kg_co2e"), "0.5203342"));
    const char *ipcc = "emissions mass_kg=1000 treatment=composting edition=IPCC-AR5";
    cr_assert(eq(str, (char *)text(ipcc, "kg_co2e"), "175.6"));
    expect_failure("emissions mass_kg=1 treatment=landfill", 3, "edition", "(null)");
    expect_failure("emissions mass_kg=1 edition=UK-2025", 3, "treatment", "(null)");
}

/* Every row of the factor set: shipped rows count, all others do not. */
Test(command, rule_28_and_29_every_row_of_the_factor_set)
{
    struct csv *t = csv_reference("emission-factors.csv");
    static const char *const editions[] = {"UK-2023",    "UK-2024",  "UK-2025",  "US-HUB2020",
                                           "US-HUB2025", "IPCC-AR4", "IPCC-AR5", "IPCC-AR6"};
    int counted = 0;
    for (int r = 0; r < t->rows; r++)
        for (size_t e = 0; e < 8; e++) {
            const char *id = csv_text(t, r, "id");
            const char *tail = editions[e] + strlen(editions[e]) - 4;
            bool belongs = strncmp(editions[e], "IPCC", 4) == 0
                               ? strncmp(id, "IPCC", 4) == 0 && strstr(id, tail) != NULL
                               : strncmp(id, editions[e], strlen(editions[e])) == 0;
            if (!belongs)
                continue;
            char line[600];
            int n = snprintf(line, sizeof line,
                             "emissions mass_kg=1000 edition=%s treatment=%s material=%s",
                             editions[e], csv_text(t, r, "treatment"), csv_text(t, r, "material"));
            for (char *c = strstr(line, "material="); c < line + n; c++)
                *c = *c == ' ' ? '~' : *c;
            bool ships = strcmp(csv_text(t, r, "ship_default"), "yes") == 0;
            expect_valid(line, ships);
            if (!ships) {
                cr_assert(eq(str, (char *)text(line, "kg_co2e"), "not quantified"));
                expect_null(line, "factor_id");
                continue;
            }
            cr_assert(eq(str, (char *)text(line, "factor_id"), (char *)id));
            EXPECT_NEAR(atof(text(line, "kg_co2e")), csv_number(t, r, "kgco2e_per_tonne"), 1e-9,
                        "%s", id);
            counted++;
        }
    cr_assert(eq(int, counted, 14));
}

Test(command, rule_29_not_quantified_is_not_zero_and_unknown_is_refused)
{
    const char *line = "emissions mass_kg=5 treatment=sewer edition=UK-2025";
    cr_assert(eq(str, (char *)text(line, "kg_co2e"), "not quantified"));
    expect_null(line, "factor_id");
    expect_valid(line, false);
    expect_valid("emissions mass_kg=5 treatment=open_loop edition=UK-2025", false);
    expect_valid("emissions mass_kg=5 treatment=composting edition=UK-2023", false);
    expect_failure("emissions mass_kg=5 treatment=Landfill edition=UK-2025", 3, "treatment",
                   "Landfill");
    expect_failure("emissions mass_kg=5 treatment=landfill edition=UK-2022", 3, "edition",
                   "UK-2022");
    expect_failure("emissions mass_kg=5 treatment=landfill edition=UK-2025 material=coffee", 3,
                   "material", "coffee");
}

Test(command, rule_30_a_factor_of_one_s_own)
{
    const char *line = "emissions mass_kg=145.1495584 factor=0.11 factor_unit=tCO2e/short_ton "
                       "factor_source=US~Hub,~as~printed treatment=composting";
    cr_assert(eq(str, (char *)text(line, "kg_co2e"), "17.6"));
    cr_assert(eq(str, (char *)text(line, "source"), "US Hub, as printed"));
    expect_failure("emissions mass_kg=1 factor=2 factor_unit=kgCO2e/t", 3, "factor_source",
                   "(null)");
    expect_failure("emissions mass_kg=1 factor=2 factor_unit=kg/t factor_source=x", 3,
                   "factor_unit", "kg/t");
    expect_failure("emissions mass_kg=1 factor=2 factor_unit=kgCO2e/t factor_source=", 3,
                   "factor_source", "");
    expect_failure("emissions mass_kg=1 factor=2 factor_unit=kgCO2e/t factor_source=x "
                   "edition=UK-2025",
                   3, "edition", "UK-2025");
}

Test(command, rule_31_methane_switches_and_excludes)
{
    static const char *const switches[] = {"DOC=0.15", "DOCf=0.5", "MCF=1",       "F=0.5",
                                           "OX=0",     "k=0.1",    "collection=0"};
    char line[200];
    for (size_t i = 0; i < 7; i++) {
        snprintf(line, sizeof line, "emissions mass_kg=1000 %s", switches[i]);
        cr_assert(eq(str, (char *)text(line, "kg_co2e"), "1400"), "%s", line);
        snprintf(line, sizeof line, "emissions mass_kg=1000 %s treatment=landfill", switches[i]);
        cr_assert(eq(str, (char *)text(line, "kg_co2e"), "1400"), "%s", line);
        snprintf(line, sizeof line, "emissions mass_kg=1000 %s edition=UK-2025", switches[i]);
        expect_failure(line, 3, "edition", "UK-2025");
        snprintf(line, sizeof line, "emissions mass_kg=1000 %s treatment=composting", switches[i]);
        expect_failure(line, 3, "treatment", "composting");
    }
    json_t *assumed = json_object_get(answer("emissions mass_kg=1 DOC=0.1"), "assumed");
    cr_assert(eq(str, (char *)json_string_value(json_object_get(assumed, "gwp_basis")), "AR5"));
    cr_assert(json_object_get(assumed, "k") == NULL);
    expect_failure("emissions mass_kg=1 doc=0.1", 2, "doc", NULL);
    expect_failure("emissions mass_kg=1 DOC=1.1", 3, "DOC", "1.1");
    expect_failure("emissions mass_kg=1 DOC=0.1 gwp_basis=AR6", 3, "gwp_basis", "AR6");
    expect_failure("emissions mass_kg=1 DOC=0.1 years=5", 3, "k", "(null)");
    expect_failure("emissions mass_kg=1 k=0.1 years=201", 3, "years", "201");
    expect_failure("emissions mass_kg=1 treatment=landfill edition=UK-2025 gwp_basis=AR5", 3,
                   "gwp_basis", NULL);
}

Test(command, rule_32_methane_answers)
{
    const char *line =
        "emissions mass_kg=1000 OX=0.1 collection=0.75 k=0.185 years=3 gwp_basis=AR4";
    expect(line, "ch4_generated_kg", 50, 1e-9);
    expect(line, "ch4_emitted_kg", 11.25, 1e-9);
    expect(line, "gwp", 25, 0);
    cr_assert(eq(str, (char *)text(line, "kg_co2e"), "281.25"));
    cr_assert(eq(str, (char *)text(line, "basis"), "AR4"));
    json_t *years = json_object_get(answer(line), "ch4_by_year_kg");
    cr_assert(eq(sz, json_array_size(years), 3));
    EXPECT_NEAR(json_real_value(json_array_get(years, 1)), 11.25 * 0.140370, 1e-5, "year 2");
    cr_assert(json_object_get(answer("emissions mass_kg=1 k=0.1"), "ch4_by_year_kg") == NULL);
}

Test(command, cards_and_helps_stay_within_72_columns)
{
    char line[300];
    for (size_t w = 0; calc_what_at(w) != NULL; w++)
        for (int i = 0; i < 3; i++) {
            const struct calc_what *what = calc_what_at(w);
            snprintf(line, sizeof line, "%s --help", what->name);
            struct said r = say(i < 2 ? what->examples[i] + strlen("knockbox calc ") : line, false);
            cr_assert(r.status == 0, "%s", r.err);
            for (char *s = strtok(r.out, "\n"); s != NULL; s = strtok(NULL, "\n"))
                cr_assert(strlen(s) <= 72 || strchr(s + 72, ' ') == NULL, "%s", s);
        }
}

Test(command, help_names_every_argument_and_needs_none)
{
    for (size_t w = 0; calc_what_at(w) != NULL; w++) {
        const struct calc_what *what = calc_what_at(w);
        char line[80];
        snprintf(line, sizeof line, "%s --help", what->name);
        struct said r = say(line, false);
        for (size_t i = 0; i < what->arg_count; i++)
            cr_assert(strstr(r.out, what->args[i].name) != NULL, "%s", what->args[i].name);
    }
    struct said all = say("--help", false);
    cr_assert(all.status == 0 && strstr(all.out, "emissions") != NULL);
}

Test(command, the_page_in_docs_names_every_argument)
{
    static char page[65536];
    FILE *in = fopen(TEST_SOURCE "/docs/calc.md", "r");
    cr_assert(in != NULL);
    page[fread(page, 1, sizeof page - 1, in)] = '\0';
    fclose(in);
    for (size_t w = 0; calc_what_at(w) != NULL; w++)
        for (size_t i = 0; i < calc_what_at(w)->arg_count; i++) {
            char name[64];
            snprintf(name, sizeof name, "`%s`", calc_what_at(w)->args[i].name);
            cr_assert(strstr(page, name) != NULL, "docs/calc.md lacks %s of %s", name,
                      calc_what_at(w)->name);
        }
}

Test(command, a_failure_for_people_is_one_line_that_says_what_was_expected)
{
    struct said r = say("ethanol abv_pct=140", false);
    cr_assert(eq(str, r.err,
                 "knockbox calc ethanol: abv_pct: 140: expected 0 to 100 (% vol at 20 "
                 "C)\n"));
    cr_assert(eq(int, r.status, 3));
}

Test(command, a_locale_with_a_comma_changes_nothing)
{
    setenv("LC_ALL", "de_DE.UTF-8", 1);
    expect("ethanol abv_pct=37.5", "abv_pct", 37.5, 0);
}
