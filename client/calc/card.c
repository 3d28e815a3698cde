/* card.c - an answer as a card. */
#include "client/calc/card.h"

#include <math.h>
#include <string.h>

/* How a key is said. Keys that are not here are printed as they are. */
static const struct field {
    const char *key;
    const char *label;
    const char *unit;
    int decimals;
} fields[] = {
    {"abv_pct", "strength at 20 C", "% vol", 2},
    {"abv_60f_pct", "strength at 60 F", "% vol", 2},
    {"mass_pct", "ethanol by mass", "% mass", 3},
    {"density_kg_m3", "density", "kg/m3", 2},
    {"water_ml", "water to add", "ml", 1},
    {"volume_after_ml", "volume after", "ml", 1},
    {"contraction_ml", "contraction", "ml", 1},
    {"brix_pct", "Brix", "% mass", 2},
    {"g_per_l", "sugar", "g/l", 1},
    {"refractive_index", "refractive index", "", 5},
    {"soluble_pct", "dissolves up to", "% mass", 1},
    {"soluble_doubt_pct", "give or take", "% mass", 1},
    {"invert_g_per_l", "as invert sugar", "g/l", 1},
    {"water_activity", "water activity", "", 3},
    {"mass_g", "mass of the liquor", "g", 1},
    {"volume_ml", "volume", "ml", 1},
    {"sugar_g_per_l", "sugar", "g/l", 1},
    {"brix_in_water_pct", "sugar in water", "% mass", 1},
    {"ethanol_ml", "pure ethanol", "ml", 1},
    {"ethanol_g", "pure ethanol", "g", 1},
    {"dry_grounds_g", "dry grounds, outside", "g", 1},
    {"spirit_ml", "spirit", "ml", 1},
    {"spirit_g", "spirit", "g", 1},
    {"spirit_abv_pct", "of strength", "% vol", 1},
    {"sugar_g", "sugar", "g", 1},
    {"water_g", "water", "g", 1},
    {"coffee_g", "coffee", "g", 1},
    {"coffee_tds_pct", "of strength", "% mass", 2},
    {"grounds_g", "grounds", "g", 1},
    {"grounds_moisture_pct", "of moisture", "% mass", 1},
    {"thaw_time_h", "thaw time", "h", 1},
    {"method", "method", "", 0},
    {"extraction_yield_pct", "extraction yield", "%", 2},
    {"uk_units", "UK units", "", 2},
    {"us_standard_drinks", "US standard drinks", "", 2},
    {"us_proof", "US proof", "", 2},
    {"discard_by", "use by the end of", "", 0},
    {"days_left", "days left from thawing", "", 0},
    {"minutes", "minutes", "min", 2},
    {"kg_co2e", "emissions", "kg CO2e", 0},
    {"mass_kg", "mass", "kg", 3},
    {"factor_id", "factor", "", 0},
    {"factor", "value", "", 5},
    {"factor_unit", "unit", "", 0},
    {"edition", "edition", "", 0},
    {"material", "material", "", 0},
    {"treatment", "treatment", "", 0},
    {"boundary", "boundary", "", 0},
    {"basis", "warming potentials", "", 0},
    {"gwp", "CO2e of methane", "kg/kg", 0},
    {"ch4_generated_kg", "methane made", "kg", 3},
    {"ch4_emitted_kg", "methane emitted", "kg", 3},
};

/* Said elsewhere on the card. */
static const char *const apart[] = {"what",  "valid",        "why",           "source",
                                    "low",   "high",         "assumed",       "reminders",
                                    "parts", "label_checks", "ch4_by_year_kg"};

enum {
    LABEL = 24,
    INDENT = LABEL + 2
};

void
calc_card_wrap(const char *text, int used, int indent, FILE *out)
{
    int column = used;
    bool first = true;
    while (*text != '\0') {
        int word = (int)strcspn(text, " ");
        if (!first && column + 1 + word > CALC_CARD_COLUMNS) {
            (void)fprintf(out, "\n%*s", indent, "");
            column = indent;
            first = true;
        }
        column += fprintf(out, "%s%.*s", first ? "" : " ", word, text);
        first = false;
        text += word;
        text += strspn(text, " ");
    }
    (void)fputc('\n', out);
}

