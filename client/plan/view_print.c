/* view_print.c - which form, and where it goes. */
#include "client/plan/view_print.h"

#include <stdlib.h>
#include <string.h>
#include "client/plan/view_events.h"
#include "client/print_to.h"
#include "client/report_file.h"
#include "client/writer.h"

static enum err
put_text(const struct given *given, const json_t *view, FILE *f, struct err_text *why)
{
    (void)why;
    view_print_text(view, given_flag(given, "--assumed"), f);
    return ERR_OK;
}

static enum err
put_json(const struct given *given, const json_t *view, FILE *f, struct err_text *why)
{
    struct writer writer;
    (void)given;
    (void)why;
    writer_init(&writer, OUTPUT_JSON, f);
    writer_answer(&writer, view);
    return ERR_OK;
}

static enum err
put_csv(const struct given *given, const json_t *view, FILE *f, struct err_text *why)
{
    (void)given;
    (void)why;
    view_print_csv(view, f);
    return ERR_OK;
}

static enum err
put_page(const struct given *given, const json_t *view, FILE *f, struct err_text *why)
{
    (void)given;
    (void)why;
    view_print_page(view, f);
    return ERR_OK;
}

static enum err
put_calendar(const struct given *given, const json_t *view, FILE *f, struct err_text *why)
{
    (void)given;
    return view_print_calendar(view, f, why);
}

static const struct {
    const char *word;
    enum err (*put)(const struct given *given, const json_t *view, FILE *f, struct err_text *why);
} forms[] = {
    {"text", put_text}, {"json", put_json},    {"csv", put_csv},
    {"html", put_page}, {"ics", put_calendar},
};

enum err
view_print(const struct given *given, const json_t *view, struct err_text *why)
{
    const char *word = print_form(given);
    char *text = NULL;
    size_t len = 0, i = 0;
    while (i < sizeof forms / sizeof forms[0] && strcmp(forms[i].word, word) != 0)
        i++;
    if (i == sizeof forms / sizeof forms[0])
        return err_input(why, "format", word, "text, json, csv, html or ics");
    FILE *f = open_memstream(&text, &len);
    if (f == NULL)
        return err_set(ERR_MEM, why, "no memory for the plan");
    enum err e = forms[i].put(given, view, f, why);
    if (fclose(f) != 0 && e == ERR_OK)
        e = err_set(ERR_MEM, why, "no memory for the plan");
    if (e == ERR_OK)
        e = report_put(print_path(given), text, false, why);
    free(text);
    return e;
}

/* ---- CSV */

static const struct column csv_columns[] = {
    {"day", "", CELL_TEXT, 0},     {"what", "", CELL_TEXT, 0},      {"recipe", "", CELL_TEXT, 0},
    {"product", "", CELL_TEXT, 0}, {"alcoholic", "", CELL_TEXT, 0}, {"batch", "", CELL_TEXT, 0},
    {"station", "", CELL_TEXT, 0}, {"until", "", CELL_TEXT, 0},     {"run", "", CELL_TEXT, 0},
    {"departs", "", CELL_TEXT, 0}, {"site", "", CELL_TEXT, 0},      {"grounds_g", "", CELL_TEXT, 0},
    {"ml", "", CELL_TEXT, 0},      {"tubs", "", CELL_TEXT, 0},
};

/* The event with the café's site, tubs and grounds in the place of the ride's. */
static void
add_cafes(json_t *rows, const json_t *event)
{
    size_t i;
    json_t *cafe;
    json_array_foreach(json_object_get(event, "cafes"), i, cafe)
    {
        json_t *row = json_copy((json_t *)(uintptr_t)event);
        (void)json_object_update(row, cafe);
        (void)json_array_append_new(rows, row);
    }
}

void
view_print_csv(const json_t *view, FILE *f)
{
    struct writer writer;
    json_t *events = view_events(view), *rows = json_array(), *event;
    size_t i;
    json_array_foreach(events, i, event)
    {
        if (json_array_size(json_object_get(event, "cafes")) > 0)
            add_cafes(rows, event);
        else
            (void)json_array_append(rows, event);
    }
    writer_init(&writer, OUTPUT_CSV, f);
    writer_table(&writer, csv_columns, sizeof csv_columns / sizeof csv_columns[0], rows);
    json_decref(rows);
    json_decref(events);
}
