/* sheet_print.c - see sheet_print.h. */
#include "client/plan/sheet_print.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/plan/view_events.h"
#include "client/print_to.h"
#include "client/recipe_print.h"
#include "client/report_file.h"
#include "client/show.h"
#include "proto/when.h"

enum {
    LINE = 2048
};

/* ---- lines */

/* Bytes of `text` that stand in `room` columns, to a blank where there is one. */
static size_t
piece_of(const char *text, size_t room)
{
    char piece[LINE];
    size_t len = strlen(text), at = len;
    while (at > 0) {
        (void)snprintf(piece, sizeof piece, "%.*s", (int)at, text);
        if (show_width(piece) <= room)
            return at;
        do
            at--;
        while (at > 0 && text[at] != ' ');
    }
    return len; /* a word wider than the page */
}

/* Broken at blanks within 72 columns; lines after the first begin further in. */
__attribute__((format(printf, 3, 4))) static void
put(struct writer *writer, size_t indent, const char *format, ...)
{
    char text[LINE], safe[LINE];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    const char *at = show_safe(text, safe, sizeof safe);
    for (size_t in = indent; *at != '\0'; in = indent + 4) {
        size_t len = piece_of(at, TEXT_WIDTH - in);
        (void)fprintf(writer->f, "%*s%.*s\n", (int)in, "", (int)len, at);
        at += len;
        at += strspn(at, " ");
    }
}

static void
heading(struct writer *writer, const char *text)
{
    (void)fprintf(writer->f, "\n%s\n", text);
}

static void
append(char out[LINE], const char *before, const char *text)
{
    size_t used = strlen(out);
    (void)snprintf(out + used, LINE - used, "%s%s", before, text);
}

static const char *
day_words(const json_t *object, const char *name, char out[32])
{
    int32_t day;
    out[0] = '\0';
    return day_parse(view_text(object, name), &day) ? view_short_date(day, out) : out;
}

static const char *
batch_name(const json_t *batch, char out[160])
{
    const char *code = view_text(batch, "batch");
    (void)snprintf(out, 160, "%.60s%s%.60s%s", code, code[0] != '\0' ? " " : "",
                   view_text(batch, "recipe"),
                   json_is_true(json_object_get(batch, "alcoholic")) ? " (alcoholic)" : "");
    return out;
}

/* ---- tubs by where they stand */

/* What a tub is wanted for, and what is said of one in another state; "" for fine. */
struct use {
    const char *frozen, *received, *thawed;
};

static const struct use to_thaw = {"", "", "out already"};
static const struct use to_mix = {"not thawed yet", "not thawed yet", ""};
static const struct use to_fetch = {"", "here already", "here already"};

static const char *
remark(const json_t *tub, const struct use *use)
{
    const struct {
        const char *state, *words;
    } states[] = {{"frozen", use->frozen},      {"received", use->received},
                  {"thawed", use->thawed},      {"in-transit", "on the way"},
                  {"refused", "was refused"},   {"used", "used already"},
                  {"discarded", "thrown away"}, {"missing", "missing since a count"}};
    const char *state = view_text(tub, "state");
    for (size_t i = 0; i < sizeof states / sizeof states[0]; i++)
        if (strcmp(states[i].state, state) == 0)
            return states[i].words;
    return json_is_true(json_object_get(tub, "expected")) ? "expected by then" : "not in the books";
}

/* What a tub's line begins with: what is remarked of it, else where it stands. */
static const char *
group_of(const json_t *tub, const struct use *use)
{
    const char *words = remark(tub, use), *place = view_text(tub, "place");
    if (words[0] != '\0')
        return words;
    return use == &to_mix ? "tubs" : place[0] != '\0' ? place : "no freezer written down";
}

static bool
is_first(const json_t *tubs, size_t at, const struct use *use)
{
    const char *group = group_of(json_array_get(tubs, at), use);
    for (size_t i = 0; i < at; i++)
        if (strcmp(group_of(json_array_get(tubs, i), use), group) == 0)
            return false;
    return true;
}

