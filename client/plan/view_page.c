/* view_page.c - a plan as one page: the answer, the picture, the table beneath, what to buy, what
 * is assumed. No script, nothing from the network; A4 on its side.
 */
#include <string.h>
#include "client/plan/view_events.h"
#include "client/plan/view_print.h"
#include "client/show.h"
#include "daemon/report/html.h"
#include "proto/when.h"

enum {
    DAYS_A_PICTURE = 14
};

static const char policy[] = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; "
                             "form-action 'none'";

static const char style[] =
    "*{box-sizing:border-box}\n"
    "body{margin:0;background:#fff;color:#1a1a1a;font:15px/1.4 system-ui,\"DejaVu Sans\",Arial,"
    "sans-serif}\n"
    "main{max-width:78rem;margin:0 auto;padding:1.2rem 1rem 2rem}\n"
    "h1{font-size:1.5rem;line-height:1.2;margin:0 0 .4rem}\n"
    "h2{font-size:1rem;margin:1rem 0 .3rem}\n"
    "ul{margin:.3rem 0 .8rem;padding-left:1.2rem}\n"
    "svg{display:block;width:100%;height:auto;font:11px system-ui,\"DejaVu Sans\",Arial,"
    "sans-serif;fill:#1a1a1a}\n"
    ".wide,figure{overflow-x:auto}\n"
    "table{border-collapse:collapse;font-size:.82rem;width:100%;margin:.6rem 0}\n"
    "caption{text-align:left;font-weight:700;padding:.2rem 0}\n"
    "th,td{text-align:left;vertical-align:top;padding:.15rem .6rem .15rem 0;"
    "border-bottom:1px solid #bbb}\n"
    "thead th{border-bottom:2px solid #1a1a1a}\n"
    "tbody th{white-space:nowrap}\n"
    ".closed{background:#ececec}\n"
    ".assumed{font-size:.78rem;color:#4a4a4a}\n"
    "@media(max-width:60rem){svg{min-width:60rem}}\n"
    "@page{size:A4 landscape;margin:8mm}\n"
    "@media "
    "print{body{font-size:8.5pt}main{max-width:none;padding:0}.wide,figure{overflow:visible}svg{"
    "min-width:0}"
    "h1{font-size:13pt;margin:0}h2{font-size:8pt;margin:.2rem 0}"
    "ul{margin:.1rem 0 .3rem;columns:3}"
    "table{font-size:6.8pt;line-height:1.2;margin:.2rem 0}"
    "th,td{padding-top:0;padding-bottom:0}h2,caption{break-after:avoid}figure,tr{break-inside:"
    "avoid}"
    ".assumed{font-size:6pt;line-height:1.15}"
    "*{-webkit-print-color-adjust:exact;print-color-adjust:exact}}\n"
    "figure{margin:.4rem 0}\n";

static void
put_sentence(void *owner, const char *text)
{
    FILE *f = owner;
    (void)fputs("<li>", f);
    html_text(f, text);
    (void)fputs("</li>\n", f);
}

static void
put_pictures(const json_t *view, FILE *f)
{
    size_t n = json_array_size(json_object_get(view, "days"));
    for (size_t from = 0; from < n; from += DAYS_A_PICTURE) {
        size_t end = from + DAYS_A_PICTURE < n ? from + DAYS_A_PICTURE : n;
        (void)fputs("<figure tabindex=\"0\" aria-label=\"Plan by station and day\">\n", f);
        view_print_picture(view, from, end, f);
        (void)fputs("</figure>\n", f);
    }
}

/* ---- the table */

