/* pictures.c - the pictures of a report: lengths from the numbers of the tables, labels as they are.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/calc/destinations.h"
#include "daemon/report/html.h"
#include "daemon/report/people.h"

enum {
    LEFT = 190,   /* where bars begin */
    RIGHT = 560,  /* where the longest ends */
    LINE = 28,    /* a row */
    BAR = 18,     /* of it the bar */
    LETTERS = 27, /* that fit left of LEFT */
    BATCHES = 24, /* a picture */
    LABEL = 160,  /* bytes of a label */
};

static double
value(const char *text)
{
    return strtod(text, NULL); /* our own digits; "" and "-" are 0 */
}

static int
length(double part, double whole, int most)
{
    return whole > 0 && part > 0 ? (int)lround(part / whole * most) : 0;
}

/* Cut to what fits, at a whole character; "_" of codes becomes a blank. */
static const char *
short_name(const char *text, char room[LABEL])
{
    size_t n = 0, letters = 0;
    for (; text[n] != '\0' && n + 8 < LABEL; n++) {
        letters += ((unsigned char)text[n] & 0xC0) != 0x80;
        if (letters > LETTERS)
            break;
        room[n] = (char)(text[n] == '_' ? ' ' : text[n]);
    }
    (void)snprintf(room + n, LABEL - n, "%s", text[n] != '\0' ? "\xe2\x80\xa6" : "");
    return room;
}

static void
row_name(FILE *out, int y, const char *text)
{
    char room[LABEL];
    svg_label(out, LEFT - 8, y + BAR - 4, "end", short_name(text, room));
}

/* "name 1.000 kg; " of the description. */
static void
describe(FILE *out, const char *name, const char *number, const char *unit)
{
    html_text(out, name);
    html_text(out, " ");
    html_text(out, number);
    html_text(out, unit);
    html_text(out, "; ");
}

static const struct section *
rows_at(const struct table_model *people, const char *path, size_t *out_n)
{
    const struct section *s = table_find(people, path);
    *out_n = s != NULL ? s->n_rows - s->n_totals : 0;
    return s;
}

static double
largest(const struct section *s, size_t n, const char *key)
{
    double most = 0;
    for (size_t i = 0; i < n; i++)
        most = fmax(most, value(people_text(s, i, key)));
    return most;
}

/* ---- where it ended */

static enum fill
fill_of(const char *destination)
{
    const struct calc_destination *row = calc_destination_find(destination);
    if (row == NULL || strcmp(destination, "sewer") == 0 || strcmp(destination, "product") == 0)
        return FILL_DOTS;
    return calc_destination_diverted(row) ? FILL_SOLID : FILL_HATCH;
}

void
picture_destinations(FILE *out, const struct table_model *people)
{
    static const enum fill fills[] = {FILL_SOLID, FILL_HATCH, FILL_DOTS};
    static const char *const words[] = {"diverted", "disposed of", "in neither (drain)"};
    size_t n = 0;
    const struct section *s = rows_at(people, "waste.by_destination", &n);
    if (n == 0)
        return;
    double most = largest(s, n, "kg");
    svg_begin(out, "p-destinations", (int)n * LINE + 34, "Where the waste ended, kg");
    for (size_t i = 0; i < n; i++)
        describe(out, people_text(s, i, "destination"), people_text(s, i, "kg"), " kg");
    svg_draw(out);
    for (size_t i = 0; i < n; i++) {
        const char *code = people_text(s, i, "destination"), *kg = people_text(s, i, "kg");
        int y = (int)i * LINE + 4, long_ = length(value(kg), most, RIGHT - LEFT);
        char label[LABEL];
        row_name(out, y, code);
        svg_bar(out, LEFT, y, long_, BAR, fill_of(code));
        (void)snprintf(label, sizeof label, "%s kg", kg);
        svg_label(out, LEFT + long_ + 8, y + BAR - 4, "start", label);
    }
    svg_legend(out, LEFT, (int)n * LINE + 24, 3, fills, words);
    svg_end(out);
}

/* ---- twelve months */

static void
column(FILE *out, int x, double kg, double most, enum fill fill)
{
    enum {
        BASE = 190,
        HIGH = 160
    };
    int high = length(kg, most, HIGH);
    char label[LABEL];
    svg_bar(out, x, BASE - high, 22, high, fill);
    (void)snprintf(label, sizeof label, "%.0f", kg);
    svg_label(out, x + 11, BASE - high - 5, "middle", label);
}

/* Points of the figures above columns: two stand side by side in the width of a month. */
static int
figure_size(double most)
{
    return most < 999.5 ? 11 : most < 9999.5 ? 10 : most < 99999.5 ? 8 : 6;
}

