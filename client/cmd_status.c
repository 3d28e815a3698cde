/* cmd_status.c - `knockbox status`: each site, how far its log goes, what is amiss. */
#include <stdio.h>
#include <string.h>
#include "client/ask.h"
#include "client/show.h"
#include "client/writer.h"

static const struct column columns[] = {
    {"site", "site", CELL_TEXT, 20},          {"line", "line", CELL_TEXT, 8},
    {"last_seen", "last seen", CELL_WHEN, 0}, {"seq_held", "records", CELL_COUNT, 0},
    {"behind", "behind", CELL_COUNT, 0},      {"missing_days", "not closed", CELL_COUNT, 0},
};

static const struct column csv_columns[] = {
    {"site", "", CELL_TEXT, 0},
    {"online", "", CELL_TEXT, 0},
    {"last_seen", "", CELL_TEXT, 0},
    {"epoch", "", CELL_TEXT, 0},
    {"seq_held", "", CELL_TEXT, 0},
    {"behind", "", CELL_TEXT, 0},
    {"clock_offset_ms", "", CELL_TEXT, 0},
    {"missing_days", "", CELL_TEXT, 0},
    {"alerts", "", CELL_LIST, 0},
};

static void
add_line_word(json_t *site)
{
    const char *word = "paper";
    if (json_is_true(json_object_get(site, "online")))
        word = "there";
    else if (json_is_true(json_object_get(site, "box")))
        word = "away";
    (void)json_object_set_new(site, "line", json_string(word));
}

static void
print_behind(struct writer *writer, long long behind)
{
    if (behind == 0)
        writer_line(writer, "The hub is there and has all records.");
    else
        writer_line(writer, "The hub is there; %lld %s on the way to it.", behind,
                    behind == 1 ? "record is" : "records are");
}

static void
print_link(struct writer *writer, const json_t *answer)
{
    const json_t *link = json_object_get(answer, "link");
    const char *seen = json_string_value(json_object_get(link, "last_seen"));
    char when[32];
    if (json_is_true(json_object_get(answer, "hub"))) {
        const char *made = json_string_value(json_object_get(answer, "backup"));
        if (made != NULL)
            writer_line(writer, "The last backup was made %s.", show_when(made, when));
        return;
    }
    if (json_is_true(json_object_get(link, "online")))
        print_behind(writer, json_integer_value(json_object_get(link, "behind")));
    else
        writer_line(writer,
                    "The hub is away (last seen %s). Go on writing: it gets the records when "
                    "the line is back.",
                    seen != NULL ? show_when(seen, when) : "never");
}

static void
print_alerts(struct writer *writer, const json_t *sites)
{
    for (size_t i = 0; i < json_array_size(sites); i++) {
        const json_t *site = json_array_get(sites, i), *alerts = json_object_get(site, "alerts");
        for (size_t k = 0; k < json_array_size(alerts); k++)
            writer_line(writer, "%s: %s", json_string_value(json_object_get(site, "site")),
                        json_string_value(json_array_get(alerts, k)));
    }
}

static void
print_text(struct writer *writer, json_t *answer)
{
    json_t *sites = json_object_get(answer, "sites");
    const char *now = json_string_value(json_object_get(answer, "now"));
    char title[128], when[32];
    for (size_t i = 0; i < json_array_size(sites); i++)
        add_line_word(json_array_get(sites, i));
    (void)snprintf(title, sizeof title, "%s, %.64s",
                   json_is_true(json_object_get(answer, "hub")) ? "Hub" : "Café",
                   json_string_value(json_object_get(answer, "site")));
    writer_title(writer, title, now != NULL ? show_when(now, when) : "");
    writer_table(writer, columns, sizeof columns / sizeof columns[0], sites);
    print_link(writer, answer);
    print_alerts(writer, sites);
}

static const struct list list = {"sites", csv_columns, sizeof csv_columns / sizeof csv_columns[0],
                                 print_text};

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "status"};
    json_t *answer = NULL;
    enum err e = ask_once(given, &question, &answer, why);
    if (e == ERR_OK)
        writer_list(given->output, answer, &list);
    json_decref(answer);
    return e;
}

const struct command command_status = {
    .word = "status",
    .words = "who is connected, who is behind, what is amiss",
    .usage = "",
    .more = "",
    .examples = {"knockbox status", "knockbox status --json --at /srv/knockbox"},
    .run = run,
};
