/* view_picture.c - the timetable as a picture: stations down, days across.
 */
#include <string.h>
#include "client/plan/view_events.h"
#include "client/plan/view_print.h"
#include "client/show.h"
#include "daemon/report/html.h"
#include "proto/when.h"

enum {
    WIDTH = 1100,
    LEFT = 84,    /* names of the rows */
    TOP = 24,     /* names of the days */
    LINE = 15,    /* a line of words */
    BAR = 22,     /* a station */
    LETTER = 6,   /* a usual letter at 11 units */
    LINES = 40,   /* of words in one row */
    STATIONS = 64 /* a picture */
};

/* Days `from` to `end` of the view. */
struct picture {
    FILE *f;
    const json_t *view, *days;
    size_t from, end;
    int32_t first; /* the day at `from` */
    int y;
};

static int
day_width(const struct picture *p)
{
    return (WIDTH - LEFT) / (int)(p->end - p->from);
}

static int
x_of(const struct picture *p, size_t day)
{
    return LEFT + (int)(day - p->from) * day_width(p);
}

/* A label cut to what `width` units hold. */
static void
label(const struct picture *p, int x, int y, int width, const char *text)
{
    char safe[SHOW_TEXT], cut[SHOW_TEXT];
    int letters = (width - 4) / LETTER;
    if (letters > 0)
        svg_label(p->f, x, y, "start",
                  show_cut(show_safe(text, safe, sizeof safe), (size_t)letters, cut, sizeof cut));
}

static void
rule(const struct picture *p)
{
    svg_line(p->f, 0, p->y, x_of(p, p->end), p->y);
}

/* ---- the days, and rows of words */

static void
put_days(struct picture *p, int height)
{
    char name[32];
    int32_t number;
    for (size_t d = p->from; d < p->end; d++) {
        const json_t *day = json_array_get(p->days, d);
        bool closed = json_is_false(json_object_get(day, "working"));
        if (closed)
            (void)fprintf(p->f,
                          "<rect x=\"%d\" y=\"0\" width=\"%d\" height=\"%d\" fill=\"#ececec\"/>\n",
                          x_of(p, d), day_width(p), height);
        svg_line(p->f, x_of(p, d), 0, x_of(p, d), height);
        if (day_parse(view_text(day, "day"), &number)) {
            (void)fputs("<g font-weight=\"700\">", p->f);
            label(p, x_of(p, d) + 4, 12, day_width(p), view_short_date(number, name));
            (void)fputs("</g>", p->f);
        }
        if (closed)
            label(p, x_of(p, d) + 4, TOP, day_width(p), "closed");
    }
    svg_line(p->f, x_of(p, p->end), 0, x_of(p, p->end), height);
}

/* The words of one event in a row of its kind. */
static void
words_of(const json_t *event, char *out, size_t size)
{
    char volume[32];
    const char *what = view_text(event, "what"), *batch = view_text(event, "batch");
    size_t tubs = json_array_size(json_object_get(event, "tubs"));
    const char *name = batch[0] != '\0' ? batch : view_text(event, "recipe");
    if (strcmp(what, "bottle") == 0)
        (void)snprintf(out, size, "%s %.60s", show_volume(view_number(event, "ml"), volume), name);
    else if (strcmp(what, "van") == 0)
        (void)snprintf(out, size, "%.60s, %zu", view_text(event, "route"), tubs);
    else if (strcmp(what, "thaw") == 0)
        (void)snprintf(out, size, "%zu %s", tubs, tubs == 1 ? "tub" : "tubs");
    else
        (void)snprintf(out, size, "%.60s", name);
}

static bool
is_at(const struct picture *p, const json_t *event, const char *what, size_t day)
{
    return strcmp(view_text(event, "what"), what) == 0 &&
           strcmp(view_text(event, "day"), view_text(json_array_get(p->days, day), "day")) == 0;
}

/* Tubs that go out in the evening of a day, for all of its batches; false: none. */
static bool
thaw_words(const struct picture *p, size_t day, char *out, size_t size)
{
    const json_t *list = json_object_get(json_array_get(p->days, day), "thaw");
    size_t n = 0;
    for (size_t i = 0; i < json_array_size(list); i++)
        n += json_array_size(json_object_get(json_array_get(list, i), "tubs"));
    (void)snprintf(out, size, "%zu %s", n, n == 1 ? "tub" : "tubs");
    return n > 0;
}

/* Draws, or only counts, the lines of one day in a row. */
static int
day_lines(const struct picture *p, const json_t *events, const char *what, size_t day, bool draw)
{
    int n = 0;
    char words[160];
    if (strcmp(what, "thaw") == 0) {
        if (draw && thaw_words(p, day, words, sizeof words))
            label(p, x_of(p, day) + 4, p->y + LINE - 2, day_width(p), words);
        return 1;
    }
    for (size_t i = 0; i < json_array_size(events) && n < LINES; i++) {
        const json_t *event = json_array_get(events, i);
        if (!is_at(p, event, what, day))
            continue;
        words_of(event, words, sizeof words);
        n++;
        if (draw)
            label(p, x_of(p, day) + 4, p->y + n * LINE - 2, day_width(p), words);
    }
    return n;
}