void
picture_months(FILE *out, const struct table_model *people)
{
    static const enum fill fills[] = {FILL_SOLID, FILL_HATCH};
    static const char *const words[] = {"grounds captured, kg", "waste diverted, kg"};
    size_t n = 0;
    const struct section *s = rows_at(people, "months", &n);
    if (n == 0)
        return;
    double most = fmax(largest(s, n, "captured_kg"), largest(s, n, "diverted_kg"));
    svg_begin(out, "p-months", 240, "Grounds captured and waste diverted by month, kg");
    for (size_t i = 0; i < n; i++) {
        describe(out, people_text(s, i, "month"), people_text(s, i, "captured_kg"),
                 " kg captured,");
        describe(out, "", people_text(s, i, "diverted_kg"), " kg diverted");
    }
    svg_draw(out);
    (void)fprintf(out, "<g font-size=\"%d\">\n", figure_size(most));
    for (size_t i = 0; i < n; i++) {
        int x = 10 + (int)i * 58;
        column(out, x, value(people_text(s, i, "captured_kg")), most, FILL_SOLID);
        column(out, x + 26, value(people_text(s, i, "diverted_kg")), most, FILL_HATCH);
    }
    (void)fputs("</g>\n", out);
    for (size_t i = 0; i < n; i++) {
        int x = 10 + (int)i * 58;
        svg_label(out, x + 24, 207, "middle", people_text(s, i, "month"));
    }
    svg_line(out, 4, 190, 716, 190);
    svg_legend(out, 10, 232, 2, fills, words);
    svg_end(out);
}

/* ---- stock */

/* One step of the way from opening to closing. */
static const struct step {
    const char *label, *key, *less; /* less: taken off too; NULL: none */
    int sign;                       /* 0: a level, not a step */
} steps[] = {
    {"opening", "opening_kg", NULL, 0},         {"late", "late_kg", NULL, 1},
    {"filled", "filled_kg", NULL, 1},           {"received less sent", "received_kg", "sent_kg", 1},
    {"thrown away", "rejected_kg", NULL, -1},   {"used in batches", "used_kg", NULL, -1},
    {"unexplained", "unexplained_kg", NULL, 1}, {"closing", "closing_kg", NULL, 0},
};

enum {
    STEPS = sizeof steps / sizeof steps[0]
};

struct fall {
    double from[STEPS], to[STEPS], low, high;
};

static void
fall_of(const struct section *s, struct fall *out)
{
    double level = 0;
    out->low = out->high = 0;
    for (size_t i = 0; i < STEPS; i++) {
        double by = value(people_text(s, 0, steps[i].key)) -
                    (steps[i].less != NULL ? value(people_text(s, 0, steps[i].less)) : 0);
        out->from[i] = steps[i].sign == 0 ? 0 : level;
        level = steps[i].sign == 0 ? by : level + steps[i].sign * by;
        out->to[i] = level;
        out->low = fmin(out->low, level);
        out->high = fmax(out->high, level);
    }
}

static int
place(const struct fall *fall, double level)
{
    double span = fall->high - fall->low;
    return LEFT + (span > 0 ? (int)lround((level - fall->low) / span * (RIGHT - LEFT)) : 0);
}

static void
step_bar(FILE *out, const struct fall *fall, size_t i)
{
    int a = place(fall, fall->from[i]), b = place(fall, fall->to[i]), y = (int)i * LINE + 4;
    double by = fall->to[i] - fall->from[i];
    char label[LABEL];
    enum fill fill = steps[i].sign == 0 ? FILL_SOLID : by < 0 ? FILL_HATCH : FILL_DOTS;
    svg_bar(out, a < b ? a : b, y, abs(b - a), BAR, fill);
    if (i + 1 < STEPS)
        svg_line(out, b, y + BAR, b, y + LINE);
    (void)snprintf(label, sizeof label, steps[i].sign == 0 ? "%.3f kg" : "%+.3f kg",
                   fabs(by) < 0.0005 ? 0.0 : by);
    svg_label(out, (a > b ? a : b) + 8, y + BAR - 4, "start", label);
    row_name(out, y, steps[i].label);
}

void
picture_stock(FILE *out, const struct table_model *people)
{
    static const enum fill fills[] = {FILL_SOLID, FILL_DOTS, FILL_HATCH};
    static const char *const words[] = {"in the books", "more", "less"};
    const struct section *s = table_find(people, "stock");
    struct fall fall;
    if (s == NULL || s->n_rows == 0)
        return;
    fall_of(s, &fall);
    svg_begin(out, "p-stock", STEPS * LINE + 34, "Stock of tubs from opening to closing, kg");
    for (size_t i = 0; i < STEPS; i++)
        describe(out, steps[i].label, people_text(s, 0, steps[i].key), " kg");
    svg_draw(out);
    svg_line(out, place(&fall, 0), 0, place(&fall, 0), STEPS * LINE);
    for (size_t i = 0; i < STEPS; i++)
        step_bar(out, &fall, i);
    svg_legend(out, LEFT, STEPS * LINE + 24, 3, fills, words);
    svg_end(out);
}

