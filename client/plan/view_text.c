/* view_text.c - a plan for people: days as columns, as many beside each other as 72 columns hold.
 */
#include <stdlib.h>
#include <string.h>
#include "client/plan/view_events.h"
#include "client/plan/view_print.h"
#include "client/show.h"
#include "proto/when.h"

enum {
    ROWS = 5,
    LINES = 12, /* a cell; more is told in its last one */
    WORDS = 64, /* bytes of a line */
    LABEL = 9,  /* columns left of the first day */
    USUAL = 12, /* columns of a day, if words can be broken so */
    LEAST = 9,  /* columns of a day */
    MOST = 24,  /* columns of a day */
    GAP = 2,    /* blanks between days */
    DAYS_A_BLOCK = 7,
};

struct cell {
    char lines[LINES][WORDS];
    size_t n;
};

struct day {
    char name[32];
    struct cell cells[ROWS];
    bool empty;
};

static const char *const row_names[ROWS] = {"thaw", "mix", "strain", "bottle", "van"};

/* ---- cells */

static void
add_piece(struct cell *cell, const char *text, size_t len, bool first)
{
    if (cell->n == LINES)
        (void)snprintf(cell->lines[LINES - 1], WORDS, "and more");
    else
        (void)snprintf(cell->lines[cell->n++], WORDS, "%s%.*s", first ? "" : " ",
                       (int)(len < WORDS - 2 ? len : WORDS - 2), text);
}

/* Broken at its blanks where it is wider than a usual day. */
static void
add_line(struct cell *cell, const char *text)
{
    char safe[SHOW_TEXT];
    const char *at = show_safe(text, safe, sizeof safe);
    bool first = true;
    do {
        size_t len = strlen(at), room = USUAL - !first;
        while (len > room && memchr(at, ' ', len) != NULL)
            do
                len--;
            while (at[len] != ' ');
        add_piece(cell, at, len, first);
        at += len + (at[len] == ' ');
        first = false;
    } while (*at != '\0');
}

/* A line for each name in a list: "syrup-1 x2" when it is there twice. */
static void
add_names(struct cell *cell, const json_t *list, const char *key)
{
    char line[WORDS];
    for (size_t i = 0; i < json_array_size(list); i++) {
        const char *name = view_text(json_array_get(list, i), key);
        size_t before = 0, times = 0;
        for (size_t k = 0; k < json_array_size(list); k++) {
            bool same = strcmp(view_text(json_array_get(list, k), key), name) == 0;
            times += same;
            before += same && k < i;
        }
        if (before > 0)
            continue;
        (void)snprintf(line, sizeof line, times > 1 ? "%.40s x%zu" : "%.40s", name, times);
        add_line(cell, line);
    }
}

static void
fill_thaw(const json_t *day, struct cell *cell)
{
    const json_t *list = json_object_get(day, "thaw");
    char line[WORDS];
    size_t n = 0;
    for (size_t i = 0; i < json_array_size(list); i++)
        n += json_array_size(json_object_get(json_array_get(list, i), "tubs"));
    if (n == 0)
        return;
    (void)snprintf(line, sizeof line, "%zu %s", n, n == 1 ? "tub" : "tubs");
    add_line(cell, line);
}

/* "F1 F3": stations that hold a batch on the day; a batch that is there already with its code. */
static void
fill_strain(const json_t *view, const char *day, struct cell *cell)
{
    const json_t *list = json_object_get(view, "strain");
    char plain[WORDS] = "";
    size_t used = 0;
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *one = json_array_get(list, i);
        const char *ready = view_text(one, "ready"), *batch = view_text(one, "batch");
        char line[WORDS];
        if (strcmp(view_text(one, "from"), day) > 0 ||
            (ready[0] != '\0' && strcmp(ready, day) <= 0))
            continue;
        if (batch[0] != '\0') {
            (void)snprintf(line, sizeof line, "%.24s %.36s", view_text(one, "station"), batch);
            add_line(cell, line);
        } else if (used + 26 < sizeof plain) {
            used += (size_t)snprintf(plain + used, sizeof plain - used, "%s%.24s",
                                     used > 0 ? " " : "", view_text(one, "station"));
        }
    }
    if (used > 0)
        add_line(cell, plain);
}

/* The batch that is there, else the recipe, with what it gives. */
static void
fill_bottle(const json_t *events, const char *day, struct cell *cell)
{
    char line[WORDS], volume[32];
    for (size_t i = 0; i < json_array_size(events); i++) {
        const json_t *one = json_array_get(events, i);
        const char *batch = view_text(one, "batch");
        if (strcmp(view_text(one, "what"), "bottle") != 0 ||
            strcmp(view_text(one, "day"), day) != 0)
            continue;
        (void)snprintf(line, sizeof line, "%.40s %s",
                       batch[0] != '\0' ? batch : view_text(one, "recipe"),
                       show_volume(view_number(one, "ml"), volume));
        add_line(cell, line);
    }
}

