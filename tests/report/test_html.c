/* The page: well-formed, self-contained, and text stays text whatever people wrote. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/forms.h"
#include "daemon/report/html.h"
#include "daemon/report/report_month.h"
#include "tests/report/town.h"

static struct table_model *
model_of(struct play *play, const char *month)
{
    struct err_text why = {.s = ""};
    struct report_ask ask = {.month = play_month(month), .pictures = true};
    struct table_model *model = NULL;
    cr_assert(
        eq(int, report_month(play_ledger(play), play_store(play), &ask, &model, &why), ERR_OK),
        "%s", why.s);
    return model;
}

static char *
page_of(const struct table_model *model)
{
    char *page = NULL;
    cr_assert(eq(int, report_html(model, &page, NULL), ERR_OK));
    return page;
}

static struct play *
example(void)
{
    struct play *play = play_new("kitchen");
    play_read(play, TEST_DATA "/example-month/catalogue.jsonl");
    play_read(play, TEST_DATA "/example-month/records.jsonl");
    play_put(play, 0);
    return play;
}

/* ---- a small check of form: every tag that opens closes, in order; attributes are quoted. */

struct form {
    char open[64][24];
    size_t depth, tags;
};

/* Past the tag at `at` ('<'), NULL when it is none that we would write. */
static const char *
tag(struct form *form, const char *at)
{
    bool closing = at[1] == '/';
    const char *name = at + 1 + closing;
    size_t len = strspn(name, "abcdefghijklmnopqrstuvwxyzDOCTYPEGPRT123456");
    const char *p = name + len;
    if (len == 0 || len >= sizeof form->open[0])
        return NULL;
    for (; *p != '\0' && *p != '>' && *p != '<'; p++)
        if (*p == '"') {
            p = strchr(p + 1, '"');
            if (p == NULL)
                return NULL;
        }
    if (*p != '>')
        return NULL;
    form->tags++;
    if (strncmp(at, "<!", 2) == 0 || p[-1] == '/')
        return p + 1;
    if (!closing) {
        if (form->depth == 64)
            return NULL;
        (void)snprintf(form->open[form->depth++], sizeof form->open[0], "%.*s", (int)len, name);
        return p + 1;
    }
    if (form->depth == 0 || strlen(form->open[form->depth - 1]) != len ||
        strncmp(form->open[form->depth - 1], name, len) != 0)
        return NULL;
    form->depth--;
    return p + 1;
}

/* How many tags; 0: not well-formed, said on stderr. */
static size_t
tags_of(const char *page)
{
    struct form form = {.depth = 0};
    const char *at = strchr(page, '\n'); /* after the doctype */
    while (at != NULL && (at = strchr(at, '<')) != NULL) {
        const char *next = tag(&form, at);
        if (next == NULL) {
            fprintf(stderr, "not well-formed: %.60s\n", at);
            return 0;
        }
        at = next;
    }
    return form.depth == 0 ? form.tags : 0;
}

static size_t
count(const char *page, const char *what)
{
    size_t n = 0;
    for (const char *at = page; (at = strstr(at, what)) != NULL; at++)
        n++;
    return n;
}

Test(html, the_page_of_every_month_is_well_formed_and_loads_nothing)
{
    static const char *const months[] = {"2026-01", "2026-02", "2026-03", "2026-04", "2027-12"};
    static const char *const never[] = {
        "<script", "javascript:", "http:", "https:", " src=", "@import", "<link", "<img", "onload"};
    struct play *play = example();
    for (size_t i = 0; i < 5; i++) {
        struct table_model *model = model_of(play, months[i]);
        char *page = page_of(model);
        cr_expect(ge(sz, tags_of(page), 50), "%s", months[i]);
        for (size_t j = 0; j < sizeof never / sizeof never[0]; j++)
            cr_expect(eq(ptr, strstr(page, never[j]), NULL), "%s: %s", months[i], never[j]);
        cr_expect(ne(ptr, strstr(page, "content=\"default-src 'none'; style-src 'unsafe-inline';"),
                     NULL));
        cr_expect(lt(sz, (size_t)(strstr(page, "Grounds captured") - page),
                     (size_t)(strstr(page, "<h2>") - page)));
        free(page);
        table_free(model);
    }
    play_free(play);
}