static struct field
field_of(const char *key)
{
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++)
        if (strcmp(fields[i].key, key) == 0)
            return fields[i];
    return (struct field){key, key, "", 2};
}

static bool
is_apart(const char *key)
{
    for (size_t i = 0; i < sizeof apart / sizeof apart[0]; i++)
        if (strcmp(apart[i], key) == 0)
            return true;
    return false;
}

/* A value as text: numbers rounded for reading, null as "not known". */
static void
value_text(const struct field *f, const json_t *value, char *to, size_t size)
{
    double x = json_number_value(value);
    if (json_is_string(value))
        (void)snprintf(to, size, "%s", json_string_value(value));
    else if (json_is_integer(value))
        (void)snprintf(to, size, "%lld", (long long)json_integer_value(value));
    else if (!json_is_number(value))
        (void)snprintf(to, size, "-");
    else if (x != 0 && (fabs(x) < 0.01 || fabs(x) >= 1e12))
        (void)snprintf(to, size, "%.4g", x);
    else
        (void)snprintf(to, size, "%.*f", f->decimals, x);
}

static void
print_line(const char *label, const char *text, FILE *out)
{
    int used = fprintf(out, "  %-*s", LABEL, label);
    calc_card_wrap(text, used, INDENT, out);
}

static void
print_value(const json_t *answer, const char *key, const json_t *value, FILE *out)
{
    const struct field said = field_of(key);
    const struct field *f = &said;
    const json_t *low = json_object_get(json_object_get(answer, "low"), key);
    const json_t *high = json_object_get(json_object_get(answer, "high"), key);
    char main[512], least[64], most[64], line[768];
    if (json_is_object(value)) { /* a range of its own: water activity */
        low = json_object_get(value, "low");
        high = json_object_get(value, "high");
        value_text(f, low, least, sizeof least);
        value_text(f, high, most, sizeof most);
        (void)snprintf(line, sizeof line, "%s to %s", least, most);
        print_line(f->label, line, out);
        return;
    }
    value_text(f, value, main, sizeof main);
    bool counts = json_is_number(value) || (main[0] >= '0' && main[0] <= '9');
    bool unit = f->unit[0] != '\0' && counts;
    int n = snprintf(line, sizeof line, "%s%s%s", main, unit ? " " : "", unit ? f->unit : "");
    if (low != NULL && high != NULL) {
        value_text(f, low, least, sizeof least);
        value_text(f, high, most, sizeof most);
        (void)snprintf(line + n, sizeof line - (size_t)n, "  (%s to %s)", least, most);
    }
    print_line(f->label, line, out);
}

/* An object of numbers, such as the blend of a target: its members as lines. */
static void
print_group(const json_t *group, FILE *out)
{
    const char *key;
    json_t *value;
    json_object_foreach((json_t *)group, key, value) print_value(NULL, key, value, out);
}

static void
print_values(const json_t *answer, FILE *out)
{
    const char *key;
    json_t *value;
    json_object_foreach((json_t *)answer, key, value)
    {
        if (is_apart(key))
            continue;
        if (strcmp(key, "blend") == 0 && json_is_object(value)) {
            print_group(value, out);
        } else if (strcmp(key, "nearest") == 0) {
            if (json_is_object(value)) {
                (void)fprintf(out, "nearest that can be reached\n");
                print_group(value, out);
            }
        } else {
            print_value(answer, key, value, out);
        }
    }
}

static void
print_parts(const json_t *parts, FILE *out)
{
    size_t i;
    json_t *part;
    if (json_array_size(parts) == 0)
        return;
    (void)fprintf(out, "parts by weight\n");
    json_array_foreach((json_t *)parts, i, part)
    {
        json_t *share = json_object_get(part, "part");
        (void)fprintf(out, "  %-*s", LABEL, json_string_value(json_object_get(part, "item")));
        if (json_is_number(share))
            (void)fprintf(out, "%.3f  ", json_number_value(share));
        (void)fprintf(out, "(%.1f g)\n", json_number_value(json_object_get(part, "mass_g")));
    }
}

