/* cmd_import.c - `knockbox import`: a file of JSON lines into the log.
 *
 * All or nothing: the whole file is one question. --keep-good: groups of lines, a transaction each,
 * after one with the file's `site` lines, so that a later line may stand on them (report rule F3).
 */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/ask.h"
#include "client/fail.h"
#include "client/progress.h"
#include "client/show.h"
#include "client/written.h"
#include "client/writer.h"

enum {
    GROUP_LINES = 1000,
    SHOWN_MOST = 20
};

/* Which lines a group takes. */
enum pick {
    PICK_ALL,
    PICK_SITES,
    PICK_OTHERS
};

struct file {
    FILE *f;
    const char *name;
    enum pick pick;
    char *line;                     /* getline's */
    size_t room, number, most;      /* `most` lines a group, 0: all */
    size_t n, numbers[GROUP_LINES]; /* of the lines in this group */
    bool end;
    struct progress progress;
};

/* What came of all groups. */
struct total {
    json_int_t written, already;
    json_t *numbers, *refused;
};

static bool
is_site_line(const char *text, size_t len)
{
    return memmem(text, len, "\"role\"", 6) != NULL;
}

static bool
is_picked(const struct file *file, size_t len)
{
    return file->pick == PICK_ALL || (file->pick == PICK_SITES) == is_site_line(file->line, len);
}

static bool
next_line(void *owner, const char **out_text, size_t *out_len)
{
    struct file *file = owner;
    while (file->most == 0 || file->n < file->most) {
        ssize_t len = getline(&file->line, &file->room, file->f);
        if (len < 0) {
            file->end = true;
            return false;
        }
        file->number++;
        while (len > 0 && (file->line[len - 1] == '\n' || file->line[len - 1] == '\r'))
            len--;
        if (!is_picked(file, (size_t)len))
            continue;
        if (file->most > 0)
            file->numbers[file->n] = file->number;
        file->n++;
        if (file->number % 500 == 0)
            progress_tell(&file->progress, file->number, "lines sent");
        *out_text = file->line;
        *out_len = (size_t)len;
        return true;
    }
    return false;
}

/* Numbers of the file in place of numbers in the group. */
static void
renumber(const struct file *file, json_t *refused)
{
    for (size_t i = 0; i < json_array_size(refused) && file->most > 0; i++) {
        json_t *number = json_object_get(json_array_get(refused, i), "line");
        json_int_t line = json_integer_value(number);
        if (line >= 1 && (size_t)line <= file->n)
            (void)json_integer_set(number, (json_int_t)file->numbers[line - 1]);
    }
}

static void
add_ranges(json_t *to, const json_t *from)
{
    for (size_t i = 0; i < json_array_size(from); i++) {
        json_t *range = json_array_get(from, i), *same = NULL;
        for (size_t k = 0; k < json_array_size(to) && same == NULL; k++) {
            json_t *old = json_array_get(to, k);
            if (json_equal(json_object_get(old, "site"), json_object_get(range, "site")) &&
                json_equal(json_object_get(old, "epoch"), json_object_get(range, "epoch")))
                same = old;
        }
        if (same != NULL)
            (void)json_object_set(same, "last", json_object_get(range, "last"));
        else
            (void)json_array_append(to, range);
    }
}

static void
add_answer(struct total *total, const struct file *file, json_t *answer)
{
    json_t *refused = json_object_get(answer, "refused");
    total->written += json_integer_value(json_object_get(answer, "written"));
    total->already += json_integer_value(json_object_get(answer, "already"));
    renumber(file, refused);
    (void)json_array_extend(total->refused, refused);
    add_ranges(total->numbers, json_object_get(answer, "numbers"));
}

static enum err
ask_group(struct wire *wire, struct file *file, bool keep_good, struct total *total,
          struct err_text *why)
{
    struct question question = {.word = "write"};
    json_t *answer = NULL;
    question_arg(&question, "mode", "import");
    question_arg(&question, "keep_good", keep_good ? "1" : NULL);
    file->n = 0;
    enum err e = ask(wire, &question, next_line, file, &answer, why);
    if (file->n == 0 && e == ERR_INPUT && keep_good)
        e = ERR_OK; /* an empty group is refused and means nothing */
    if (answer != NULL)
        add_answer(total, file, answer);
    json_decref(answer);
    return e;
}

static enum err
import_groups(struct wire *wire, struct file *file, struct total *total, struct err_text *why)
{
    static const enum pick passes[] = {PICK_SITES, PICK_OTHERS};
    enum err e = ERR_OK;
    file->most = GROUP_LINES;
    for (size_t pass = 0; pass < 2 && e == ERR_OK; pass++) {
        file->pick = passes[pass];
        file->end = false;
        file->number = 0;
        rewind(file->f);
        while (e == ERR_OK && !file->end)
            e = ask_group(wire, file, true, total, why);
    }
    return e;
}

/* Standard input can be read once: it goes into a nameless file first. */
static enum err
spool(struct file *file, struct err_text *why)
{
    char block[65536];
    size_t n;
    FILE *copy = tmpfile();
    if (copy == NULL)
        return err_set(ERR_IO, why, "no room to keep standard input: %s", strerror(errno));
    while ((n = fread(block, 1, sizeof block, file->f)) > 0)
        if (fwrite(block, 1, n, copy) != n)
            break;
    bool failed = ferror(file->f) || ferror(copy) || fflush(copy) != 0;
    file->f = copy;
    return failed ? err_set(ERR_IO, why, "standard input cannot be kept") : ERR_OK;
}

