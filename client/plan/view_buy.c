/* view_buy.c - see view_buy.h. */
#include "client/plan/view_buy.h"

#include <string.h>
#include "client/show.h"
#include "client/writer.h"
#include "proto/when.h"

enum {
    WORDS = 400
};

static char *
date_words(const json_t *object, const char *name, char out[32])
{
    int32_t day;
    out[0] = '\0';
    return day_parse(view_text(object, name), &day) ? view_date(day, out) : out;
}

/* ", 2 packs" */
static char *
pack_words(const json_t *one, char out[48])
{
    long long packs = (long long)view_number(one, "packs");
    out[0] = '\0';
    if (packs > 0)
        (void)snprintf(out, 48, ", %lld %s", packs, packs == 1 ? "pack" : "packs");
    return out;
}

/* ---- sentences */

static void
say_one(const json_t *one, view_say *say, void *owner)
{
    char text[WORDS], mass[32], packs[48], by[32], use[32], there[32], from[120] = "";
    const char *supplier = view_text(one, "supplier");
    if (supplier[0] != '\0')
        (void)snprintf(from, sizeof from, " from %.100s", supplier);
    (void)show_mass(view_number(one, "mass_g"), mass);
    (void)pack_words(one, packs);
    (void)date_words(one, "by", by);
    (void)date_words(one, "for_day", use);
    if (json_is_true(json_object_get(one, "late")))
        (void)snprintf(text, sizeof text,
                       "Buy at once: %s of %.64s%s%s; it is there on %s, too late for %s.", mass,
                       view_text(one, "item"), packs, from, date_words(one, "arrives", there), use);
    else
        (void)snprintf(text, sizeof text, "Buy by %s: %s of %.64s%s%s%s%s.", by, mass,
                       view_text(one, "item"), packs, from, use[0] != '\0' ? ", for " : "", use);
    say(owner, text);
}

void
view_say_buy(const json_t *view, view_say *say, void *owner)
{
    const json_t *buy = json_object_get(view, "buy");
    for (size_t i = 0; i < json_array_size(buy); i++)
        say_one(json_array_get(buy, i), say, owner);
}

/* Is the recipe mixed in the plan? */
static bool
is_mixed(const json_t *view, const char *recipe)
{
    const json_t *days = json_object_get(view, "days");
    for (size_t d = 0; d < json_array_size(days); d++) {
        const json_t *mix = json_object_get(json_array_get(days, d), "mix");
        for (size_t i = 0; i < json_array_size(mix); i++)
            if (strcmp(view_text(json_array_get(mix, i), "recipe"), recipe) == 0)
                return true;
    }
    return false;
}

void
view_say_yields(const json_t *view, view_say *say, void *owner)
{
    const json_t *yields = json_object_get(view, "yields");
    char text[WORDS];
    for (size_t i = 0; i < json_array_size(yields); i++) {
        const json_t *one = json_array_get(yields, i);
        long long n = (long long)view_number(one, "batches");
        if (!is_mixed(view, view_text(one, "recipe")))
            continue;
        (void)snprintf(text, sizeof text,
                       "A kilogram of grounds gives %lld ml of %.64s, nine batches in ten %lld to "
                       "%lld ml",
                       (long long)view_number(one, "ml_per_kg"), view_text(one, "recipe"),
                       (long long)view_number(one, "low_ml_per_kg"),
                       (long long)view_number(one, "high_ml_per_kg"));
        size_t used = strlen(text);
        if (n > 0)
            (void)snprintf(text + used, sizeof text - used, " (by %lld of its own).", n);
        else
            (void)snprintf(text + used, sizeof text - used, " (no batch of its own yet).");
        say(owner, text);
    }
}

/* ---- tables */

static const struct column buy_columns[] = {
    {"by_words", "order by", CELL_TEXT, 0},    {"item", "what", CELL_TEXT, 16},
    {"mass_g", "amount", CELL_MASS, 0},        {"packs_words", "packs", CELL_TEXT, 0},
    {"there_words", "there", CELL_TEXT, 0},    {"for_words", "for", CELL_TEXT, 0},
    {"supplier_words", "from", CELL_TEXT, 16},
};

static const struct column need_columns[] = {
    {"item", "ingredient", CELL_TEXT, 20},      {"stock_g", "there", CELL_MASS, 0},
    {"coming_g", "under way", CELL_MASS, 0},    {"use_g", "used", CELL_MASS, 0},
    {"lasts_words", "is enough", CELL_TEXT, 0},
};