static void
fill_day(const json_t *view, const json_t *events, const json_t *from, struct day *out)
{
    const char *text = view_text(from, "day");
    int32_t number;
    memset(out, 0, sizeof *out);
    if (day_parse(text, &number))
        (void)view_short_date(number, out->name);
    fill_thaw(from, &out->cells[0]);
    add_names(&out->cells[1], json_object_get(from, "mix"), "recipe");
    fill_strain(view, text, &out->cells[2]);
    fill_bottle(events, text, &out->cells[3]);
    add_names(&out->cells[4], json_object_get(from, "van"), "route");
    out->empty = true;
    for (int i = 0; i < ROWS; i++)
        out->empty = out->empty && out->cells[i].n == 0;
    bool closed = json_is_false(json_object_get(from, "working"));
    for (int i = 0; i < ROWS; i++)
        if (out->cells[i].n == 0)
            add_line(&out->cells[i], closed && i == 0 ? "closed" : closed ? "" : "-");
}

/* ---- blocks of days */

static size_t
width_of(const struct day *days, size_t n)
{
    size_t width = LEAST;
    for (size_t d = 0; d < n; d++)
        for (int i = 0; i < ROWS; i++)
            for (size_t k = 0; k < days[d].cells[i].n; k++) {
                size_t w = show_width(days[d].cells[i].lines[k]);
                width = w > width ? w : width;
            }
    return width < MOST ? width : MOST;
}

/* How many of the days fit beside each other, and how wide they are. */
static size_t
fit(const struct day *days, size_t n, size_t *out_width)
{
    size_t most = n < DAYS_A_BLOCK ? n : DAYS_A_BLOCK;
    while (most > 1 && LABEL + most * (width_of(days, most) + GAP) - GAP > TEXT_WIDTH)
        most--;
    *out_width = width_of(days, most);
    return most;
}

/* One line of text from a cell of each day; no blanks at its end. */
static void
put_line(FILE *f, const char *label, const struct day *days, size_t n, int row, size_t line,
         size_t width)
{
    char cut[SHOW_TEXT];
    size_t last = 0;
    for (size_t d = 0; d < n; d++)
        if (row < 0 || (line < days[d].cells[row].n && days[d].cells[row].lines[line][0] != '\0'))
            last = d + 1;
    if (last == 0 && label[0] == '\0') {
        (void)fputc('\n', f);
        return;
    }
    show_padded(f, label, last > 0 ? LABEL : 0, false);
    for (size_t d = 0; d < last; d++) {
        const struct cell *cell = row >= 0 ? &days[d].cells[row] : NULL;
        const char *text = cell == NULL ? days[d].name : line < cell->n ? cell->lines[line] : "";
        (void)show_cut(text, width, cut, sizeof cut);
        show_padded(f, cut, d + 1 < last ? width + GAP : 0, false);
    }
    (void)fputc('\n', f);
}

static void
put_block(FILE *f, const struct day *days, size_t n, size_t width)
{
    put_line(f, "", days, n, -1, 0, width);
    for (int row = 0; row < ROWS; row++) {
        size_t lines = 1;
        for (size_t d = 0; d < n; d++)
            lines = days[d].cells[row].n > lines ? days[d].cells[row].n : lines;
        for (size_t line = 0; line < lines; line++)
            put_line(f, line == 0 ? row_names[row] : "", days, n, row, line, width);
    }
}

static void
put_days(const json_t *view, FILE *f)
{
    const json_t *list = json_object_get(view, "days");
    json_t *events = view_events(view);
    size_t n = json_array_size(list), busy = 0;
    struct day *days = calloc(n + 1, sizeof *days);
    for (size_t i = 0; i < n && days != NULL; i++) {
        fill_day(view, events, json_array_get(list, i), &days[i]);
        busy = days[i].empty ? busy : i + 1;
    }
    for (size_t i = 0, width = 0, some = 0; i < busy && days != NULL; i += some) {
        some = fit(days + i, busy - i, &width);
        (void)fputs(i > 0 ? "\n" : "", f);
        put_block(f, days + i, some, width);
    }
    if (busy < n && busy > 0 && days != NULL)
        (void)fprintf(f, "Nothing from %s on.\n", days[busy].name);
    if (busy == 0)
        (void)fputs("Nothing to do in these days.\n", f);
    free(days);
    json_decref(events);
}

static void
say(void *owner, const char *text)
{
    char safe[1024];
    show_wrapped(owner, show_safe(text, safe, sizeof safe), 2);
}

static void
put_assumed(const json_t *assumed, bool all, FILE *f)
{
    char line[512];
    size_t n = json_array_size(assumed);
    if (!all && n > 0) {
        (void)snprintf(line, sizeof line,
                       "Where the catalogue is silent, %zu %s assumed: knockbox plan show "
                       "--assumed",
                       n, n == 1 ? "thing was" : "things were");
        say(f, line);
    }
    for (size_t i = 0; i < n && all; i++) {
        (void)snprintf(line, sizeof line, "Assumed: %.480s",
                       json_string_value(json_array_get(assumed, i)));
        say(f, line);
    }
}

void
view_print_text(const json_t *view, bool assumed, FILE *f)
{
    char title[128];
    (void)fprintf(f, "%s\n", view_title(view, title, sizeof title));
    put_days(view, f);
    view_sentences(view, say, f);
    put_assumed(json_object_get(view, "assumed"), assumed, f);
}