/* "kitchen-f1: K-1  K-2": a line a group. */
static void
put_group(struct writer *writer, size_t indent, const json_t *tubs, size_t first,
          const struct use *use)
{
    const char *group = group_of(json_array_get(tubs, first), use);
    char line[LINE] = "";
    size_t expected = 0;
    for (size_t i = first; i < json_array_size(tubs); i++) {
        const json_t *tub = json_array_get(tubs, i);
        if (strcmp(group_of(tub, use), group) != 0)
            continue;
        if (json_is_true(json_object_get(tub, "expected")))
            expected++;
        else
            append(line, line[0] != '\0' ? "  " : "", view_text(tub, "tub"));
    }
    if (expected > 0)
        put(writer, indent, "%s: %zu more", group, expected);
    else
        put(writer, indent, "%s: %s", group, line);
}

static void
put_tubs(struct writer *writer, size_t indent, const json_t *tubs, const struct use *use)
{
    for (size_t i = 0; i < json_array_size(tubs); i++)
        if (is_first(tubs, i, use))
            put_group(writer, indent, tubs, i, use);
}

/* ---- the parts of the sheet */

static void
print_thaw(struct writer *writer, const json_t *answer)
{
    const json_t *list = json_object_get(answer, "thaw");
    char name[160], mass[32];
    if (json_array_size(list) > 0)
        heading(writer, "Take out tonight");
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *batch = json_array_get(list, i);
        put(writer, 2, "for %s, %s", batch_name(batch, name),
            show_mass(view_number(batch, "grounds_g"), mass));
        put_tubs(writer, 4, json_object_get(batch, "tubs"), &to_thaw);
    }
}

static void
print_weigh(struct writer *writer, const json_t *batch)
{
    json_t *rows = recipe_card_rows(batch), *row;
    char volume[32];
    size_t i;
    json_array_foreach(rows, i, row)
    {
        const char *from = view_text(row, "from");
        put(writer, 4, "%-16.40s %10s%s%s", view_text(row, "input"), view_text(row, "mass_words"),
            from[0] != '\0' ? "  " : "", from);
    }
    json_decref(rows);
    put(writer, 4, "gives about %s, %lld bottles of %lld ml",
        show_volume((int64_t)json_number_value(json_object_get(batch, "product_ml")), volume),
        (long long)view_number(batch, "bottles"), (long long)view_number(batch, "bottle_ml"));
}

static void
print_mix(struct writer *writer, const json_t *answer)
{
    const json_t *list = json_object_get(answer, "mix");
    char name[160], mass[32];
    if (json_array_size(list) > 0)
        heading(writer, "Mix");
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *batch = json_array_get(list, i);
        const char *vessel = view_text(batch, "vessel"), *why = view_text(batch, "why");
        bool done = view_text(batch, "batch")[0] != '\0';
        put(writer, 2, "%s%s%s, %s of grounds%s", batch_name(batch, name),
            vessel[0] != '\0' ? " in " : "", vessel,
            show_mass(view_number(batch, "grounds_g"), mass), done ? ": mixed already" : "");
        if (done)
            continue;
        put_tubs(writer, 4, json_object_get(batch, "tubs"), &to_mix);
        if (why[0] != '\0')
            put(writer, 4, "no card: %s", why);
        else
            print_weigh(writer, batch);
    }
}

static void
print_batches(struct writer *writer, const json_t *answer, const char *list_name, const char *title)
{
    const json_t *list = json_object_get(answer, list_name);
    char name[160], mixed[32], ready[32], volume[32];
    if (json_array_size(list) > 0)
        heading(writer, title);
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *one = json_array_get(list, i);
        const char *station = view_text(one, "station"), *vessel = view_text(one, "vessel"),
                   *state = view_text(one, "state");
        bool steeps = strcmp(state, "steeping") == 0;
        const char *where = steeps || station[0] == '\0' ? vessel : station;
        (void)day_words(one, "ready", ready);
        put(writer, 2, "%s%s%s: %s, mixed %s%s%s%s%s", batch_name(one, name),
            where[0] != '\0' ? " in " : "", where, state, day_words(one, "mixed", mixed),
            ready[0] != '\0' ? ", ready " : "", ready, view_number(one, "ml") > 0 ? ", about " : "",
            view_number(one, "ml") > 0 ? show_volume(view_number(one, "ml"), volume) : "");
    }
}

