/* write_html.c - the print for a browser and for paper: one file, no script, nothing from the
 * network, the answer first, each picture with its table beneath.
 */
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/html.h"
#include "daemon/report/people.h"
#include "daemon/report/report.h"

enum {
    TURNED_FROM = 9,    /* columns of a table that stands better on its side, ... */
    TURNED_ROWS = 8,    /* ... when its rows are at most so many, ... */
    TURNED_NUMBERS = 3, /* ... and so many are of numbers: words need their width */
    CHAPTER_PATHS = 6,
    CODE_LETTERS = 24, /* a word of so many stays on one line, whatever hyphens it has */
};

/* The page may load and run nothing; its style stands inside it. */
static const char policy[] = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; "
                             "form-action 'none'";

static const char style[] =
    "*{box-sizing:border-box}\n"
    "body{margin:0;background:#fff;color:#1a1a1a;font:16px/1.45 system-ui,\"DejaVu Sans\",Arial,"
    "sans-serif}\n"
    "main{max-width:66rem;margin:0 auto;padding:1.5rem 1rem 3rem}\n"
    "h1{font-size:1.6rem;line-height:1.2;margin:0 0 .3rem}\n"
    "h2{font-size:1.25rem;margin:2.4rem 0 .6rem;padding-top:.6rem;border-top:2px solid #1a1a1a}\n"
    "h3{font-size:1rem;margin:1.4rem 0 .4rem}\n"
    "p{margin:.4rem 0}\n"
    ".head,.note{color:#4a4a4a}\n"
    ".status{display:inline-block;border:2px solid #1a1a1a;border-radius:3px;padding:0 .5rem;"
    "font-weight:700;color:#1a1a1a}\n"
    ".answer{display:grid;grid-template-columns:repeat(auto-fit,minmax(14rem,1fr));gap:.8rem;"
    "margin:1.2rem 0}\n"
    ".answer div{border:1px solid #767676;border-radius:4px;padding:.6rem .8rem}\n"
    ".answer dt{color:#4a4a4a;font-size:.85rem}\n"
    ".answer dd{margin:0}\n"
    ".answer dd.big{font-size:1.35rem;font-weight:700;line-height:1.3;overflow-wrap:anywhere;"
    "font-variant-numeric:tabular-nums}\n"
    "dl{margin:0}\n"
    "figure{margin:0 0 .8rem}\n"
    "svg{display:block;width:100%;max-width:50rem;height:auto;font:12.5px system-ui,"
    "\"DejaVu Sans\",Arial,sans-serif;fill:#1a1a1a}\n"
    "svg.defs{position:absolute;width:0;height:0}\n"
    ".wide,figure{overflow-x:auto}\n"
    "table{border-collapse:collapse;font-size:.82rem;margin:.3rem 0 1rem}\n"
    "caption{text-align:left;font-weight:700;padding:.3rem 0}\n"
    "th,td{text-align:left;vertical-align:top;padding:.22rem .6rem .22rem 0;"
    "border-bottom:1px solid #ccc;overflow-wrap:break-word;min-width:2.5rem}\n"
    "thead th{border-bottom:2px solid #1a1a1a;vertical-align:bottom}\n"
    "th{font-weight:600}\n"
    ".n{text-align:right;font-variant-numeric:tabular-nums;overflow-wrap:normal;"
    "white-space:nowrap}\n"
    "thead .n{white-space:normal}\n"
    ".c{white-space:nowrap}\n"
    ".total td,.total th{font-weight:700;border-top:2px solid #1a1a1a}\n"
    "li{margin:.2rem 0}\n"
    "@media(max-width:45rem){svg{min-width:42rem}}\n"
    "@page{margin:14mm}\n"
    "@media print{body{font-size:10pt}main{max-width:none;padding:0 "
    "1px}.wide,figure{overflow:visible}"
    "table{font-size:7.5pt}th,td{padding-right:.4rem;min-width:0}"
    "h2,h3,caption{break-after:avoid}figure,tr,.answer div{break-inside:avoid}"
    "svg{max-width:150mm;min-width:0}*{-webkit-print-color-adjust:exact;print-color-adjust:exact}}"
    "\n";

static const char *
get(const struct table_model *people, const char *path, const char *key)
{
    const char *text = table_get(people, path, key);
    return text != NULL ? text : "-";
}

static const char *
headline(const struct table_model *people, const char *path, const char *key)
{
    const char *text = table_headline(people, path, key);
    return text != NULL ? text : "-";
}

/* ---- tables */

/* A code or a day: not to be broken at its hyphens. */
static bool
is_code(const char *text)
{
    return strlen(text) <= CODE_LETTERS && strchr(text, '-') != NULL && strchr(text, ' ') == NULL;
}