Test(html, every_picture_has_a_name_words_and_its_table_beneath)
{
    static const char *const pictures[] = {"p-destinations", "p-months", "p-stock", "p-cafes",
                                           "p-batches-0"};
    struct play *play = example();
    struct table_model *model = model_of(play, "2026-04");
    char *page = page_of(model);
    for (size_t i = 0; i < 5; i++) {
        char text[128];
        (void)snprintf(text, sizeof text, "<svg role=\"img\" aria-labelledby=\"%s-t %s-d\"",
                       pictures[i], pictures[i]);
        char *svg = strstr(page, text);
        cr_assert(ne(ptr, svg, NULL), "%s", pictures[i]);
        (void)snprintf(text, sizeof text, "<title id=\"%s-t\">", pictures[i]);
        cr_expect(ne(ptr, strstr(svg, text), NULL));
        (void)snprintf(text, sizeof text, "<desc id=\"%s-d\">", pictures[i]);
        cr_expect(ne(ptr, strstr(svg, text), NULL));
        char *table = strstr(svg, "<table>"), *next = strstr(svg, "<h2>");
        cr_expect(ne(ptr, table, NULL));
        cr_expect(lt(ptr, table, next), "%s", pictures[i]);
    }
    free(page);
    table_free(model);
    play_free(play);
}

Test(html, the_months_are_those_with_records_oldest_first_and_as_they_print)
{
    static const char *const want[] = {"2026-02", "2026-03", "2026-04"};
    struct play *play = example();
    struct table_model *model = model_of(play, "2026-04");
    const struct section *s = table_find(model, "months");
    cr_assert(ne(ptr, (void *)(uintptr_t)s, NULL));
    size_t first = s->n_rows - 3;
    cr_assert(le(sz, s->n_rows, 12));
    for (size_t i = 0; i < 3; i++) {
        struct table_model *of = model_of(play, want[i]);
        cr_expect(eq(int, strcmp(table_cell(s, first + i, 0)->text, want[i]), 0));
        cr_expect(eq(
            int, strcmp(table_cell(s, first + i, 2)->text, table_get(of, "grounds", "captured_kg")),
            0));
        cr_expect(eq(
            int, strcmp(table_cell(s, first + i, 3)->text, table_get(of, "waste", "diverted_kg")),
            0));
        table_free(of);
    }
    table_free(model);
    play_free(play);
}

Test(html, what_only_pictures_need_is_in_the_page_and_the_spreadsheet_only)
{
    size_t n = 0, pictured = 0;
    struct play *play = example();
    const struct report_form *forms = report_forms(&n);
    for (size_t i = 0; i < n; i++)
        pictured += forms[i].pictures;
    cr_expect(eq(sz, pictured, 2), "the page and the spreadsheet");
    cr_expect(report_form_find("html")->pictures);
    char *json = month_text(play, "2026-04", false);
    cr_expect(eq(ptr, strstr(json, "\"months\""), NULL));
    free(json);
    play_free(play);
}

/* ---- hostile text */

static const char *const hostile[] = {
    "<script>alert(1)</script>",
    "</td></tr></table><script src=x></script>",
    "\"><svg onload=alert(1)>",
    "' onmouseover='alert(1)",
    "</title></desc></style><!-- ",
    "]]>&lt;b&gt;&#60;script&#62;",
    "bell\x07 escape\x1b[2J nul-ish\x01 del\x7f",
    "c1 \xc2\x9b turned \xe2\x80\xae gnp \xe2\x81\xa6 mark",
    "no utf-8 \xff\xfe\xc0\xbc\xed\xa0\x80 \xf8\x88\x80\x80\x80 cut \xe2\x82",
    "%s%n {{7*7}} ${x} `x`",
};

