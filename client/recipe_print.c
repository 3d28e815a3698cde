/* recipe_print.c - the recipe book in 72 columns. */
#include "client/recipe_print.h"

#include <math.h>
#include <stdarg.h>
#include <string.h>
#include "client/show.h"
#include "daemon/calc/currency.h"

enum {
    LABEL = 12,
    LINE = 1024
};

static const struct column tub_columns[] = {
    {"tub", "tub", CELL_TEXT, 20},
    {"coffee", "coffee", CELL_TEXT, 20},
    {"take_words", "take", CELL_TEXT, 0},
    {"use_by", "use by", CELL_DATE, 0},
};

static const struct column suit_columns[] = {
    {"kind", "", CELL_TEXT, 0},           {"code", "code", CELL_TEXT, 18},
    {"matches", "notes", CELL_COUNT, 0},  {"matched", "that match", CELL_LIST, 24},
    {"left_g", "in stock", CELL_MASS, 0},
};

static const char *
text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text != NULL ? text : "";
}

static double
number_of(const json_t *object, const char *name)
{
    const json_t *value = json_object_get(object, name);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

/* To the gram, as it is weighed: "850 g", "3.104 kg". */
static char *
weigh(int64_t g, char out[32])
{
    if (g < 1000)
        (void)snprintf(out, 32, "%lld g", (long long)g);
    else
        (void)snprintf(out, 32, "%lld.%03lld kg", (long long)(g / 1000), (long long)(g % 1000));
    return out;
}

/* Words behind `used` columns, broken at blanks; the next lines begin with `LABEL` blanks. */
static void
wrap(FILE *f, const char *text, size_t used)
{
    bool first = true;
    while (*text != '\0') {
        char word[LINE];
        size_t len = strcspn(text, " ");
        (void)snprintf(word, sizeof word, "%.*s", (int)(len < LINE ? len : LINE - 1), text);
        size_t width = show_width(word);
        if (!first && used + 1 + width > TEXT_WIDTH) {
            (void)fprintf(f, "\n%*s", LABEL, "");
            used = LABEL;
            first = true;
        }
        used += width + !first;
        (void)fprintf(f, "%s%s", first ? "" : " ", word);
        first = false;
        text += len;
        text += strspn(text, " ");
    }
    (void)fputc('\n', f);
}

/* "Strength   10.1 % vol", broken at blanks behind its label. */
static void __attribute__((format(printf, 3, 4)))
fact(struct writer *writer, const char *label, const char *format, ...)
{
    char text[LINE], safe[LINE];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    show_padded(writer->f, label, LABEL, false);
    wrap(writer->f, show_safe(text, safe, sizeof safe), LABEL);
}

static void
print_list(struct writer *writer, const char *label, const json_t *list)
{
    for (size_t i = 0; i < json_array_size(list); i++)
        fact(writer, i == 0 ? label : "", "%s", json_string_value(json_array_get(list, i)));
}

/* ---- what to weigh */

/* "S-3 2.000 kg, S-4 850 g; 1.150 kg missing" */
static void
put_from(json_t *row)
{
    const json_t *lots = json_object_get(row, "lots");
    int64_t missing = json_integer_value(json_object_get(row, "short_g"));
    char text[LINE] = "", mass[32];
    size_t used = 0;
    for (size_t i = 0; i < json_array_size(lots) && used < sizeof text; i++) {
        const json_t *lot = json_array_get(lots, i);
        int n = snprintf(text + used, sizeof text - used, "%s%s %s", i > 0 ? ", " : "",
                         text_of(lot, "lot"),
                         weigh(json_integer_value(json_object_get(lot, "take_g")), mass));
        used += n > 0 ? (size_t)n : 0;
    }
    if (missing > 0 && used < sizeof text)
        (void)snprintf(text + used, sizeof text - used, "%s%s missing", used > 0 ? "; " : "",
                       weigh(missing, mass));
    (void)json_object_set_new(row, "from", json_string(text));
}

json_t *
recipe_card_rows(const json_t *answer)
{
    json_t *rows = json_deep_copy(json_object_get(answer, "parts"));
    char text[32];
    for (size_t i = 0; i < json_array_size(rows); i++) {
        json_t *row = json_array_get(rows, i);
        (void)snprintf(text, sizeof text, "%.6g", number_of(row, "parts"));
        (void)json_object_set_new(row, "parts", json_string(text));
        (void)json_object_set_new(
            row, "mass_words",
            json_string(weigh(json_integer_value(json_object_get(row, "mass_g")), text)));
        put_from(row);
    }
    return rows;
}

/* The writer's own table wants whole numbers, and these are words that stand to the right. */
static void
print_weigh(struct writer *writer, const json_t *answer)
{
    json_t *rows = recipe_card_rows(answer);
    char line[LINE], safe[LINE], input[SHOW_TEXT];
    (void)fprintf(writer->f, "%-20s  %6s  %10s  %s\n", "to weigh", "parts", "mass", "from");
    for (size_t i = 0; i < json_array_size(rows); i++) {
        const json_t *row = json_array_get(rows, i);
        (void)show_cut(show_safe(text_of(row, "input"), safe, sizeof safe), 20, input,
                       sizeof input);
        show_padded(writer->f, input, 20, false);
        (void)snprintf(line, sizeof line, "%s", text_of(row, "from"));
        (void)fprintf(writer->f, "  %6s  %10s", text_of(row, "parts"), text_of(row, "mass_words"));
        (void)show_safe(line, safe, sizeof safe);
        if (safe[0] != '\0' && show_width(safe) <= TEXT_WIDTH - 42)
            (void)fprintf(writer->f, "  %s\n", safe);
        else
            (void)fputc('\n', writer->f);
        if (show_width(safe) > TEXT_WIDTH - 42)
            fact(writer, "", "%s", safe);
    }
    json_decref(rows);
}

static void
print_tubs(struct writer *writer, json_t *answer)
{
    json_t *tubs = json_object_get(answer, "tubs");
    char take[32], all[32], words[96];
    for (size_t i = 0; i < json_array_size(tubs); i++) {
        json_t *tub = json_array_get(tubs, i);
        int64_t take_g = json_integer_value(json_object_get(tub, "take_g"));
        int64_t net_g = json_integer_value(json_object_get(tub, "net_g"));
        if (take_g == net_g)
            (void)snprintf(words, sizeof words, "%s, all of it", weigh(take_g, take));
        else
            (void)snprintf(words, sizeof words, "%s of %s", weigh(take_g, take), weigh(net_g, all));
        (void)json_object_set_new(tub, "take_words", json_string(words));
    }
    if (json_array_size(tubs) == 0)
        return;
    writer_line(writer, "%s", "");
    writer_table(writer, tub_columns, sizeof tub_columns / sizeof tub_columns[0], tubs);
}

/* ---- what comes of it */

static void
print_product(struct writer *writer, const json_t *answer)
{
    const json_t *low = json_object_get(answer, "low"), *high = json_object_get(answer, "high");
    char g[32], ml[32], least[32], most[32];
    double yield = number_of(answer, "yield_g_per_kg");
    (void)weigh(llround(number_of(answer, "product_g")), g);
    (void)show_volume(llround(number_of(answer, "product_ml")), ml);
    (void)show_volume(llround(number_of(low, "product_ml")), least);
    (void)show_volume(llround(number_of(high, "product_ml")), most);
    if (isnan(yield))
        fact(writer, "Product", "%s, %s", g, ml);
    else
        fact(writer, "Product", "%s, %s (nine of ten batches: %s to %s)", g, ml, least, most);
    if (!isnan(yield))
        fact(writer, "Yield", "%.0f g from a kilogram of grounds (%s; own batches: %lld)", yield,
             text_of(answer, "yield_source"),
             (long long)json_integer_value(json_object_get(answer, "yield_batches")));
    if (number_of(answer, "abv_pct") > 0)
        fact(writer, "Strength", "%.1f %% vol (%.1f to %.1f), an estimate",
             number_of(answer, "abv_pct"), number_of(low, "abv_pct"), number_of(high, "abv_pct"));
    fact(writer, "Sweetness", "%.0f g/l sugar (%.0f to %.0f), %.0f g/l as invert sugar",
         number_of(answer, "sugar_g_per_l"), number_of(low, "sugar_g_per_l"),
         number_of(high, "sugar_g_per_l"), number_of(answer, "invert_g_per_l"));
    if (json_is_false(json_object_get(answer, "valid")))
        fact(writer, "NOT VALID", "%s", text_of(answer, "why"));
}

static void
print_target(struct writer *writer, const json_t *target)
{
    char spirit[32], sugar[32], fill[32];
    double abv = number_of(target, "nearest_abv_pct");
    if (!json_is_object(target))
        return;
    if (json_is_true(json_object_get(target, "reached")))
        fact(writer, "Aim",
             "%.1f %% vol and %.0f g/l: weigh %s spirit, %s sugar, %s %s "
             "on these grounds",
             number_of(target, "abv_pct"), number_of(target, "sugar_g_per_l"),
             weigh(llround(number_of(target, "spirit_g")), spirit),
             weigh(llround(number_of(target, "sugar_g")), sugar),
             weigh(llround(number_of(target, "fill_g")), fill), text_of(target, "fill"));
    else if (isnan(abv))
        fact(writer, "Aim", "%.1f %% vol and %.0f g/l: not reached, %s",
             number_of(target, "abv_pct"), number_of(target, "sugar_g_per_l"),
             text_of(target, "why"));
    else
        fact(writer, "Aim",
             "%.1f %% vol and %.0f g/l: not reached, %s; nearest %.1f %% vol and "
             "%.0f g/l",
             number_of(target, "abv_pct"), number_of(target, "sugar_g_per_l"),
             text_of(target, "why"), abv, number_of(target, "nearest_sugar_g_per_l"));
}

static void
print_cost(struct writer *writer, const json_t *answer)
{
    const json_t *cost = json_object_get(answer, "cost"), *not_priced;
    const char *currency = text_of(cost, "currency");
    char ingredients[CALC_MONEY_TEXT], labour[CALC_MONEY_TEXT], missing[SHOW_TEXT];
    fact(writer, "Bottles", "%lld of %lld ml",
         (long long)json_integer_value(json_object_get(answer, "bottles")),
         (long long)json_integer_value(json_object_get(answer, "bottle_ml")));
    if (!json_is_object(cost))
        return;
    (void)calc_money_print(json_integer_value(json_object_get(cost, "ingredients_minor")), currency,
                           ingredients);
    if (json_is_integer(json_object_get(cost, "labour_minor")))
        (void)calc_money_print(json_integer_value(json_object_get(cost, "labour_minor")), currency,
                               labour);
    else
        (void)snprintf(labour, sizeof labour, "not known");
    fact(writer, "Cost", "%s a bottle; the batch %s, ingredients %s, labour %s",
         text_of(cost, "per_bottle"), text_of(cost, "total"), ingredients, labour);
    not_priced = json_object_get(cost, "not_priced");
    if (json_array_size(not_priced) > 0)
        fact(writer, "", "Without the price of: %s.",
             cell_shown(not_priced, CELL_LIST, missing, sizeof missing));
}

static void
print_keeps(struct writer *writer, const json_t *answer)
{
    const json_t *keeps = json_object_get(answer, "keeps");
    if (!json_is_true(json_object_get(answer, "keeps_less")))
        return;
    if (json_is_object(keeps))
        fact(writer, "Keeps", "less long than a syrup on spirit: %s %s (%s)",
             text_of(keeps, "value"), text_of(keeps, "unit"), text_of(keeps, "source"));
    else
        fact(writer, "Keeps", "less long than a syrup on spirit: see the cautions");
}

static void
print_steps(struct writer *writer, const json_t *steps)
{
    writer_line(writer, "%s", "");
    for (size_t i = 0; i < json_array_size(steps); i++) {
        const json_t *step = json_array_get(steps, i);
        const char *time = text_of(step, "time");
        long long n = (long long)json_integer_value(json_object_get(step, "batches"));
        char label[32];
        (void)snprintf(label, sizeof label, "%zu %s", i + 1, text_of(step, "step"));
        if (n > 0)
            fact(writer, label, "%s: %s (%s of %lld %s).", text_of(step, "text"), time,
                 text_of(step, "source"), n, n == 1 ? "batch" : "batches");
        else if (time[0] != '\0')
            fact(writer, label, "%s: %s (%s).", text_of(step, "text"), time,
                 text_of(step, "source"));
        else
            fact(writer, label, "%s.", text_of(step, "text"));
    }
}

static void
print_reminders(struct writer *writer, const json_t *reminders)
{
    if (json_array_size(reminders) == 0)
        return;
    writer_line(writer, "%s", "");
    writer_line(writer, "Reminders: facts with their source, for licensed people");
    for (size_t i = 0; i < json_array_size(reminders); i++) {
        const json_t *one = json_array_get(reminders, i);
        char line[LINE * 2], safe[LINE * 2];
        (void)snprintf(line, sizeof line, "  %s: %s [%s]", text_of(one, "id"), text_of(one, "text"),
                       text_of(one, "source"));
        show_wrapped(writer->f, show_safe(line, safe, sizeof safe), 4);
    }
}

void
recipe_print_card(struct writer *writer, json_t *answer)
{
    const char *name = text_of(answer, "name"), *by = text_of(answer, "size_by");
    char title[128], right[64], g[32];
    (void)snprintf(title, sizeof title, "%.80s",
                   name[0] != '\0' ? name : text_of(answer, "recipe"));
    (void)snprintf(right, sizeof right, "%.24s, %s grounds", text_of(answer, "recipe"),
                   weigh(json_integer_value(json_object_get(answer, "grounds_g")), g));
    writer_title(writer, title, right);
    if (json_is_true(json_object_get(answer, "alcoholic")))
        writer_line(writer, "ALCOHOLIC: made on %s.", text_of(answer, "base"));
    if (strncmp(by, "the tubs", 8) == 0)
        writer_line(writer, "For %s.", by);
    writer_line(writer, "%s", "");
    print_weigh(writer, answer);
    print_tubs(writer, answer);
    writer_line(writer, "%s", "");
    print_product(writer, answer);
    print_target(writer, json_object_get(answer, "target"));
    print_cost(writer, answer);
    print_keeps(writer, answer);
    print_steps(writer, json_object_get(answer, "steps"));
    print_reminders(writer, json_object_get(answer, "reminders"));
    writer_line(writer, "%s", "");
    print_list(writer, "Assumed", json_object_get(answer, "assumed"));
    print_list(writer, "Cautions", json_object_get(answer, "cautions"));
}

/* ---- what suits */

static const char *const kinds[] = {"grounds", "sugar", "spirit", "coffee", "not_for_the_base"};

json_t *
recipe_suit_rows(const json_t *answer)
{
    json_t *rows = json_array();
    for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++) {
        const json_t *list = json_object_get(answer, kinds[k]);
        for (size_t i = 0; i < json_array_size(list); i++) {
            json_t *row = json_copy(json_array_get(list, i));
            (void)json_object_set_new(row, "kind", json_string(k == 4 ? "liquid" : kinds[k]));
            (void)json_array_append_new(rows, row);
        }
    }
    return rows;
}

void
recipe_print_suits(struct writer *writer, json_t *answer)
{
    char notes[SHOW_TEXT], title[SHOW_TEXT + 32];
    json_t *rows = recipe_suit_rows(answer);
    size_t wanted = json_array_size(json_object_get(answer, "notes"));
    (void)cell_shown(json_object_get(answer, "notes"), CELL_LIST, notes, sizeof notes);
    (void)snprintf(title, sizeof title, "In stock for %s", notes);
    writer_title(writer, title, "");
    writer_table(writer, suit_columns, sizeof suit_columns / sizeof suit_columns[0], rows);
    if (json_array_size(rows) == 0)
        writer_line(writer, "Nothing in stock has one of these notes.");
    else
        writer_line(writer, "Notes: how many of the %zu wanted.", wanted);
    if (json_array_size(json_object_get(answer, "not_for_the_base")) > 0)
        writer_line(writer, "liquid: %s.", text_of(answer, "why_not_for_the_base"));
    json_decref(rows);
}
