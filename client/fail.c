/* fail.c - an error told once. */
#include "client/fail.h"

#include <stdio.h>
#include <string.h>
#include "client/show.h"

static json_t *extra;   /* of the one error that a run can end with */
static int told_status; /* 0: it was not told */

enum err
fail_told(int status)
{
    told_status = status;
    return ERR_USAGE;
}

void
fail_add(const char *name, json_t *taken)
{
    if (extra == NULL)
        extra = json_object();
    (void)json_object_set_new(extra, name, taken);
}

/* All five keys are always there: null where one does not apply. */
static void
put_text(json_t *error, const char *name, const char *text)
{
    char safe[700];
    json_t *value = text[0] == '\0' ? json_null() : json_string(text);
    if (value == NULL) /* not UTF-8 */
        value = json_string(show_safe(text, safe, sizeof safe));
    (void)json_object_set_new(error, name, value);
}

static void
tell_json(enum err e, const struct err_text *why)
{
    json_t *error = json_object();
    put_text(error, "code", err_word(e));
    put_text(error, "field", why->field);
    put_text(error, "got", why->got);
    put_text(error, "want", why->want);
    put_text(error, "message", why->s);
    if (extra != NULL)
        (void)json_object_update(error, extra);
    json_t *whole = json_pack("{s:o}", "error", error);
    (void)json_dumpf(whole, stderr, JSON_COMPACT);
    (void)fputc('\n', stderr);
    json_decref(whole);
}

static void
tell_words(enum err e, const struct err_text *why)
{
    char text[700], safe[700];
    (void)snprintf(text, sizeof text, "knockbox: %s", why->s[0] != '\0' ? why->s : err_word(e));
    show_wrapped(stderr, show_safe(text, safe, sizeof safe), 2);
}

int
fail_tell(const struct given *given, enum err e, const struct err_text *why)
{
    if (told_status != 0)
        return told_status;
    if (given->output == OUTPUT_JSON)
        tell_json(e, why);
    else
        tell_words(e, why);
    json_decref(extra);
    extra = NULL;
    return err_exit_status(e);
}