static void
put_cell(FILE *out, bool head, bool number, const char *text)
{
    const char *class = number ? " class=\"n\"" : is_code(text) ? " class=\"c\"" : "";
    (void)fprintf(out, "<%s%s>", head ? "th scope=\"row\"" : "td", class);
    html_text(out, text);
    (void)fputs(head ? "</th>" : "</td>", out);
}

static void
put_heading(FILE *out, const struct column *column, const char *scope, bool number)
{
    const char *unit = people_unit(column);
    (void)fprintf(out, "<th scope=\"%s\"%s>", scope, number ? " class=\"n\"" : "");
    html_text(out, column->label);
    html_text(out, unit[0] != '\0' ? ", " : "");
    html_text(out, unit);
    (void)fputs("</th>", out);
}

static void
open_table(FILE *out, const struct section *s)
{
    (void)fputs("<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"", out);
    html_attr(out, s->title);
    (void)fputs("\"><table>\n<caption>", out);
    html_text(out, s->title);
    (void)fputs("</caption>\n", out);
}

static void
close_table(FILE *out)
{
    (void)fputs("</tbody>\n</table></div>\n", out);
}

/* One line a fact: name, number, unit. */
static void
put_fields(FILE *out, const struct section *s)
{
    open_table(out, s);
    (void)fputs("<tbody>\n", out);
    for (size_t i = 0; i < s->n_columns; i++) {
        const struct cell *cell = table_cell(s, 0, i);
        if (cell->type == CELL_ABSENT)
            continue;
        (void)fputs("<tr>", out);
        put_heading(out, &s->columns[i], "row", false);
        put_cell(out, false, s->columns[i].number, people_word(cell));
        (void)fputs("</tr>\n", out);
    }
    close_table(out);
}

static void
put_upright(FILE *out, const struct section *s)
{
    open_table(out, s);
    (void)fputs("<thead><tr>", out);
    for (size_t i = 0; i < s->n_columns; i++)
        put_heading(out, &s->columns[i], "col", s->columns[i].number);
    (void)fputs("</tr></thead>\n<tbody>\n", out);
    for (size_t row = 0; row < s->n_rows; row++) {
        (void)fputs(row + s->n_totals >= s->n_rows ? "<tr class=\"total\">" : "<tr>", out);
        for (size_t i = 0; i < s->n_columns; i++)
            put_cell(out, i == 0, s->columns[i].number, people_word(table_cell(s, row, i)));
        (void)fputs("</tr>\n", out);
    }
    close_table(out);
}

/* Columns as lines. */
static void
put_turned(FILE *out, const struct section *s)
{
    open_table(out, s);
    (void)fputs("<thead><tr>", out);
    put_heading(out, &s->columns[0], "col", false);
    for (size_t row = 0; row < s->n_rows; row++) {
        (void)fputs("<th scope=\"col\" class=\"n\">", out);
        html_text(out, people_word(table_cell(s, row, 0)));
        (void)fputs("</th>", out);
    }
    (void)fputs("</tr></thead>\n<tbody>\n", out);
    for (size_t i = 1; i < s->n_columns; i++) {
        (void)fputs("<tr>", out);
        put_heading(out, &s->columns[i], "row", false);
        for (size_t row = 0; row < s->n_rows; row++)
            put_cell(out, false, true, people_word(table_cell(s, row, i)));
        (void)fputs("</tr>\n", out);
    }
    close_table(out);
}

static void
put_list(FILE *out, const struct section *s)
{
    (void)fputs("<ul>\n", out);
    for (size_t i = 0; i < s->n_rows; i++) {
        (void)fputs("<li>", out);
        html_text(out, people_word(table_cell(s, i, 0)));
        (void)fputs("</li>\n", out);
    }
    (void)fputs("</ul>\n", out);
}

static bool
is_empty(const struct section *s)
{
    return s == NULL || s->shape == SHAPE_NULL || (s->shape != SHAPE_FIELDS && s->n_rows == 0);
}

static bool
stands_on_its_side(const struct section *s)
{
    size_t numbers = 0;
    for (size_t i = 0; i < s->n_columns; i++)
        numbers += s->columns[i].number;
    return s->n_columns >= TURNED_FROM && s->n_rows <= TURNED_ROWS && numbers >= TURNED_NUMBERS;
}

static void
put_section(FILE *out, const struct section *s)
{
    if (is_empty(s))
        return;
    if (s->shape == SHAPE_FIELDS)
        put_fields(out, s);
    else if (s->shape == SHAPE_LIST)
        put_list(out, s);
    else if (stands_on_its_side(s))
        put_turned(out, s);
    else
        put_upright(out, s);
}

/* ---- the answer */

__attribute__((format(printf, 3, 4))) static void
fact(FILE *out, const char *name, const char *format, ...)
{
    char text[512];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    char *rest = strchr(text, '|'); /* what is said in small */
    if (rest != NULL)
        *rest++ = '\0';
    (void)fputs("<div><dt>", out);
    html_text(out, name);
    (void)fputs("</dt><dd class=\"big\">", out);
    html_text(out, text);
    (void)fputs("</dd><dd>", out);
    html_text(out, rest != NULL ? rest : "");
    (void)fputs("</dd></div>\n", out);
}

static void
product_facts(FILE *out, const struct table_model *m)
{
    const struct section *s = table_find(m, "product");
    for (size_t row = 0; s != NULL && row < s->n_rows; row++)
        if (people_is_whole_currency(s, row))
            fact(out, "Sold", "%s|at list %s; %s bottles made", people_text(s, row, "sold_minor"),
                 people_text(s, row, "at_list_minor"), people_text(s, row, "bottles"));
}

/* Whether it is worth it: all bottles of a currency, when everything about them is known. */
static void
cost_facts(FILE *out, const struct table_model *m)
{
    const struct section *s = table_find(m, "bottle_costs");
    for (size_t row = 0; s != NULL && row < s->n_rows; row++) {
        const char *saved = people_text(s, row, "saved_minor");
        if (people_is_whole_currency(s, row) && saved[0] != '\0')
            fact(out, "Saved", "%s|by making %s bottles rather than buying the like in", saved,
                 people_text(s, row, "bottles"));
    }
}

static void
answer(FILE *out, const struct table_model *m)
{
    if (table_find(m, "frame") != NULL) /* the table of one frame */
        return;
    (void)fputs("<dl class=\"answer\">\n", out);
    fact(out, "Grounds captured", "%s %%|%s of %s kg generated; %s %% was not weighed",
         get(m, "grounds", "capture_rate_pct"), get(m, "grounds", "captured_kg"),
         get(m, "grounds", "generated_kg"), get(m, "quality", "estimated_share_pct"));
    fact(out, "Waste diverted", "%s %%|%s kg diverted, %s kg disposed of",
         get(m, "waste", "diverted_pct"), get(m, "waste", "diverted_kg"),
         get(m, "waste", "disposed_kg"));
    fact(out, "Waiting for an end", "%s kg|the end of %s kg is not known",
         get(m, "waste", "waiting_kg"), get(m, "waste", "unknown_kg"));
    fact(out, "Emissions inventory", "%s kg CO2e|factors %s; %s kg not quantified",
         headline(m, "emissions", "inventory_kg_co2e"), get(m, "", "edition"),
         get(m, "emissions", "not_quantified_kg"));
    fact(out, "Tubs in the books", "%s kg|unexplained %s kg", get(m, "stock", "closing_kg"),
         get(m, "stock", "unexplained_kg"));
    product_facts(out, m);
    cost_facts(out, m);
    (void)fputs("</dl>\n", out);
    const struct section *cautions = table_find(m, "cautions");
    if (!is_empty(cautions))
        (void)fprintf(out, "<p><a href=\"#cautions\">%zu caution%s</a> to read with it.</p>\n",
                      cautions->n_rows, cautions->n_rows == 1 ? "" : "s");
}

/* ---- the page */

typedef void picture_fn(FILE *out, const struct table_model *people);

/* What stands beneath what, in the order of the page. */
static const struct chapter {
    const char *title;
    picture_fn *picture;
    const char *paths[CHAPTER_PATHS];
} chapters[] = {
    {"Where it ended", picture_destinations, {"waste.by_destination", "waste"}},
    {"Twelve months", picture_months, {"months"}},
    {"Stock of tubs", picture_stock, {"stock", "stock.sites"}},
    {"Capture by caf\xc3\xa9", picture_cafes, {"grounds.sites", "grounds"}},
    {"Batches: balance and strength", picture_batches, {"batches"}},
    {"Product and its value", NULL, {"product"}},
    {"What it costs", NULL, {"bottle_costs", "costs", "costs_missing"}},
    {"Emissions",
     NULL,
     {"emissions", "emissions.lines", "emissions.by_gwp_basis", "emissions.ranges",
      "emissions.factors", "emissions.avoided"}},
};

enum {
    CHAPTERS = sizeof chapters / sizeof chapters[0]
};

static bool
is_in_a_chapter(const struct section *s)
{
    for (size_t i = 0; i < CHAPTERS; i++)
        for (size_t j = 0; j < CHAPTER_PATHS && chapters[i].paths[j] != NULL; j++)
            if (strcmp(chapters[i].paths[j], s->path) == 0)
                return true;
    return strcmp(s->path, "cautions") == 0;
}

/* All sections of that path: "waste" has two. */
static void
put_path(FILE *out, const struct table_model *m, const char *path)
{
    for (size_t i = 0; i < table_count(m); i++)
        if (strcmp(table_at(m, i)->path, path) == 0)
            put_section(out, table_at(m, i));
}

static void
put_chapter(FILE *out, const struct table_model *m, const struct chapter *chapter)
{
    bool any = false;
    for (size_t i = 0; i < CHAPTER_PATHS && chapter->paths[i] != NULL; i++)
        any = any || !is_empty(table_find(m, chapter->paths[i]));
    if (!any)
        return;
    (void)fprintf(out, "<section>\n<h2>%s</h2>\n", chapter->title);
    if (chapter->picture != NULL) {
        (void)fprintf(out, "<figure tabindex=\"0\" aria-label=\"%s\">\n", chapter->title);
        chapter->picture(out, m);
        (void)fputs("</figure>\n", out);
    }
    for (size_t i = 0; i < CHAPTER_PATHS && chapter->paths[i] != NULL; i++)
        put_path(out, m, chapter->paths[i]);
    (void)fputs("</section>\n", out);
}

/* What has no rows, by name. */
static void
put_none(FILE *out, const struct table_model *m)
{
    bool any = false;
    for (size_t i = 0; i < table_count(m); i++) {
        const struct section *s = table_at(m, i);
        if (s->shape == SHAPE_NULL || !is_empty(s) || strcmp(s->path, "cautions") == 0)
            continue;
        (void)fputs(any ? "<li>" : "<p>None in this report:</p>\n<ul>\n<li>", out);
        html_text(out, s->title);
        (void)fputs("</li>\n", out);
        any = true;
    }
    (void)fputs(any ? "</ul>\n" : "", out);
}

static void
put_rest(FILE *out, const struct table_model *m)
{
    const char *frame = table_get(m, "frame", "name");
    (void)fputs("<section>\n<h2>", out);
    html_text(out, frame != NULL ? frame : "All else");
    (void)fputs("</h2>\n", out);
    for (size_t i = 0; i < table_count(m); i++)
        if (!is_in_a_chapter(table_at(m, i)))
            put_section(out, table_at(m, i));
    put_none(out, m);
    (void)fputs("</section>\n", out);
}

static void
put_head(FILE *out, const struct table_model *m)
{
    (void)fprintf(out,
                  "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n"
                  "<meta http-equiv=\"Content-Security-Policy\" content=\"%s\"/>\n"
                  "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n"
                  "<title>Report of ",
                  policy);
    html_text(out, get(m, "period", "start"));
    (void)fputs(" to ", out);
    html_text(out, get(m, "period", "end"));
    (void)fprintf(out, "</title>\n<style>\n%s</style>\n</head>\n<body>\n", style);
}

static void
put_title(FILE *out, const struct table_model *m)
{
    (void)fputs("<header>\n<h1>Report of ", out);
    html_text(out, get(m, "period", "start"));
    (void)fputs(" to ", out);
    html_text(out, get(m, "period", "end"));
    (void)fputs("</h1>\n<p class=\"head\"><span class=\"status\">", out);
    html_text(out, get(m, "", "status"));
    (void)fputs("</span> basis ", out);
    html_text(out, get(m, "", "basis"));
    (void)fputs(", emission factors ", out);
    html_text(out, get(m, "", "edition"));
    (void)fputs("</p>\n</header>\n", out);
}

static void
put_cautions(FILE *out, const struct table_model *m)
{
    (void)fputs("<section id=\"cautions\">\n<h2>Cautions</h2>\n", out);
    if (is_empty(table_find(m, "cautions")))
        (void)fputs("<p>None.</p>\n", out);
    put_path(out, m, "cautions");
    (void)fputs("<p class=\"note\">Figures that speak of safety, strength or law are estimates for "
                "people to check: local code and licensed practice come first.</p>\n</section>\n",
                out);
}

static void
put_page(FILE *out, const struct table_model *m)
{
    put_head(out, m);
    svg_patterns(out);
    (void)fputs("<main>\n", out);
    put_title(out, m);
    answer(out, m);
    for (size_t i = 0; i < CHAPTERS; i++)
        put_chapter(out, m, &chapters[i]);
    put_rest(out, m);
    put_cautions(out, m);
    (void)fputs("</main>\n</body>\n</html>\n", out);
}

enum err
report_html(const struct table_model *model, char **out_text, struct err_text *why)
{
    struct table_model *people = NULL;
    char *text = NULL;
    size_t len = 0;
    enum err e = table_for_people(model, &people, why);
    if (e != ERR_OK)
        return e;
    FILE *out = open_memstream(&text, &len);
    bool failed = out == NULL;
    if (out != NULL) {
        put_page(out, people);
        failed = ferror(out) != 0;
        failed = fclose(out) != 0 || failed;
    }
    table_free(people);
    if (failed) {
        free(text);
        return err_set(ERR_MEM, why, "out of memory for the report");
    }
    *out_text = text;
    return ERR_OK;
}