static void
print_ride(struct writer *writer, const json_t *ride, bool kitchen)
{
    const json_t *cafes = json_object_get(ride, "cafes");
    const char *route = view_text(ride, "route"), *departs = view_text(ride, "departs");
    const char *at = strlen(departs) > 16 ? departs + 11 : "";
    char day[32] = "", mass[32], words[160];
    int32_t number;
    if (day_parse(view_text(ride, "day"), &number))
        (void)view_date(number, day);
    (void)snprintf(words, sizeof words, "%.60s%s%.5s", route[0] != '\0' ? route : "the van",
                   at[0] != '\0' ? ", departs " : "", at);
    put(writer, 2, "%s %s (%s), %s", day, words, view_text(ride, "run"),
        show_mass(view_number(ride, "grounds_g"), mass));
    for (size_t i = 0; i < json_array_size(cafes); i++) {
        const json_t *cafe = json_array_get(cafes, i);
        const char *name = view_text(cafe, "name");
        size_t n = json_array_size(json_object_get(cafe, "tubs"));
        if (kitchen)
            put(writer, 4, "%s: %zu %s, %s", name[0] != '\0' ? name : view_text(cafe, "site"), n,
                n == 1 ? "tub" : "tubs", show_mass(view_number(cafe, "grounds_g"), mass));
        put_tubs(writer, kitchen ? 6 : 4, json_object_get(cafe, "tubs"), &to_fetch);
    }
}

static void
print_van(struct writer *writer, const json_t *answer)
{
    const json_t *list = json_object_get(answer, "van");
    bool kitchen = json_is_true(json_object_get(answer, "kitchen"));
    if (json_array_size(list) > 0)
        heading(writer, kitchen ? "The van" : "Hand over");
    for (size_t i = 0; i < json_array_size(list); i++)
        print_ride(writer, json_array_get(list, i), kitchen);
    if (json_array_size(list) == 0 && !kitchen)
        heading(writer, "No tub is to be handed over.");
}

static void
print_end(struct writer *writer, const json_t *answer)
{
    static const char *const lists[] = {"thaw", "mix", "strain", "bottle", "van"};
    size_t n = 0;
    for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++)
        n += json_array_size(json_object_get(answer, lists[i]));
    if (!json_is_true(json_object_get(answer, "kitchen")))
        return;
    if (json_is_null(json_object_get(answer, "plan")))
        heading(writer, "No plan is published: knockbox plan make, then publish");
    else if (!json_is_true(json_object_get(answer, "planned")))
        heading(writer, "The plan that stands does not reach this day: knockbox plan make");
    else if (n == 0)
        heading(writer, "Nothing to do.");
}

void
sheet_print(struct writer *writer, const json_t *answer)
{
    const char *name = view_text(answer, "name");
    char title[128], date[48] = "", right[48] = "";
    int32_t day;
    if (day_parse(view_text(answer, "day"), &day))
        (void)show_long_date(day, date);
    (void)snprintf(title, sizeof title, "%.60s, %s",
                   name[0] != '\0' ? name : view_text(answer, "site"), date);
    if (json_is_integer(json_object_get(answer, "plan")))
        (void)snprintf(right, sizeof right, "plan %lld", (long long)view_number(answer, "plan"));
    writer_title(writer, title, right);
    print_thaw(writer, answer);
    print_mix(writer, answer);
    print_batches(writer, answer, "strain", "Steeps and strains");
    print_batches(writer, answer, "bottle", "Ready to bottle");
    print_van(writer, answer);
    print_end(writer, answer);
}

/* ---- rows */

static const struct column columns[] = {
    {"what", "", CELL_TEXT, 0},   {"recipe", "", CELL_TEXT, 0},  {"batch", "", CELL_TEXT, 0},
    {"vessel", "", CELL_TEXT, 0}, {"station", "", CELL_TEXT, 0}, {"run", "", CELL_TEXT, 0},
    {"day", "", CELL_TEXT, 0},    {"site", "", CELL_TEXT, 0},    {"item", "", CELL_TEXT, 0},
    {"lot", "", CELL_TEXT, 0},    {"tub", "", CELL_TEXT, 0},     {"place", "", CELL_TEXT, 0},
    {"state", "", CELL_TEXT, 0},  {"mass_g", "", CELL_TEXT, 0},
};

/* A row with what `from` has of the sheet's columns. */
static json_t *
row_of(const char *what, const json_t *from)
{
    static const char *const names[] = {"recipe", "batch", "vessel", "station", "run", "day"};
    json_t *row = json_pack("{s:s}", "what", what);
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        if (json_object_get(from, names[i]) != NULL)
            (void)json_object_set(row, names[i], json_object_get(from, names[i]));
    return row;
}