/* The most lines in one day. */
static int
words_row(const struct picture *p, const json_t *events, const char *what, bool draw)
{
    int most = 1;
    for (size_t d = p->from; d < p->end; d++) {
        int n = day_lines(p, events, what, d, draw);
        most = n > most ? n : most;
    }
    return most;
}

static void
put_row(struct picture *p, const json_t *events, const char *what)
{
    rule(p);
    svg_label(p->f, 0, p->y + LINE - 2, "start", what);
    p->y += words_row(p, events, what, true) * LINE + 4;
}

/* ---- stations */

/* Where the day stands in the picture, between its ends. */
static size_t
place(const struct picture *p, const char *day, size_t otherwise)
{
    int32_t number;
    if (!day_parse(day, &number))
        return otherwise;
    if (number < p->first)
        return p->from;
    size_t at = p->from + (size_t)(number - p->first);
    return at < p->end ? at : p->end;
}

static void
put_hold(const struct picture *p, const json_t *one)
{
    const char *batch = view_text(one, "batch"), *recipe = view_text(one, "recipe");
    size_t from = place(p, view_text(one, "from"), p->from);
    size_t end = place(p, view_text(one, "ready"), p->end);
    bool spirit = json_is_true(json_object_get(one, "alcoholic"));
    char words[160];
    if (from >= end)
        return;
    int x = x_of(p, from) + 2, width = x_of(p, end) - x - 2;
    svg_bar(p->f, x, p->y + 2, width, BAR - 4, spirit ? FILL_SOLID : FILL_OPEN);
    (void)snprintf(words, sizeof words, "%.60s%s%.60s", batch, batch[0] != '\0' ? " " : "", recipe);
    (void)fputs(spirit ? "<g fill=\"#fff\">" : "<g>", p->f);
    label(p, x + 4, p->y + BAR - 7, width, words);
    (void)fputs("</g>\n", p->f);
}

static void
put_stations(struct picture *p)
{
    const json_t *codes = json_object_get(p->view, "stations");
    const json_t *all = json_object_get(p->view, "strain");
    for (size_t s = 0; s < json_array_size(codes) && s < STATIONS; s++) {
        const char *code = json_string_value(json_array_get(codes, s));
        rule(p);
        label(p, 0, p->y + BAR - 7, LEFT, code);
        for (size_t i = 0; i < json_array_size(all); i++)
            if (strcmp(view_text(json_array_get(all, i), "station"), code) == 0)
                put_hold(p, json_array_get(all, i));
        p->y += BAR;
    }
}

/* ---- all of it */

/* What the picture shows, for who does not see it. */
static void
describe(const struct picture *p, const json_t *events)
{
    char words[160], text[320], name[32];
    int32_t number;
    for (size_t d = p->from; d < p->end; d++)
        for (size_t i = 0; i < json_array_size(events); i++) {
            const json_t *event = json_array_get(events, i);
            const char *what = view_text(event, "what"), *station = view_text(event, "station");
            if (!is_at(p, event, what, d) || !day_parse(view_text(event, "day"), &number))
                continue;
            words_of(event, words, sizeof words);
            (void)snprintf(text, sizeof text, "%s: %s %s%s%.60s; ", view_short_date(number, name),
                           what, words, station[0] != '\0' ? " on " : "", station);
            html_text(p->f, text);
        }
}

static int
height_of(const struct picture *p, const json_t *events)
{
    static const char *const rows[] = {"thaw", "mix", "bottle", "van"};
    size_t stations = json_array_size(json_object_get(p->view, "stations"));
    int height = TOP + 4 + BAR * (int)(stations < STATIONS ? stations : STATIONS);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        height += words_row(p, events, rows[i], false) * LINE + 4;
    return height;
}

void
view_print_picture(const json_t *view, size_t from, size_t end, FILE *f)
{
    static const enum fill fills[] = {FILL_SOLID, FILL_OPEN};
    static const char *const words[] = {"on a station: made on spirit", "on a station: without"};
    struct picture p = {
        .f = f, .view = view, .days = json_object_get(view, "days"), .from = from, .end = end};
    json_t *events = view_events(view);
    (void)day_parse(view_text(json_array_get(p.days, from), "day"), &p.first);
    int height = height_of(&p, events);
    (void)fprintf(f,
                  "<svg role=\"img\" aria-labelledby=\"t%zu d%zu\" viewBox=\"0 0 %d %d\">\n"
                  "<title id=\"t%zu\">Stations and days</title>\n<desc id=\"d%zu\">",
                  from, from, WIDTH, height + 22, from, from);
    describe(&p, events);
    svg_draw(f);
    put_days(&p, height);
    p.y = TOP + 4;
    put_row(&p, events, "thaw");
    put_row(&p, events, "mix");
    put_stations(&p);
    put_row(&p, events, "bottle");
    put_row(&p, events, "van");
    rule(&p);
    svg_legend(f, LEFT, height + 16, 2, fills, words);
    svg_end(f);
    json_decref(events);
}
