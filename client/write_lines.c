/* write_lines.c - a few lines to the daemon, in one transaction. */
#include "client/write_lines.h"

#include <stdio.h>
#include <string.h>
#include "client/ask.h"

struct lines {
    const char *const *lines;
    size_t n, next;
};

static bool
next_line(void *owner, const char **out_text, size_t *out_len)
{
    struct lines *lines = owner;
    if (lines->next == lines->n)
        return false;
    *out_text = lines->lines[lines->next++];
    *out_len = strlen(*out_text);
    return true;
}

static void
say_nothing_written(struct err_text *why)
{
    size_t len = strlen(why->s);
    (void)snprintf(why->s + len, sizeof why->s - len, "%s Nothing was written.",
                   len > 0 && strchr(".?!", why->s[len - 1]) != NULL ? "" : ".");
}

enum err
write_lines_on(struct wire *wire, const char *const *lines, size_t n, const char *mode,
               unsigned how, json_t **out_answer, struct err_text *why)
{
    struct lines source = {lines, n, 0};
    struct question question = {.word = "write"};
    question_arg(&question, "mode", mode);
    question_arg(&question, "loose", "1");
    question_arg(&question, "force", (how & WRITE_FORCE) != 0 ? "1" : NULL);
    question_arg(&question, "brief", (how & WRITE_BRIEF) != 0 ? "1" : NULL);
    enum err e = ask(wire, &question, next_line, &source, out_answer, why);
    if (e == ERR_INPUT || e == ERR_DENIED)
        say_nothing_written(why);
    return e;
}

enum err
write_lines(const struct given *given, const char *const *lines, size_t n, const char *mode,
            json_t **out_answer, struct err_text *why)
{
    struct wire *wire = NULL;
    enum err e = wire_open(given, &wire, why);
    if (e == ERR_OK)
        e = write_lines_on(wire, lines, n, mode, given_flag(given, "--force") ? WRITE_FORCE : 0,
                           out_answer, why);
    wire_close(wire);
    return e;
}