static enum err
file_open(struct file *file, const char *name, bool twice, struct err_text *why)
{
    *file = (struct file){.f = stdin, .name = "standard input"};
    if (strcmp(name, "-") == 0)
        return twice ? spool(file, why) : ERR_OK;
    file->name = name;
    file->f = fopen(name, "re");
    return file->f != NULL ? ERR_OK : err_set(ERR_USAGE, why, "%s: %s", name, strerror(errno));
}

static void
file_close(struct file *file)
{
    if (file->f != NULL && file->f != stdin)
        (void)fclose(file->f);
    free(file->line);
}

/* Each bad line with its number, on stderr. */
static void
tell_refused(const struct given *given, const struct file *file, const json_t *refused)
{
    char text[800], safe[800];
    size_t n = json_array_size(refused);
    if (given->output == OUTPUT_JSON)
        return;
    for (size_t i = 0; i < n && i < SHOWN_MOST; i++) {
        const json_t *bad = json_array_get(refused, i);
        (void)snprintf(text, sizeof text, "%s line %lld: %s", file->name,
                       (long long)json_integer_value(json_object_get(bad, "line")),
                       json_string_value(json_object_get(bad, "message")));
        show_wrapped(stderr, show_safe(text, safe, sizeof safe), 2);
    }
    if (n > SHOWN_MOST)
        (void)fprintf(stderr, "and %zu more\n", n - SHOWN_MOST);
}

static void
print_total(const struct given *given, const struct total *total)
{
    struct writer writer;
    writer_init(&writer, given->output, stdout);
    json_t *answer =
        json_pack("{s:I, s:I, s:O, s:O}", "written", total->written, "already", total->already,
                  "numbers", total->numbers, "refused", total->refused);
    static const struct column columns[] = {{"site", "site", CELL_TEXT, 0},
                                            {"epoch", "epoch", CELL_COUNT, 0},
                                            {"first", "first", CELL_COUNT, 0},
                                            {"last", "last", CELL_COUNT, 0}};
    if (given->output == OUTPUT_JSON || !given->quiet) {
        writer_answer(&writer, answer);
        writer_line(&writer, "%lld written, %lld there already, %zu refused.",
                    (long long)total->written, (long long)total->already,
                    json_array_size(total->refused));
        writer_table(&writer, columns, 4, total->numbers);
    }
    json_decref(answer);
}

/* The first bad line becomes the error of the run; all of them go into the error object. */
static enum err
say_refused(const struct given *given, const struct file *file, const struct total *total,
            enum err e, struct err_text *why)
{
    size_t n = json_array_size(total->refused);
    if (n == 0)
        return e;
    tell_refused(given, file, total->refused);
    const json_t *first = json_array_get(total->refused, 0);
    fail_add("line", json_incref(json_object_get(first, "line")));
    fail_add("lines", json_incref(total->refused));
    if (e == ERR_OK) { /* --keep-good: the rest was written */
        (void)snprintf(why->field, sizeof why->field, "%s",
                       json_string_value(json_object_get(first, "field")));
        return err_set(ERR_INPUT, why, "%zu %s refused, %lld written", n,
                       n == 1 ? "line was" : "lines were", (long long)total->written);
    }
    struct err_text told = *why;
    (void)err_set(e, why, "%zu bad %s in %s. Nothing was written.", n, n == 1 ? "line" : "lines",
                  file->name);
    if (given->output == OUTPUT_JSON)
        *why = told;
    return e;
}

static enum err
import_file(const struct given *given, struct file *file, struct total *total, struct err_text *why)
{
    struct wire *wire = NULL;
    enum err e = wire_open(given, &wire, why);
    if (e == ERR_OK)
        wire_beside(wire, &file->progress);
    if (e == ERR_OK && given_flag(given, "--keep-good"))
        e = import_groups(wire, file, total, why);
    else if (e == ERR_OK)
        e = ask_group(wire, file, false, total, why);
    wire_close(wire);
    return e;
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct total total = {0, 0, json_array(), json_array()};
    struct file file = {.f = NULL};
    bool keep_good = given_flag(given, "--keep-good");
    enum err e = file_open(&file, given->args[0], keep_good, why);
    progress_begin(&file.progress, given->quiet);
    if (e == ERR_OK)
        e = import_file(given, &file, &total, why);
    progress_end(&file.progress);
    if (e == ERR_OK)
        print_total(given, &total);
    e = say_refused(given, &file, &total, e, why);
    file_close(&file);
    json_decref(total.numbers);
    json_decref(total.refused);
    return e;
}

const struct command command_import = {
    .word = "import",
    .words = "records from a file of JSON lines",
    .usage = "FILE.jsonl",
    .more = "One record a line, - for standard input. All or nothing; a line with an\n"
            "id that is there already is counted and left alone.\n",
    .options = {{"--keep-good", NULL, "write the good lines, report the bad ones"}},
    .examples = {"knockbox import march.jsonl",
                 "knockbox export --at old | knockbox import - --at new"},
    .least_args = 1,
    .most_args = 1,
    .run = run,
};
