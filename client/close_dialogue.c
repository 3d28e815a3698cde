/* close_dialogue.c - the guided close as a pure machine. */
#include "client/close_dialogue.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/close_question.h"
#include "client/command.h"
#include "client/show.h"

enum {
    ANSWERS_MOST = 400,
    SCREEN_TEXT = 8192,
    LABEL_WIDTH = 15
};

struct answer {
    char *text; /* as typed, enter resolved */
    int64_t now_ms;
};

/* answers[0..n) lead from close_first() to `question`; the sheet is what they filled. */
struct close_dialogue {
    const struct close_hints *hints;
    const struct close_help *help;
    struct close_sheet sheet;
    struct filling filling;
    enum question_name question;
    struct answer answers[ANSWERS_MOST];
    size_t n;
    char *offers[ANSWERS_MOST]; /* typed another time at this place, or before going back */
    const char *typed[ANSWERS_MOST];
    char screen[SCREEN_TEXT];
    size_t used;
};

static void __attribute__((format(printf, 2, 3)))
say(struct close_dialogue *d, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    int n = vsnprintf(d->screen + d->used, sizeof d->screen - d->used, format, args);
    va_end(args);
    if (n > 0)
        d->used +=
            (size_t)n < sizeof d->screen - d->used ? (size_t)n : sizeof d->screen - d->used - 1;
}

/* Words on lines of their own, broken at 72 columns, two blanks in front. */
static void
say_wrapped(struct close_dialogue *d, const char *words)
{
    char text[SHOW_TEXT * 2], *out = NULL;
    size_t size = 0;
    FILE *f = open_memstream(&out, &size);
    if (f == NULL)
        return;
    (void)snprintf(text, sizeof text, "%s", words);
    show_wrapped(f, text, 0);
    (void)fclose(f);
    say(d, "%s", out);
    free(out);
}

static void
say_before(struct close_dialogue *d, const struct close_question *question)
{
    char words[REMARK_TEXT] = "";
    if (question->before == NULL)
        return;
    question->before(&d->filling, words);
    if (strchr(words, '\n') != NULL)
        say(d, "%s", words);
    else if (words[0] != '\0')
        say_wrapped(d, words);
}

/* What enter takes here: what was typed another time, else what the question offers. */
static void
offer_of(const struct close_dialogue *d, char out[ANSWER_TEXT])
{
    const struct close_question *question = close_question(d->question);
    out[0] = '\0';
    if (d->offers[d->n] != NULL && d->question != ASK_WRITE)
        (void)snprintf(out, ANSWER_TEXT, "%s", d->offers[d->n]);
    else if (question->offer != NULL)
        question->offer(&d->filling, out);
}

static void
ask(struct close_dialogue *d)
{
    char offer[ANSWER_TEXT], safe[ANSWER_TEXT];
    const struct close_question *question = close_question(d->question);
    offer_of(d, offer);
    say_before(d, question);
    say(d, "%-*s ", LABEL_WIDTH, question->label);
    if (offer[0] != '\0')
        say(d, "[%s] ", show_safe(offer, safe, sizeof safe));
    say(d, "› ");
}

static void
greet(struct close_dialogue *d)
{
    static const char keys[] = "enter = take it, b = back";
    char day[48], name[SHOW_TEXT], title[SHOW_TEXT], cut[SHOW_TEXT];
    (void)snprintf(title, sizeof title, "%.200s · close of %s",
                   show_safe(d->hints->name, name, sizeof name), show_long_date(d->sheet.day, day));
    (void)show_cut(title, TEXT_WIDTH - sizeof keys, cut, sizeof cut);
    int gap = (int)(TEXT_WIDTH + 1 - sizeof keys - show_width(cut));
    say(d, "%s%*s%s\n\n", cut, gap, "", keys);
    if (d->hints->closed_today)
        say_wrapped(d, "Today is closed already: tubs are added to it.");
}

static void
start(struct close_dialogue *d)
{
    d->sheet = (struct close_sheet){.day = d->hints->today, .skip_close = d->hints->closed_today};
    if (d->hints->by_given)
        memcpy(d->sheet.by, d->hints->by, sizeof d->sheet.by);
    d->filling = (struct filling){
        .hints = d->hints, .help = d->help, .sheet = &d->sheet, .now_ms = d->hints->now_ms};
    d->question = close_first(d->hints);
}

enum err
close_new(const struct close_hints *hints, const struct close_help *help,
          struct close_dialogue **out_dialogue, struct err_text *why)
{
    struct close_dialogue *d = calloc(1, sizeof *d);
    if (d == NULL)
        return err_set(ERR_MEM, why, "no memory for the sheet");
    d->hints = hints;
    d->help = help;
    start(d);
    greet(d);
    ask(d);
    *out_dialogue = d;
    return ERR_OK;
}