/* The same tables with another text in every cell that is no number. */
static struct table_model *
with_text(const struct table_model *model, const char *text)
{
    struct table_model *out = NULL;
    cr_assert(eq(int, table_new(&out, NULL), ERR_OK));
    for (size_t i = 0; i < table_count(model); i++) {
        const struct section *s = table_at(model, i);
        table_section(out, s->path, s->title, s->shape, s->columns, s->n_columns);
        for (size_t row = 0; row < s->n_rows; row++) {
            if (s->shape != SHAPE_FIELDS)
                table_row(out);
            for (size_t j = 0; j < s->n_columns; j++) {
                const struct cell *cell = table_cell(s, row, j);
                if (cell->type == CELL_TEXT)
                    table_set(out, s->columns[j].key, s->columns[j].number ? cell->text : text);
            }
        }
    }
    cr_assert(eq(int, table_error(out, NULL), ERR_OK));
    return out;
}

Test(html, hostile_text_in_every_field_stays_text)
{
    struct play *play = example();
    struct table_model *model = model_of(play, "2026-04"), *tame = with_text(model, "word");
    char *plain = page_of(tame);
    size_t tags = tags_of(plain), scripts = count(plain, "<script");
    cr_assert(ge(sz, tags, 100));
    cr_assert(eq(sz, scripts, 0));
    for (size_t i = 0; i < sizeof hostile / sizeof hostile[0]; i++) {
        struct table_model *wild = with_text(model, hostile[i]);
        char *page = page_of(wild);
        size_t unfit = 0;
        cr_expect(eq(sz, tags_of(page), tags), "%s", hostile[i]);
        cr_expect(eq(sz, count(page, "<script"), 0));
        cr_expect(eq(sz, count(page, "<svg"), count(plain, "<svg")));
        for (const unsigned char *at = (const unsigned char *)page; *at != '\0'; at++)
            unfit += *at != '\n' && (*at < 0x20 || *at == 0x7F || *at >= 0xF8);
        cr_expect(eq(sz, unfit, 0), "%s", hostile[i]);
        free(page);
        table_free(wild);
    }
    free(plain);
    table_free(tame);
    table_free(model);
    play_free(play);
}

static void
escapes(void (*escape)(FILE *, const char *), const char *text, const char *want)
{
    char *got = NULL;
    size_t len = 0;
    FILE *out = open_memstream(&got, &len);
    escape(out, text);
    fclose(out);
    cr_expect(eq(str, got, (char *)(uintptr_t)want));
    free(got);
}

/* HTML standard 13.1.2.3 (ambiguous ampersands, attribute values), from memory. */
Test(html, each_place_has_its_escape)
{
    escapes(html_text, "a<b>&\"'\n", "a&#60;b&#62;&#38;\"'\n");
    escapes(html_attr, "a<b>&\"'`=\n", "a&#60;b&#62;&#38;&#34;&#39;&#96;&#61;&#10;");
    escapes(html_text, "caf\xc3\xa9 \xe2\x82\xac", "caf\xc3\xa9 \xe2\x82\xac");
    escapes(html_text, "\x1b\xe2\x80\xae\xff", "\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd");
    escapes(html_text, "\xe2\x82", "\xef\xbf\xbd\xef\xbf\xbd");
    escapes(html_text, "\xc0\xbc", "\xef\xbf\xbd\xef\xbf\xbd");
}

Test(html, the_same_month_is_the_same_bytes)
{
    struct play *play = example();
    struct table_model *a = model_of(play, "2026-03"), *b = model_of(play, "2026-03");
    char *x = page_of(a), *y = page_of(b);
    cr_expect(eq(str, x, y));
    free(x);
    free(y);
    table_free(a);
    table_free(b);
    play_free(play);
}
