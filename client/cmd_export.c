/* cmd_export.c - `knockbox export`: records as JSON lines on standard output, page by page. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include "client/ask.h"
#include "client/progress.h"

enum {
    NEXT_TEXT = 256
};

/* Cuts the trailer {"next": ...} off a page; *out_next is "" when there is none. */
static enum err
cut_trailer(char *page, char out_next[NEXT_TEXT], struct err_text *why)
{
    size_t len = strlen(page);
    char *last = len > 0 ? memrchr(page, '\n', len) : NULL;
    last = last != NULL ? last + 1 : page;
    out_next[0] = '\0';
    if (strncmp(last, "{\"next\":", 8) != 0)
        return ERR_OK;
    json_t *trailer = json_loads(last, 0, NULL);
    const char *next = json_string_value(json_object_get(trailer, "next"));
    if (next != NULL)
        (void)snprintf(out_next, NEXT_TEXT, "%s", next);
    json_decref(trailer);
    *last = '\0';
    return next != NULL ? ERR_OK : err_set(ERR_PEER, why, "the daemon's page has no end");
}

static enum err
export_page(struct wire *wire, const struct given *given, char next[NEXT_TEXT],
            struct err_text *why)
{
    static const char *const filters[] = {"from", "to", "site", "kind"};
    struct question question = {.word = "export"};
    char option[16], *page = NULL;
    for (size_t i = 0; i < 4; i++) {
        (void)snprintf(option, sizeof option, "--%s", filters[i]);
        question_arg(&question, filters[i], given_value(given, option));
    }
    question_arg(&question, "after", next[0] != '\0' ? next : NULL);
    enum err e = ask_text(wire, &question, NULL, NULL, &page, why);
    if (e == ERR_OK && page != NULL)
        e = cut_trailer(page, next, why);
    if (e == ERR_OK && page != NULL && fputs(page, stdout) == EOF)
        e = err_set(ERR_IO, why, "the output cannot be written");
    free(page);
    return e;
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct wire *wire = NULL;
    char next[NEXT_TEXT] = "";
    if (given->output == OUTPUT_CSV)
        return err_set(ERR_USAGE, why, "export writes JSON lines, not CSV");
    struct progress progress;
    size_t pages = 0;
    progress_begin(&progress, given->quiet || isatty(STDOUT_FILENO) == 1);
    enum err e = wire_open(given, &wire, why);
    if (e == ERR_OK)
        wire_beside(wire, &progress);
    do {
        if (e == ERR_OK)
            e = export_page(wire, given, next, why);
        progress_tell(&progress, ++pages, "MiB or so written");
    } while (e == ERR_OK && next[0] != '\0');
    progress_end(&progress);
    wire_close(wire);
    return e;
}

const struct command command_export = {
    .word = "export",
    .words = "records as JSON lines",
    .usage = "",
    .more = "Whole lines with their envelope, by site, epoch and number; knockbox\n"
            "import takes them back.\n",
    .options = {{"--from", "DATE", "first business day, such as 2026-03-01"},
                {"--to", "DATE", "last business day"},
                {"--site", "SITE", "only the log of this site"},
                {"--kind", "KIND", "only this kind of record, such as tub"}},
    .examples = {"knockbox export --from 2026-03-01 --to 2026-03-31 > march.jsonl",
                 "knockbox export --kind tub --site quayside"},
    .run = run,
};