/* ---- cafés */

void
picture_cafes(FILE *out, const struct table_model *people)
{
    static const enum fill fills[] = {FILL_SOLID, FILL_HATCH};
    static const char *const words[] = {"captured", "not captured"};
    size_t n = 0;
    const struct section *s = rows_at(people, "grounds.sites", &n);
    if (n == 0)
        return;
    svg_begin(out, "p-cafes", (int)n * LINE + 34, "Capture rate by caf\xc3\xa9, %");
    for (size_t i = 0; i < n; i++)
        describe(out, people_text(s, i, "site"), people_text(s, i, "capture_rate_pct"), " %");
    svg_draw(out);
    for (size_t i = 0; i < n; i++) {
        const char *pct = people_text(s, i, "capture_rate_pct");
        int y = (int)i * LINE + 4, long_ = length(value(pct), 100, RIGHT - LEFT);
        char label[LABEL];
        row_name(out, y, people_text(s, i, "site"));
        if (pct[0] != '\0') {
            svg_bar(out, LEFT, y, RIGHT - LEFT, BAR, FILL_HATCH);
            svg_bar(out, LEFT, y, long_, BAR, FILL_SOLID);
        }
        (void)snprintf(label, sizeof label, pct[0] != '\0' ? "%s %%" : "no grounds", pct);
        svg_label(out, RIGHT + 8, y + BAR - 4, "start", label);
    }
    svg_legend(out, LEFT, (int)n * LINE + 24, 2, fills, words);
    svg_end(out);
}

/* ---- batches */

static void
batch_bar(FILE *out, const struct section *s, size_t row, int y, double most)
{
    static const struct {
        const char *key;
        enum fill fill;
    } parts[] = {{"product_g", FILL_SOLID}, {"residue_g", FILL_HATCH}, {"loss_g", FILL_DOTS}};
    int x = LEFT;
    char label[LABEL];
    svg_bar(out, LEFT, y, length(value(people_text(s, row, "in_g")), most, RIGHT - LEFT), BAR,
            FILL_OPEN);
    for (size_t i = 0; i < 3; i++) {
        double g = value(people_text(s, row, parts[i].key));
        int long_ = length(g, most, RIGHT - LEFT);
        if (long_ > 0)
            svg_bar(out, x, y, long_, BAR, parts[i].fill);
        x += long_;
    }
    const char *abv = people_text(s, row, "abv_pct");
    (void)snprintf(label, sizeof label, abv[0] != '\0' ? "%s %% vol, %s" : "strength not known",
                   abv, people_text(s, row, "abv_is"));
    svg_label(out, RIGHT + 8, y + BAR - 4, "start", label);
    row_name(out, y, people_text(s, row, "batch"));
}

static void
batches(FILE *out, const struct section *s, size_t from, size_t end, double most)
{
    static const enum fill fills[] = {FILL_SOLID, FILL_HATCH, FILL_DOTS, FILL_OPEN};
    static const char *const words[] = {"product", "residue", "loss", "not found again"};
    char id[32], title[LABEL];
    int n = (int)(end - from);
    (void)snprintf(id, sizeof id, "p-batches-%zu", from);
    (void)snprintf(title, sizeof title, "Where the mass of batches %zu to %zu went, and strength",
                   from + 1, end);
    svg_begin(out, id, n * LINE + 34, title);
    for (size_t i = from; i < end; i++) {
        describe(out, people_text(s, i, "batch"), people_text(s, i, "in_g"), " g in,");
        describe(out, "", people_text(s, i, "product_g"), " g product");
    }
    svg_draw(out);
    for (size_t i = from; i < end; i++)
        batch_bar(out, s, i, (int)(i - from) * LINE + 4, most);
    svg_legend(out, LEFT, n * LINE + 24, 4, fills, words);
    svg_end(out);
}

void
picture_batches(FILE *out, const struct table_model *people)
{
    size_t n = 0;
    const struct section *s = rows_at(people, "batches", &n);
    double most = n > 0 ? largest(s, n, "in_g") : 0;
    for (size_t from = 0; from < n; from += BATCHES)
        batches(out, s, from, from + BATCHES < n ? from + BATCHES : n, most);
}