void
close_free(struct close_dialogue *d)
{
    for (size_t i = 0; d != NULL && i < ANSWERS_MOST; i++) {
        free(d->answers[i].text);
        free(d->offers[i]);
    }
    free(d);
}

const char *
close_screen(struct close_dialogue *d)
{
    d->screen[d->used] = '\0';
    return d->screen;
}

/* Blanks at both ends mean nothing; what cannot be seen does not get in. */
static void
trim(const char *line, char out[ANSWER_TEXT])
{
    line += strspn(line, " \t");
    (void)snprintf(out, ANSWER_TEXT, "%s", line);
    size_t len = strlen(out);
    while (len > 0 && strchr(" \t\r", out[len - 1]) != NULL)
        out[--len] = '\0';
}

static enum err
take(struct close_dialogue *d, const char *text, int64_t now_ms, struct err_text *why)
{
    struct filling kept = d->filling;
    struct close_sheet sheet = d->sheet;
    d->filling.now_ms = now_ms;
    d->filling.remark[0] = '\0';
    enum err e = close_question(d->question)->take(&d->filling, text, why);
    if (e == ERR_OK) {
        d->question = close_question(d->question)->next(&d->filling);
        return e;
    }
    d->filling = kept; /* a bad answer changes nothing */
    d->sheet = sheet;
    return e;
}

static void
remember(struct close_dialogue *d, const char *text, int64_t now_ms)
{
    char *copy = strdup(text);
    if (copy == NULL || d->n == ANSWERS_MOST - 1) {
        free(copy);
        return;
    }
    free(d->answers[d->n].text);
    free(d->offers[d->n]);
    d->offers[d->n] = NULL;
    d->answers[d->n++] = (struct answer){copy, now_ms};
}

/* All answers but the last, played again; the last is offered where it was given. */
static void
go_back(struct close_dialogue *d)
{
    struct err_text ignored; /* each was good when it was typed */
    if (d->n == 0) {
        say(d, "This is the first question.\n");
        return;
    }
    d->n--;
    free(d->offers[d->n]);
    d->offers[d->n] = d->answers[d->n].text;
    d->answers[d->n].text = NULL;
    start(d);
    d->filling.again = true;
    for (size_t i = 0; i < d->n; i++)
        (void)take(d, d->answers[i].text, d->answers[i].now_ms, &ignored);
    d->filling.again = false;
}

static void
say_wrong(struct close_dialogue *d, const struct err_text *why)
{
    char safe[SHOW_TEXT];
    say_wrapped(d, show_safe(why->s, safe, sizeof safe));
}

static void
answer(struct close_dialogue *d, const char *text, int64_t now_ms)
{
    struct err_text why = {.s = ""};
    if (take(d, text, now_ms, &why) != ERR_OK) {
        say_wrong(d, &why);
        return;
    }
    remember(d, text, now_ms);
    if (d->filling.remark[0] != '\0') {
        char safe[REMARK_TEXT];
        say(d, "%*s%s\n", LABEL_WIDTH + 1, "", show_safe(d->filling.remark, safe, sizeof safe));
    }
}

enum close_state
close_line(struct close_dialogue *d, const char *line, int64_t now_ms)
{
    char text[ANSWER_TEXT];
    d->used = 0;
    trim(line, text);
    if (d->n >= ANSWERS_MOST - 1)
        return CLOSE_LEFT; /* nobody types this much */
    if (strcmp(text, "b") == 0 || strcmp(text, "back") == 0) {
        go_back(d);
    } else {
        if (text[0] == '\0')
            offer_of(d, text);
        answer(d, text, now_ms);
    }
    if (d->question == ASK_NOTHING)
        return CLOSE_WRITES;
    ask(d);
    return CLOSE_ASKS;
}

const struct close_sheet *
close_sheet(const struct close_dialogue *d)
{
    return &d->sheet;
}

size_t
close_typed(const struct close_dialogue *d, const char *const **out_lines)
{
    struct close_dialogue *mine = (struct close_dialogue *)(uintptr_t)d;
    for (size_t i = 0; i < d->n; i++)
        mine->typed[i] = d->answers[i].text;
    *out_lines = d->typed;
    return d->n;
}

void
close_offer(struct close_dialogue *d, const char *const *lines, size_t n)
{
    for (size_t i = 0; i < n && i < ANSWERS_MOST; i++) {
        free(d->offers[i]);
        d->offers[i] = strdup(lines[i]);
    }
    d->used = 0;
    greet(d);
    ask(d);
}