/* "syrup-1 from 3 tubs, 9.00 kg", and how the others differ. */
static void
words_of(const json_t *event, char *out, size_t size)
{
    const char *what = view_text(event, "what"), *batch = view_text(event, "batch"),
               *station = view_text(event, "station"), *recipe = view_text(event, "recipe"),
               *departs = view_text(event, "departs");
    size_t tubs = json_array_size(json_object_get(event, "tubs"));
    const char *at = strlen(departs) > 16 ? departs + 11 : "";
    char mass[32], volume[32], of[160];
    (void)show_mass(view_number(event, "grounds_g"), mass);
    (void)snprintf(of, sizeof of, "%.60s%s%.60s", batch, batch[0] != '\0' ? " " : "", recipe);
    if (strcmp(what, "thaw") == 0)
        (void)snprintf(out, size, "%zu for %s", tubs, of);
    else if (strcmp(what, "mix") == 0)
        (void)snprintf(out, size, "%s, %s", of, mass);
    else if (strcmp(what, "bottle") == 0)
        (void)snprintf(out, size, "%s, %s%s%.60s", of,
                       show_volume(view_number(event, "ml"), volume),
                       station[0] != '\0' ? " from " : "", station);
    else
        (void)snprintf(out, size, "%.60s%s%.5s: %zu, %s", view_text(event, "route"),
                       at[0] != '\0' ? " at " : "", at, tubs, mass);
}

static void
put_cell(const json_t *events, const char *day, const char *what, FILE *f)
{
    char words[512];
    bool first = true;
    (void)fputs("<td>", f);
    for (size_t i = 0; i < json_array_size(events); i++) {
        const json_t *event = json_array_get(events, i);
        if (strcmp(view_text(event, "what"), what) != 0 ||
            strcmp(view_text(event, "day"), day) != 0)
            continue;
        words_of(event, words, sizeof words);
        html_text(f, first ? "" : "; ");
        html_text(f, words);
        first = false;
    }
    (void)fputs("</td>", f);
}

static void
put_line(const json_t *events, const json_t *day, FILE *f)
{
    static const char *const kinds[] = {"thaw", "mix", "bottle", "van"};
    bool closed = json_is_false(json_object_get(day, "working"));
    char name[32];
    int32_t number;
    (void)fputs(closed ? "<tr class=\"closed\"><th scope=\"row\">" : "<tr><th scope=\"row\">", f);
    if (day_parse(view_text(day, "day"), &number))
        html_text(f, view_date(number, name));
    (void)fputs(closed ? " (closed)</th>" : "</th>", f);
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
        put_cell(events, view_text(day, "day"), kinds[i], f);
    (void)fprintf(f, "<td>%lld</td></tr>\n", (long long)view_number(day, "straining"));
}

static void
put_table(const json_t *view, FILE *f)
{
    const json_t *days = json_object_get(view, "days");
    json_t *events = view_events(view);
    (void)fputs("<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"The same by "
                "day\"><table>\n<caption>The same by day</caption>\n<thead><tr>"
                "<th scope=\"col\">day</th><th scope=\"col\">thaw in the evening, tubs</th>"
                "<th scope=\"col\">mix</th><th scope=\"col\">bottle</th>"
                "<th scope=\"col\">van, tubs</th><th scope=\"col\">straining</th>"
                "</tr></thead>\n<tbody>\n",
                f);
    for (size_t i = 0; i < json_array_size(days); i++)
        put_line(events, json_array_get(days, i), f);
    (void)fputs("</tbody>\n</table></div>\n", f);
    json_decref(events);
}

static void
put_assumed(const json_t *assumed, FILE *f)
{
    if (json_array_size(assumed) == 0)
        return;
    (void)fputs("<section>\n<h2>Assumed, where the catalogue is silent</h2>\n"
                "<ul class=\"assumed\">\n",
                f);
    for (size_t i = 0; i < json_array_size(assumed); i++)
        put_sentence(f, json_string_value(json_array_get(assumed, i)));
    (void)fputs("</ul>\n</section>\n", f);
}

void
view_print_page(const json_t *view, FILE *f)
{
    char title[128];
    (void)view_title(view, title, sizeof title);
    (void)fprintf(f,
                  "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n"
                  "<meta http-equiv=\"Content-Security-Policy\" content=\"%s\"/>\n"
                  "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n"
                  "<title>",
                  policy);
    html_text(f, title);
    (void)fprintf(f, "</title>\n<style>\n%s</style>\n</head>\n<body>\n<main>\n<h1>", style);
    html_text(f, title);
    (void)fputs("</h1>\n<ul>\n", f);
    view_sentences(view, put_sentence, f);
    (void)fputs("</ul>\n<section>\n", f);
    put_pictures(view, f);
    put_table(view, f);
    (void)fputs("</section>\n", f);
    put_assumed(json_object_get(view, "assumed"), f);
    (void)fputs("</main>\n</body>\n</html>\n", f);
}
