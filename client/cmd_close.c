/* cmd_close.c - `knockbox close`: step by step at a terminal, by options or a file in a script. */
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>
#include "client/ask.h"
#include "client/close_dialogue.h"
#include "client/draft.h"
#include "client/read_lines.h"
#include "client/show.h"
#include "client/write_lines.h"
#include "client/written.h"
#include "client/writer.h"
#include "proto/when.h"

enum {
    HUB_WAIT_MS = 600,
    HUB_STEP_MS = 30
};

static volatile sig_atomic_t interrupted;

static void
on_interrupt(int signal_number)
{
    (void)signal_number;
    interrupted = 1;
}

/* Ctrl-C waits, blocked, until a line is awaited: none falls between a prompt and its read. */
static void
catch_interrupt(void)
{
    struct sigaction action = {.sa_handler = on_interrupt};
    sigset_t held;
    (void)sigemptyset(&held);
    (void)sigaddset(&held, SIGINT);
    (void)sigprocmask(SIG_BLOCK, &held, NULL);
    (void)sigaction(SIGINT, &action, NULL);
}

static int64_t
now_ms(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_REALTIME, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static enum err
fetch_hints(struct wire *wire, const struct given *given, struct close_hints *hints,
            struct err_text *why)
{
    struct question question = {.word = "hints"};
    json_t *answer = NULL;
    question_arg(&question, "site", given_value(given, "--site"));
    enum err e = ask(wire, &question, NULL, NULL, &answer, why);
    if (e == ERR_OK)
        e = close_hints_read(answer, hints, why);
    json_decref(answer);
    const char *by = given_value(given, "--by");
    if (e == ERR_OK)
        hints->site_given = given_value(given, "--site") != NULL;
    if (e == ERR_OK && by != NULL) {
        (void)snprintf(hints->by, sizeof hints->by, "%s", by);
        hints->by_given = true;
    }
    return e;
}

static enum err
ask_label(void *owner, const char *label, struct err_text *why)
{
    struct question question = {.word = "label"};
    json_t *answer = NULL;
    question_arg(&question, "code", label);
    enum err e = ask(owner, &question, NULL, NULL, &answer, why);
    json_decref(answer);
    return e;
}

/* ---- writing */

/* What the hub has of it, in words; waits a moment for it. */
static void
say_hub(struct wire *wire, const json_t *written)
{
    char words[WRITTEN_TEXT], when[32];
    struct timespec step = {0, HUB_STEP_MS * 1000000L};
    bool online = false, has = false;
    json_t *answer = NULL;
    for (int waited = 0; waited < HUB_WAIT_MS && !has; waited += HUB_STEP_MS) {
        struct question question = {.word = "link"};
        struct err_text ignored; /* the records are safe whatever the link does */
        if (waited > 0)
            (void)nanosleep(&step, NULL);
        json_decref(answer);
        if (ask(wire, &question, NULL, NULL, &answer, &ignored) != ERR_OK)
            break;
        online = json_is_true(json_object_get(answer, "online"));
        has = online && json_integer_value(json_object_get(answer, "behind")) == 0;
        if (!online)
            break;
    }
    const char *seen = json_string_value(json_object_get(answer, "last_seen"));
    char text[300];
    if (has)
        (void)snprintf(text, sizeof text, "%s The hub has them.", written_words(written, words));
    else if (online)
        (void)snprintf(text, sizeof text, "%s They are on their way to the hub.",
                       written_words(written, words));
    else
        (void)snprintf(
            text, sizeof text, "%s The hub will get them when the line is back (last seen %s).",
            written_words(written, words), seen != NULL ? show_when(seen, when) : "never");
    show_wrapped(stdout, text, 0);
    json_decref(answer);
}

static enum err
dump_lines(const json_t *records, char ***out_lines, struct err_text *why)
{
    size_t n = json_array_size(records);
    char **lines = calloc(n + 1, sizeof *lines);
    bool whole = lines != NULL;
    for (size_t i = 0; i < n && whole; i++)
        whole = (lines[i] = json_dumps(json_array_get(records, i), JSON_COMPACT)) != NULL;
    if (whole) {
        *out_lines = lines;
        return ERR_OK;
    }
    lines_free(lines);
    return err_set(ERR_MEM, why, "no memory for the sheet");
}

static enum err
write_records(struct wire *wire, const json_t *records, unsigned how, json_t **out_answer,
              struct err_text *why)
{
    char **lines = NULL;
    enum err e = dump_lines(records, &lines, why);
    if (e == ERR_OK)
        e = write_lines_on(wire, (const char *const *)lines, json_array_size(records), "log", how,
                           out_answer, why);
    lines_free(lines);
    return e;
}

static enum err
write_sheet(struct wire *wire, const struct close_dialogue *dialogue,
            const struct close_hints *hints, struct err_text *why)
{
    json_t *answer = NULL, *records = close_sheet_records(close_sheet(dialogue), hints);
    if (records == NULL)
        return err_set(ERR_MEM, why, "no memory for the sheet");
    if (json_array_size(records) == 0) {
        (void)puts("\nNothing to write.");
        json_decref(records);
        return ERR_OK;
    }
    enum err e = write_records(wire, records, WRITE_BRIEF, &answer, why);
    if (e == ERR_OK) {
        (void)putchar('\n');
        say_hub(wire, answer);
    }
    json_decref(records);
    json_decref(answer);
    return e;
}

/* ---- at a terminal */

/* Until the terminal has a line (it gives one at a time); Ctrl-C ends the wait, before it too. */
static void
await_line(void)
{
    struct pollfd terminal = {.fd = STDIN_FILENO, .events = POLLIN};
    sigset_t open;
    (void)sigprocmask(SIG_BLOCK, NULL, &open);
    (void)sigdelset(&open, SIGINT);
    (void)ppoll(&terminal, 1, NULL, &open);
}

/* One line from the person; false: end of input or Ctrl-C. */
static bool
read_line(char **line, size_t *room)
{
    await_line();
    ssize_t len = interrupted ? -1 : getline(line, room, stdin);
    if (len < 0)
        return false;
    if (len > 0 && (*line)[len - 1] == '\n')
        (*line)[len - 1] = '\0';
    return true;
}

static enum close_state
converse(struct close_dialogue *dialogue)
{
    enum close_state state = CLOSE_ASKS;
    char *line = NULL;
    size_t room = 0;
    while (state == CLOSE_ASKS) {
        (void)fputs(close_screen(dialogue), stdout);
        (void)fflush(stdout);
        state = read_line(&line, &room) ? close_line(dialogue, line, now_ms()) : CLOSE_LEFT;
    }
    free(line);
    return state;
}

static void
offer_draft(const struct close_hints *hints, struct close_dialogue *dialogue)
{
    char **lines = draft_load(hints->site, hints->today);
    size_t n = 0;
    while (lines != NULL && lines[n] != NULL)
        n++;
    if (n > 0)
        close_offer(dialogue, (const char *const *)lines, n);
    lines_free(lines);
}

static void
keep_draft(const struct close_hints *hints, const struct close_dialogue *dialogue)
{
    const char *const *typed = NULL;
    size_t n = close_typed(dialogue, &typed);
    draft_save(hints->site, hints->today, typed, n);
}

static enum err
close_guided(struct wire *wire, const struct close_hints *hints, struct err_text *why)
{
    struct close_help help = {ask_label, wire};
    struct close_dialogue *dialogue = NULL;
    enum err e = close_new(hints, &help, &dialogue, why);
    if (e != ERR_OK)
        return e;
    offer_draft(hints, dialogue);
    catch_interrupt();
    if (converse(dialogue) == CLOSE_WRITES)
        e = write_sheet(wire, dialogue, hints, why);
    else
        e = err_set(ERR_INPUT, why, "left without writing. Nothing was written.");
    if (e == ERR_OK)
        draft_drop(hints->site);
    else
        keep_draft(hints, dialogue);
    if (interrupted)
        (void)putchar('\n');
    close_free(dialogue);
    return e;
}

/* ---- in a script */

static enum err
take_options(const struct given *given, struct close_sheet *sheet, const struct close_hints *hints,
             struct err_text *why)
{
    const char *day = given_value(given, "--day"), *bin = given_value(given, "--uncaptured"),
               *method = given_value(given, "--method"), *stream = given_value(given, "--stream");
    *sheet = (struct close_sheet){.day = hints->today, .has_bin = bin != NULL};
    if (day != NULL && strcmp(day, "yesterday") == 0)
        sheet->day--;
    else if (day != NULL && strcmp(day, "today") != 0 && !day_parse(day, &sheet->day))
        return err_input(why, "--day", day, "today, yesterday or a day such as 2026-03-03");
    enum err e = bin != NULL ? amount_mass("--uncaptured", bin, &sheet->bin_g, why) : ERR_OK;
    (void)snprintf(sheet->bin_method, sizeof sheet->bin_method, "%s",
                   method != NULL ? method : "estimated");
    (void)snprintf(sheet->bin_stream, sizeof sheet->bin_stream, "%s",
                   stream != NULL ? stream : hints->bin_stream);
    (void)snprintf(sheet->by, sizeof sheet->by, "%s", hints->by_given ? hints->by : "");
    return e;
}

static void
print_answer(const struct given *given, const json_t *answer)
{
    char words[WRITTEN_TEXT];
    struct writer writer;
    writer_init(&writer, given->output, stdout);
    if (given->output == OUTPUT_TEXT && given->quiet)
        return;
    writer_answer(&writer, answer);
    writer_line(&writer, "%s", written_words(answer, words));
}

static enum err
close_by_options(struct wire *wire, const struct given *given, const struct close_hints *hints,
                 struct err_text *why)
{
    struct close_sheet sheet;
    json_t *answer = NULL, *records = NULL;
    enum err e = take_options(given, &sheet, hints, why);
    if (e == ERR_OK && (records = close_sheet_records(&sheet, hints)) == NULL)
        e = err_set(ERR_MEM, why, "no memory for the sheet");
    json_t *close = json_array_get(records, 0);
    if (e == ERR_OK && given_flag(given, "--nothing-kept"))
        (void)json_object_set_new(close, "nothing_kept", json_true());
    else if (e == ERR_OK)
        (void)json_object_del(close, "nothing_kept");
    if (e == ERR_OK)
        e = write_records(wire, records, given_flag(given, "--force") ? WRITE_FORCE : 0, &answer,
                          why);
    if (e == ERR_OK)
        print_answer(given, answer);
    json_decref(records);
    json_decref(answer);
    return e;
}

static enum err
close_by_file(struct wire *wire, const struct given *given, struct err_text *why)
{
    char **lines = NULL;
    size_t n = 0;
    json_t *answer = NULL;
    enum err e = read_lines(given_value(given, "--file"), &lines, &n, why);
    if (e == ERR_OK)
        e = write_lines_on(wire, (const char *const *)lines, n, "log",
                           given_flag(given, "--force") ? WRITE_FORCE : 0, &answer, why);
    if (e == ERR_OK)
        print_answer(given, answer);
    lines_free(lines);
    json_decref(answer);
    return e;
}

static bool
has_options(const struct given *given)
{
    return given_value(given, "--day") != NULL || given_value(given, "--uncaptured") != NULL ||
           given_flag(given, "--nothing-kept");
}

static enum err
close_day(struct wire *wire, const struct given *given, struct err_text *why)
{
    struct close_hints hints;
    if (given_value(given, "--file") != NULL)
        return close_by_file(wire, given, why);
    bool guided = !has_options(given) && isatty(STDIN_FILENO);
    if (!guided && !has_options(given))
        return err_set(ERR_USAGE, why,
                       "no terminal to ask at: say --nothing-kept, --uncaptured WEIGHT or --day "
                       "DAY, or give the records with --file");
    enum err e = fetch_hints(wire, given, &hints, why);
    if (e != ERR_OK)
        return e;
    return guided ? close_guided(wire, &hints, why) : close_by_options(wire, given, &hints, why);
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct wire *wire = NULL;
    enum err e = wire_open(given, &wire, why);
    if (e == ERR_OK)
        e = close_day(wire, given, why);
    wire_close(wire);
    return e;
}

const struct command command_close = {
    .word = "close",
    .words = "the day's tubs and what was not kept, step by step",
    .usage = "",
    .more = "At a terminal it asks. Enter takes what stands in brackets, b goes back\n"
            "one question, Ctrl-C leaves without writing. In a script say it with\n"
            "options, or give the records of the day in a file of JSON lines.\n",
    .options = {{"--by", "INITIALS", "who signs"},
                {"--day", "DAY", "today, yesterday or 2026-03-03"},
                {"--site", "SITE", "at the hub: a site kept on paper"},
                {"--nothing-kept", NULL, "no tub was filled that day"},
                {"--uncaptured", "WEIGHT", "grounds that went straight to a bin"},
                {"--method", "METHOD", "weighed, counted or estimated"},
                {"--stream", "STREAM", "the bin they went to"},
                {"--file", "FILE", "the day's records, all in one transaction"},
                {"--force", NULL, "write it although a check says no"}},
    .examples = {"knockbox close", "knockbox close --nothing-kept --uncaptured '1.9 kg' --by RK",
                 "knockbox close --file today.jsonl"},
    .run = run,
};
