/* run.c - arguments, failures and the answer of one calculation. */
#include "client/calc/run.h"
#include "proto/text.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <utf8proc.h>

static size_t
index_of(const struct calc_run *run, const char *name)
{
    size_t i = 0;
    while (i < run->what->arg_count && strcmp(run->what->args[i].name, name) != 0)
        i++;
    assert(i < run->what->arg_count); /* our own code names only what its table has */
    return i;
}

bool
calc_given(const struct calc_run *run, const char *name)
{
    return run->text[index_of(run, name)] != NULL;
}

int
calc_count_given(const struct calc_run *run, const char *const *names)
{
    int n = 0;
    for (; *names != NULL; names++)
        n += calc_given(run, *names) ? 1 : 0;
    return n;
}

static void
assume(struct calc_run *run, const struct calc_arg *arg)
{
    json_t *value = arg->kind == CALC_ARG_NUMBER  ? json_real(strtod(arg->fallback, NULL))
                    : arg->kind == CALC_ARG_WHOLE ? json_integer(strtol(arg->fallback, NULL, 10))
                                                  : json_string(arg->fallback);
    run->full |= json_object_set_new(run->assumed, arg->name, value) != 0;
}

double
calc_number(struct calc_run *run, const char *name)
{
    size_t i = index_of(run, name);
    const struct calc_arg *arg = &run->what->args[i];
    if (run->text[i] != NULL)
        return run->number[i];
    if (arg->fallback == NULL)
        return NAN;
    assume(run, arg);
    return strtod(arg->fallback, NULL);
}

const char *
calc_text(struct calc_run *run, const char *name)
{
    size_t i = index_of(run, name);
    if (run->text[i] != NULL)
        return run->text[i];
    if (run->what->args[i].fallback != NULL)
        assume(run, &run->what->args[i]);
    return run->what->args[i].fallback;
}

bool
calc_exact(struct calc_run *run, const char *name, struct decimal *out)
{
    const char *text = calc_text(run, name);
    if (text == NULL || decimal_parse(text, out, NULL) != ERR_OK)
        return calc_refuse(run, name, "a number of at most 38 digits, as the product is exact");
    return true;
}

static bool
fill_failure(struct calc_run *run, const char *name, const char *got)
{
    struct calc_failure *f = &run->failure;
    f->code = ERR_INPUT;
    f->field = name;
    f->got = got;
    char shown[120];
    (void)snprintf(f->message, sizeof f->message, "%s%s%s: expected %s",
                   name != NULL ? name : "the values", name != NULL ? ": " : "",
                   got != NULL    ? text_shown(got, shown, sizeof shown)
                   : name != NULL ? "missing"
                                  : "",
                   f->want);
    return false;
}

bool
calc_refuse(struct calc_run *run, const char *name, const char *want, ...)
{
    va_list args;
    va_start(args, want);
    (void)vsnprintf(run->failure.want, sizeof run->failure.want, want, args);
    va_end(args);
    size_t i = index_of(run, name);
    return fill_failure(run, run->what->args[i].name, run->text[i]);
}

bool
calc_refuse_all(struct calc_run *run, const char *want)
{
    (void)snprintf(run->failure.want, sizeof run->failure.want, "%s", want);
    return fill_failure(run, NULL, NULL);
}

bool
calc_missing(struct calc_run *run, const char *name)
{
    const struct calc_arg *arg = &run->what->args[index_of(run, name)];
    return calc_refuse(run, name, "%s%s%s%s", arg->help, arg->unit[0] != '\0' ? " (" : "",
                       arg->unit, arg->unit[0] != '\0' ? ")" : "");
}

/* "a, b or c". */
static void
list_names(char *to, size_t size, const char *const *names)
{
    size_t used = 0;
    to[0] = '\0';
    for (size_t i = 0; names[i] != NULL && used < size; i++) {
        const char *before = i == 0 ? "" : names[i + 1] == NULL ? " or " : ", ";
        int n = snprintf(to + used, size - used, "%s%s", before, names[i]);
        used += n > 0 ? (size_t)n : 0;
    }
}

bool
calc_exactly_one(struct calc_run *run, const char *const *names)
{
    char list[160];
    int n = calc_count_given(run, names);
    list_names(list, sizeof list, names);
    if (n == 1)
        return true;
    if (n == 0)
        return calc_refuse(run, names[0], "one of %s", list);
    const char *last = names[0]; /* the last that was given is one too many */
    for (; *names != NULL; names++)
        last = calc_given(run, *names) ? *names : last;
    return calc_refuse(run, last, "only one of %s", list);
}

void
calc_answer_json(struct calc_run *run, const char *key, json_t *value)
{
    run->full |= json_object_set_new(run->answer, key, value) != 0;
}

json_t *
calc_json_number(struct calc_run *run, double value)
{
    if (!isfinite(value)) {
        run->endless = true;
        return json_null();
    }
    return json_real(value == 0 ? 0 : value); /* no -0 */
}

void
calc_answer_number(struct calc_run *run, const char *key, double value)
{
    calc_answer_json(run, key, calc_json_number(run, value));
}

void
calc_answer_null(struct calc_run *run, const char *key)
{
    calc_answer_json(run, key, json_null());
}

void
calc_answer_maybe(struct calc_run *run, const char *key, double value)
{
    if (isnan(value))
        calc_answer_null(run, key);
    else
        calc_answer_number(run, key, value);
}

json_t *
calc_json_text(const char *text)
{
    json_t *plain = json_string(text);
    if (plain != NULL)
        return plain;
    size_t len = strlen(text);
    char *fixed = malloc(3 * len + 1);
    size_t used = 0;
    for (size_t i = 0; fixed != NULL && i < len;) {
        int32_t unused = 0;
        ptrdiff_t n = utf8proc_iterate((const uint8_t *)text + i, (ptrdiff_t)(len - i), &unused);
        memcpy(fixed + used, n > 0 ? text + i : "\xEF\xBF\xBD", n > 0 ? (size_t)n : 3);
        used += n > 0 ? (size_t)n : 3;
        i += n > 0 ? (size_t)n : 1;
    }
    if (fixed != NULL)
        plain = json_stringn(fixed, used);
    free(fixed);
    return plain;
}

void
calc_answer_text(struct calc_run *run, const char *key, const char *text)
{
    calc_answer_json(run, key, text != NULL ? calc_json_text(text) : json_null());
}

static void
set_ends(struct calc_run *run, const char *key, json_t *low, json_t *high)
{
    calc_answer_no_range(run);
    run->full |= json_object_set_new(run->low, key, low) != 0;
    run->full |= json_object_set_new(run->high, key, high) != 0;
}

void
calc_answer_no_range(struct calc_run *run)
{
    if (run->low == NULL)
        run->low = json_object();
    if (run->high == NULL)
        run->high = json_object();
}

void
calc_answer_range(struct calc_run *run, const char *key, double low, double value, double high)
{
    calc_answer_number(run, key, value);
    set_ends(run, key, calc_json_number(run, low), calc_json_number(run, high));
}

void
calc_answer_range_text(struct calc_run *run, const char *key, const char *low, const char *value,
                       const char *high)
{
    calc_answer_text(run, key, value);
    set_ends(run, key, calc_json_text(low), calc_json_text(high));
}

void
calc_answer_valid(struct calc_run *run, const char *why)
{
    bool valid = why == NULL || why[0] == '\0';
    calc_answer_json(run, "valid", json_boolean(valid));
    if (!valid)
        calc_answer_text(run, "why", why);
}

void
calc_answer_source(struct calc_run *run, const char *source)
{
    calc_answer_text(run, "source", source);
}