static void
print_label_checks(const json_t *checks, FILE *out)
{
    size_t i;
    json_t *check;
    json_array_foreach((json_t *)checks, i, check)
    {
        (void)fprintf(out, "  %-*s%s  (%.2f to %.2f %% vol)\n", LABEL,
                      json_string_value(json_object_get(check, "id")),
                      json_is_true(json_object_get(check, "within")) ? "within" : "OUTSIDE",
                      json_number_value(json_object_get(check, "low_pct")),
                      json_number_value(json_object_get(check, "high_pct")));
    }
}

static void
print_years(const json_t *years, FILE *out)
{
    size_t i;
    json_t *year;
    json_array_foreach((json_t *)years, i, year)(void)
        fprintf(out, "  methane, year %-*zu%.3f kg\n", LABEL - 14, i + 1, json_number_value(year));
}

static void
print_reminders(const json_t *reminders, FILE *out)
{
    size_t i;
    json_t *one;
    if (json_array_size(reminders) == 0)
        return;
    (void)fprintf(out, "reminders (facts with source, for licensed people)\n");
    json_array_foreach((json_t *)reminders, i, one)
    {
        char text[1024];
        (void)snprintf(text, sizeof text, "%s [%s]",
                       json_string_value(json_object_get(one, "text")),
                       json_string_value(json_object_get(one, "source")));
        int used = fprintf(out, "  %-16s", json_string_value(json_object_get(one, "id")));
        calc_card_wrap(text, used, 18, out);
    }
}

static void
print_assumed(const json_t *assumed, FILE *out)
{
    const char *key;
    json_t *value;
    char text[512] = "";
    size_t used = 0;
    json_object_foreach((json_t *)assumed, key, value)
    {
        char one[128];
        if (json_is_string(value))
            (void)snprintf(one, sizeof one, "%s%s=%s", used > 0 ? " " : "", key,
                           json_string_value(value));
        else
            (void)snprintf(one, sizeof one, "%s%s=%g", used > 0 ? " " : "", key,
                           json_number_value(value));
        if (used + strlen(one) < sizeof text)
            used += (size_t)snprintf(text + used, sizeof text - used, "%s", one);
    }
    if (used > 0)
        print_line("assumed", text, out);
}

static void
print_cautions(unsigned cautions, FILE *out)
{
    if (cautions & CALC_CAUTION_FOOD)
        calc_card_wrap("Estimate for planning: the local food code and the site's own safety plan "
                       "come first.",
                       0, 0, out);
    if (cautions & CALC_CAUTION_ALCOHOL)
        calc_card_wrap("Estimate, not a measurement for duty or label: local law and licensed "
                       "practice come first.",
                       0, 0, out);
}

void
calc_card_print(const struct calc_what *what, const json_t *answer, FILE *out)
{
    (void)fprintf(out, "%s\n", what->name);
    print_values(answer, out);
    print_parts(json_object_get(answer, "parts"), out);
    print_label_checks(json_object_get(answer, "label_checks"), out);
    print_years(json_object_get(answer, "ch4_by_year_kg"), out);
    if (json_is_false(json_object_get(answer, "valid")))
        print_line("NOT VALID", json_string_value(json_object_get(answer, "why")), out);
    print_assumed(json_object_get(answer, "assumed"), out);
    print_line("source", json_string_value(json_object_get(answer, "source")), out);
    print_reminders(json_object_get(answer, "reminders"), out);
    print_cautions(what->cautions, out);
}

void
calc_card_failure(const struct calc_run *run, FILE *err)
{
    (void)fprintf(err, "knockbox calc%s%s: %s\n", run->what != NULL ? " " : "",
                  run->what != NULL ? run->what->name : "", run->failure.message);
    if (run->failure.code == ERR_USAGE)
        (void)fprintf(err, "try: knockbox calc%s%s --help\n", run->what != NULL ? " " : "",
                      run->what != NULL ? run->what->name : "");
}
