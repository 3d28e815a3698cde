/* calc.c - the bench calculator's way through: words, calculation, answer. */
#include "client/calc/calc.h"

#include <jansson.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>

#include "client/calc/args.h"
#include "client/calc/card.h"
#include "client/calc/run.h"
#include "proto/text.h"

/* 17 digits: a double read back is the same double. */
enum {
    FLAGS = JSON_COMPACT | JSON_REAL_PRECISION(17)
};

struct request {
    bool json;
    bool help;
    int words; /* argv[0 .. words) after the options were taken out */
};

/* Takes --json and --help out of argv. */
static struct request
take_options(int argc, char **argv, bool json)
{
    struct request c = {.json = json};
    for (int i = 0; i < argc; i++) {
        if (strcmp(argv[i], "--json") == 0)
            c.json = true;
        else if (strcmp(argv[i], "--help") == 0 || strcmp(argv[i], "-h") == 0)
            c.help = true;
        else
            argv[c.words++] = argv[i];
    }
    return c;
}

static bool
no_such_what(struct calc_run *run, const char *word)
{
    struct calc_failure *f = &run->failure;
    size_t used = (size_t)snprintf(f->want, sizeof f->want, "one of");
    for (size_t i = 0; calc_what_at(i) != NULL; i++)
        used +=
            (size_t)snprintf(f->want + used, sizeof f->want - used, " %s", calc_what_at(i)->name);
    f->code = ERR_USAGE;
    f->field = "what";
    f->got = word;
    char shown[100];
    (void)snprintf(f->message, sizeof f->message, "%s: expected %s",
                   word != NULL ? text_shown(word, shown, sizeof shown) : "WHAT is missing",
                   f->want);
    return false;
}

static bool
begin(struct calc_run *run)
{
    run->answer = json_object();
    run->assumed = json_object();
    if (run->answer == NULL || run->assumed == NULL)
        return false;
    calc_answer_text(run, "what", run->what->name);
    return true;
}

/* `low`, `high` and `assumed` close the answer. */
static void
end(struct calc_run *run)
{
    if (run->low != NULL)
        calc_answer_json(run, "low", json_incref(run->low));
    if (run->high != NULL)
        calc_answer_json(run, "high", json_incref(run->high));
    calc_answer_json(run, "assumed", json_incref(run->assumed));
}

static bool
calculate(struct calc_run *run, int argc, char **argv, char spare[128])
{
    if (argc < 1 || (run->what = calc_what_find(argv[0])) == NULL)
        return no_such_what(run, argc < 1 ? NULL : argv[0]);
    if (!calc_read_args(run, argc - 1, argv + 1, spare))
        return false;
    run->full |= !begin(run);
    if (run->full)
        return true;
    if (!run->what->run(run))
        return false;
    end(run);
    if (run->endless)
        return calc_refuse_all(run, "values whose answer is a finite number");
    return true;
}

static json_t *
text_or_null(const char *text)
{
    return text != NULL && text[0] != '\0' ? calc_json_text(text) : json_null();
}

/* `got` may be the empty text that was typed. */
static void
print_failure_json(const struct calc_failure *f, FILE *err)
{
    json_t *got = f->got != NULL ? calc_json_text(f->got) : json_null();
    json_t *error = json_pack("{s:{s:s, s:o, s:o, s:o, s:o}}", "error", "code", err_word(f->code),
                              "field", text_or_null(f->field), "got", got, "want",
                              text_or_null(f->want), "message", calc_json_text(f->message));
    char *text = error != NULL ? json_dumps(error, FLAGS) : NULL;
    if (text != NULL)
        (void)fprintf(err, "%s\n", text); /* nowhere else to tell */
    free(text);
    json_decref(error);
}

static int
tell_failure(const struct calc_run *run, bool json, FILE *err)
{
    if (json)
        print_failure_json(&run->failure, err);
    else
        calc_card_failure(run, err);
    return err_exit_status(run->failure.code);
}

static int
tell_answer(struct calc_run *run, bool json, FILE *out)
{
    char *text = json ? json_dumps(run->answer, FLAGS) : NULL;
    if (json && text == NULL)
        run->full = true;
    else if (json)
        (void)fprintf(out, "%s\n", text);
    else
        calc_card_print(run->what, run->answer, out);
    free(text);
    return fflush(out) == 0 && !ferror(out) && !run->full ? 0 : 1;
}

static int
help(int words, char **argv, FILE *out)
{
    const struct calc_what *what = words > 0 ? calc_what_find(argv[0]) : NULL;
    if (what != NULL)
        calc_card_help_what(what, out);
    else
        calc_card_help(out);
    return fflush(out) == 0 ? 0 : 1;
}

static int
answer_or_fail(const struct request *c, char **argv, FILE *out, FILE *err)
{
    struct calc_run run = {0};
    char spare[128] = "";
    bool done = calculate(&run, c->words, argv, spare);
    if (run.full) {
        run.failure = (struct calc_failure){.code = ERR_MEM};
        (void)snprintf(run.failure.message, sizeof run.failure.message, "out of memory");
        done = false;
    }
    int status = done ? tell_answer(&run, c->json, out) : tell_failure(&run, c->json, err);
    json_decref(run.answer);
    json_decref(run.low);
    json_decref(run.high);
    json_decref(run.assumed);
    return status;
}

int
calc_command(int argc, char **argv, bool json, FILE *out, FILE *err)
{
    struct request c = take_options(argc, argv, json);
    if (c.help)
        return help(c.words, argv, out);
    /* numbers are read and printed with a point, whatever the person's locale */
    locale_t plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    locale_t before = plain != (locale_t)0 ? uselocale(plain) : (locale_t)0;
    int status = answer_or_fail(&c, argv, out, err);
    if (plain != (locale_t)0) {
        (void)uselocale(before);
        freelocale(plain);
    }
    return status;
}
