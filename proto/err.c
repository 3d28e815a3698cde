/* err.c - error codes, their words, and the text beside them. */
#include "proto/err.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#undef err_set /* err.h: what analyzers are told */
#undef err_input

static const struct {
    const char *word;
    int exit_status;
} codes[] = {
    [ERR_OK] = {"ok", 0},           [ERR_INPUT] = {"input", 3},
    [ERR_USAGE] = {"usage", 2},     [ERR_NOT_FOUND] = {"not-found", 1},
    [ERR_DENIED] = {"denied", 5},   [ERR_PEER] = {"no-answer", 4},
    [ERR_FULL] = {"full", 1},       [ERR_IO] = {"io", 1},
    [ERR_MEM] = {"memory", 1},      [ERR_FORMAT] = {"format", 1},
    [ERR_DAMAGED] = {"damaged", 1}, [ERR_BUSY] = {"busy", 1},
};

const char *
err_word(enum err e)
{
    return (unsigned)e < sizeof codes / sizeof codes[0] ? codes[e].word : "unknown";
}

int
err_exit_status(enum err e)
{
    return (unsigned)e < sizeof codes / sizeof codes[0] ? codes[e].exit_status : 1;
}

/* Ends `text` (of `size` bytes) before a UTF-8 character that was cut in two. */
static void
trim_cut_character(char *text, size_t size)
{
    size_t len = strlen(text);
    if (len + 1 < size)
        return;
    size_t start = len;
    while (start > 0 && ((unsigned char)text[start - 1] & 0xC0) == 0x80)
        start--;
    if (start > 0 && ((unsigned char)text[start - 1] & 0xC0) == 0xC0)
        text[start - 1] = '\0';
}

static void
copy_text(char *to, size_t size, const char *from)
{
    (void)snprintf(to, size, "%s", from != NULL ? from : "");
    trim_cut_character(to, size);
}

enum err
err_set(enum err e, struct err_text *why, const char *format, ...)
{
    if (why == NULL)
        return e;
    memset(why, 0, sizeof *why);
    va_list args;
    va_start(args, format);
    (void)vsnprintf(why->s, sizeof why->s, format, args);
    va_end(args);
    trim_cut_character(why->s, sizeof why->s);
    return e;
}

/* A sentence is one line, whatever somebody wrote: control characters come out as `?`. */
static void
one_line(char *text)
{
    for (; *text != '\0'; text++)
        if ((unsigned char)*text < 0x20 || *text == 0x7F)
            *text = '?';
}

enum err
err_input(struct err_text *why, const char *field, const char *got, const char *want)
{
    if (why == NULL)
        return ERR_INPUT;
    if (got != NULL)
        (void)err_set(ERR_INPUT, why, "%s: %.90s: expected %s", field, got, want);
    else
        (void)err_set(ERR_INPUT, why, "%s: missing: expected %s", field, want);
    one_line(why->s);
    copy_text(why->field, sizeof why->field, field);
    copy_text(why->got, sizeof why->got, got);
    copy_text(why->want, sizeof why->want, want);
    return ERR_INPUT;
}

void
err_prefix(struct err_text *why, const char *format, ...)
{
    if (why == NULL)
        return;
    char old[sizeof why->s];
    memcpy(old, why->s, sizeof old);
    va_list args;
    va_start(args, format);
    int n = vsnprintf(why->s, sizeof why->s, format, args);
    va_end(args);
    if (n >= 0 && (size_t)n < sizeof why->s)
        copy_text(why->s + n, sizeof why->s - (size_t)n, old);
}