static void
add_tubs(json_t *rows, const char *what, const json_t *from, const json_t *tubs)
{
    for (size_t i = 0; i < json_array_size(tubs); i++) {
        const json_t *tub = json_array_get(tubs, i);
        json_t *row = row_of(what, from);
        (void)json_object_set(row, "tub", json_object_get(tub, "tub"));
        (void)json_object_set(row, "place", json_object_get(tub, "place"));
        (void)json_object_set(row, "site", json_object_get(tub, "site"));
        (void)json_object_set(row, "state", json_object_get(tub, "state"));
        (void)json_object_set(row, "mass_g", json_object_get(tub, "net_g"));
        (void)json_array_append_new(rows, row);
    }
}

static void
add_weigh(json_t *rows, const json_t *batch)
{
    const json_t *parts = json_object_get(batch, "parts");
    for (size_t i = 0; i < json_array_size(parts); i++) {
        const json_t *part = json_array_get(parts, i), *lots = json_object_get(part, "lots");
        size_t n = json_array_size(lots);
        for (size_t k = 0; k < (n > 0 ? n : 1); k++) {
            const json_t *lot = json_array_get(lots, k);
            json_t *row = row_of("weigh", batch);
            (void)json_object_set(row, "item", json_object_get(part, "input"));
            (void)json_object_set(row, "mass_g",
                                  json_object_get(n > 0 ? lot : part, n > 0 ? "take_g" : "mass_g"));
            if (n > 0)
                (void)json_object_set(row, "lot", json_object_get(lot, "lot"));
            (void)json_array_append_new(rows, row);
        }
    }
}

static void
add_batches(json_t *rows, const json_t *answer, const char *list_name)
{
    const json_t *list = json_object_get(answer, list_name);
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *one = json_array_get(list, i);
        json_t *row = row_of(list_name, one);
        (void)json_object_set(row, "day", json_object_get(one, "ready"));
        (void)json_object_set(row, "state", json_object_get(one, "state"));
        (void)json_object_set(row, "mass_g", json_object_get(one, "grounds_g"));
        (void)json_array_append_new(rows, row);
    }
}

json_t *
sheet_rows(const json_t *answer)
{
    json_t *rows = json_array(), *one, *cafe;
    size_t i, k;
    json_array_foreach(json_object_get(answer, "thaw"), i, one)
        add_tubs(rows, "thaw", one, json_object_get(one, "tubs"));
    json_array_foreach(json_object_get(answer, "mix"), i, one)
    {
        add_tubs(rows, "mix", one, json_object_get(one, "tubs"));
        add_weigh(rows, one);
    }
    add_batches(rows, answer, "strain");
    add_batches(rows, answer, "bottle");
    json_array_foreach(json_object_get(answer, "van"), i, one)
        json_array_foreach(json_object_get(one, "cafes"), k, cafe)
            add_tubs(rows, "van", one, json_object_get(cafe, "tubs"));
    return rows;
}

/* ---- to where it is wanted */

static void
put_form(enum output form, const json_t *answer, FILE *f)
{
    struct writer writer;
    json_t *rows = sheet_rows(answer);
    writer_init(&writer, form, f);
    if (form == OUTPUT_CSV)
        writer_table(&writer, columns, sizeof columns / sizeof columns[0], rows);
    else if (form == OUTPUT_JSON)
        writer_answer(&writer, answer);
    else
        sheet_print(&writer, answer);
    json_decref(rows);
}

enum err
sheet_put(const struct given *given, const json_t *answer, struct err_text *why)
{
    static const char *const words[] = {
        [OUTPUT_TEXT] = "text", [OUTPUT_JSON] = "json", [OUTPUT_CSV] = "csv"};
    const char *word = print_form(given);
    char *text = NULL;
    size_t len = 0, form = 0;
    while (form < sizeof words / sizeof words[0] && strcmp(words[form], word) != 0)
        form++;
    if (form == sizeof words / sizeof words[0])
        return err_input(why, "format", word, "text, json or csv");
    FILE *f = open_memstream(&text, &len);
    if (f == NULL)
        return err_set(ERR_MEM, why, "no memory for the sheet");
    put_form((enum output)form, answer, f);
    enum err e = fclose(f) == 0 ? report_put(print_path(given), text, false, why)
                                : err_set(ERR_MEM, why, "no memory for the sheet");
    free(text);
    return e;
}