static const struct column csv_columns[] = {
    {"by", "", CELL_TEXT, 0},       {"item", "", CELL_TEXT, 0},    {"supplier", "", CELL_TEXT, 0},
    {"mass_g", "", CELL_TEXT, 0},   {"lack_g", "", CELL_TEXT, 0},  {"packs", "", CELL_TEXT, 0},
    {"pack_g", "", CELL_TEXT, 0},   {"pack_ml", "", CELL_TEXT, 0}, {"cost_minor", "", CELL_TEXT, 0},
    {"currency", "", CELL_TEXT, 0}, {"arrives", "", CELL_TEXT, 0}, {"for_day", "", CELL_TEXT, 0},
    {"late", "", CELL_TEXT, 0},
};

static void
put(json_t *row, const char *name, const char *words)
{
    (void)json_object_set_new(row, name, json_string(words));
}

static void
put_date(json_t *row, const char *from, const char *name)
{
    char words[32] = "";
    int32_t day;
    if (day_parse(view_text(row, from), &day))
        (void)view_short_date(day, words);
    put(row, name, words);
}

static void
prepare_buy(json_t *row)
{
    char words[64], pack[32];
    long long packs = (long long)view_number(row, "packs");
    int64_t g = view_number(row, "pack_g"), ml = view_number(row, "pack_ml");
    (void)snprintf(words, sizeof words, "%s", packs > 0 ? "" : "-");
    if (packs > 0)
        (void)snprintf(words, sizeof words, "%lld of %s", packs,
                       g > 0 ? show_mass(g, pack) : show_volume(ml, pack));
    put_date(row, "by", "by_words");
    if (json_is_true(json_object_get(row, "late")))
        put(row, "by_words", "at once");
    put_date(row, "arrives", "there_words");
    put_date(row, "for_day", "for_words");
    put(row, "packs_words", words);
    put(row, "supplier_words", view_text(row, "supplier"));
}

static void
prepare_need(json_t *row)
{
    char date[32], words[64] = "to the end";
    if (json_is_string(json_object_get(row, "lasts")))
        (void)snprintf(words, sizeof words, "%s",
                       view_text(row, "lasts")[0] != '\0' ? "" : "not at all");
    if (words[0] == '\0')
        (void)snprintf(words, sizeof words, "until %s", date_words(row, "lasts", date));
    put(row, "lasts_words", words);
}

static void
print_text(struct writer *writer, json_t *view)
{
    char title[128], words[160];
    json_t *buy = json_object_get(view, "buy"), *needs = json_object_get(view, "needs");
    for (size_t i = 0; i < json_array_size(buy); i++)
        prepare_buy(json_array_get(buy, i));
    for (size_t i = 0; i < json_array_size(needs); i++)
        prepare_need(json_array_get(needs, i));
    (void)snprintf(words, sizeof words, "To buy. %s", view_title(view, title, sizeof title));
    writer_title(writer, words, "");
    if (json_array_size(buy) == 0)
        writer_line(writer, "Nothing.");
    else
        writer_table(writer, buy_columns, sizeof buy_columns / sizeof buy_columns[0], buy);
    writer_line(writer, "%s", "");
    if (json_array_size(needs) > 0)
        writer_table(writer, need_columns, sizeof need_columns / sizeof need_columns[0], needs);
}

static json_t *
or_empty(const json_t *view, const char *name)
{
    json_t *list = json_object_get(view, name);
    return list != NULL ? json_incref(list) : json_array();
}

void
view_print_buy(const struct given *given, json_t *view, FILE *f)
{
    struct writer writer;
    writer_init(&writer, given->output, f);
    if (given->output == OUTPUT_JSON) {
        json_t *answer =
            json_pack("{s:I, s:o, s:o}", "number", (json_int_t)view_number(view, "number"), "buy",
                      or_empty(view, "buy"), "needs", or_empty(view, "needs"));
        writer_answer(&writer, answer);
        json_decref(answer);
    } else if (given->output == OUTPUT_CSV) {
        writer_table(&writer, csv_columns, sizeof csv_columns / sizeof csv_columns[0],
                     json_object_get(view, "buy"));
    } else {
        print_text(&writer, view);
    }
}
