/* fuzz_problem.c - a planning problem from outside, and a plan about it.
 *
 * Input: the problem's JSON, a zero byte, its tubs as CSV, and perhaps a zero byte and a plan. What
 * is taken prints as a problem that is taken and prints alike; a plan that can be read can be
 * printed.
 */
#include <stdlib.h>
#include <string.h>

#include "daemon/plan/plan_file.h"
#include "daemon/plan/problem_file.h"
#include "tests/fuzz/fuzz.h"

struct text {
    char *s;
    size_t len;
};

static void
print(const struct problem *p, struct text *json, struct text *csv)
{
    FILE *out = open_memstream(&json->s, &json->len);
    FILE *tubs = open_memstream(&csv->s, &csv->len);
    if (out == NULL || tubs == NULL)
        abort();
    problem_print(p, "x.tubs.csv", out);
    problem_print_tubs(p, tubs);
    (void)fclose(out);
    (void)fclose(tubs);
}

static void
expect_same_again(const struct problem *p)
{
    struct err_text why = {.s = ""};
    struct text json, csv, json_again, csv_again;
    struct problem *again = NULL;
    print(p, &json, &csv);
    if (problem_parse(json.s, json.len, csv.s, csv.len, &again, &why) != ERR_OK)
        abort();
    print(again, &json_again, &csv_again);
    if (strcmp(json.s, json_again.s) != 0 || strcmp(csv.s, csv_again.s) != 0)
        abort();
    free(json.s);
    free(csv.s);
    free(json_again.s);
    free(csv_again.s);
    problem_free(again);
}

static void
try_plan(const struct problem *p, const char *json, size_t len)
{
    struct err_text why = {.s = ""};
    struct plan *plan = NULL;
    char *text = NULL;
    size_t size = 0;
    if (plan_parse(json, len, p, &plan, &why) != ERR_OK)
        return;
    FILE *out = open_memstream(&text, &size);
    if (out == NULL)
        abort();
    plan_print(plan, p, out);
    (void)fclose(out);
    free(text);
    plan_free(plan);
}

/* The text up to the next zero byte. */
static struct text
part(const uint8_t **data, size_t *size)
{
    const uint8_t *end = memchr(*data, 0, *size);
    size_t len = end != NULL ? (size_t)(end - *data) : *size;
    struct text copy = {malloc(len + 1), len};
    if (copy.s == NULL)
        abort();
    memcpy(copy.s, *data, len);
    copy.s[len] = '\0';
    *data += len + (end != NULL);
    *size -= len + (end != NULL);
    return copy;
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct err_text why = {.s = ""};
    struct problem *p = NULL;
    struct text json = part(&data, &size), csv = part(&data, &size), plan = part(&data, &size);
    enum err e = problem_parse(json.s, json.len, csv.s, csv.len, &p, &why);
    if (e == ERR_OK) {
        expect_same_again(p);
        try_plan(p, plan.s, plan.len);
    } else if (why.s[0] == '\0') {
        abort();
    }
    problem_free(p);
    free(json.s);
    free(csv.s);
    free(plan.s);
    return 0;
}
