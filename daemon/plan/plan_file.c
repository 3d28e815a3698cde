/* plan_file.c - a plan as JSON, read strictly and written so that it reads well. */
#include "daemon/plan/plan_file.h"

#include <errno.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/plan/slurp.h"
#include "daemon/plan/try.h"

#define ML_MOST INT64_C(1000000000000)

/* One line being read. */
struct reading {
    const struct problem *p;
    struct plan *plan;
    const json_t *line;
    const char *part;
    size_t at;
};

static enum err
bad(const struct reading *r, const char *key, const char *want, struct err_text *why)
{
    return err_set(ERR_INPUT, why, "%s[%zu]: \"%s\": expected %s", r->part, r->at, key, want);
}

/* The place of a name in a list of the problem, or one that stands for the unknown name. */
static enum err
place_of(const struct reading *r, const json_t *v, const char *key, const void *list, int n,
         size_t size, int *out, struct err_text *why)
{
    const char *id = json_string_value(v);
    if (id == NULL)
        return bad(r, key, "a name in quotes", why);
    *out = problem_find(list, n, size, id);
    if (*out >= 0)
        return ERR_OK;
    return plan_add_unknown(r->plan, id, out, why);
}

static enum err
get_number(const struct reading *r, const char *key, int64_t *out, struct err_text *why)
{
    const json_t *v = json_object_get(r->line, key);
    if (!json_is_integer(v))
        return bad(r, key, "a whole number", why);
    *out = json_integer_value(v);
    if (*out > ML_MOST || *out < -ML_MOST)
        return bad(r, key, "a number up to 1000000000000", why);
    return ERR_OK;
}

static enum err
get_day(const struct reading *r, int *out, struct err_text *why)
{
    int64_t n = 0;
    TRY(get_number(r, "day", &n, why));
    *out = n < -1 ? -1 : n > 1000000 ? 1000000 : (int)n; /* far off is just as wrong */
    return ERR_OK;
}

static enum err
get_tubs(const struct reading *r, int **out, int *out_n, struct err_text *why)
{
    const json_t *array = json_object_get(r->line, "tubs");
    if (!json_is_array(array))
        return bad(r, "tubs", "a list of names", why);
    size_t n = json_array_size(array);
    if (n > 1000000)
        return bad(r, "tubs", "at most a million", why);
    TRY(problem_list((int)n, sizeof **out, out, why));
    *out_n = (int)n;
    for (size_t i = 0; i < n; i++)
        TRY(place_of(r, json_array_get(array, i), "tubs", r->p->tubs, r->p->tubs_n,
                     sizeof *r->p->tubs, &(*out)[i], why));
    return ERR_OK;
}

static enum err
get_collect(const struct reading *r, struct err_text *why)
{
    int run = 0;
    int *tubs = NULL;
    int n = 0;
    TRY(place_of(r, json_object_get(r->line, "run"), "run", r->p->runs, r->p->runs_n,
                 sizeof *r->p->runs, &run, why));
    enum err e = get_tubs(r, &tubs, &n, why);
    if (e == ERR_OK)
        e = plan_add_load(r->plan, run, tubs, n, why);
    free(tubs);
    return e;
}

static enum err
get_batch(const struct reading *r, struct err_text *why)
{
    int recipe = 0;
    int day = 0;
    int *tubs = NULL;
    int n = 0;
    TRY(place_of(r, json_object_get(r->line, "recipe"), "recipe", r->p->recipes, r->p->recipes_n,
                 sizeof *r->p->recipes, &recipe, why));
    TRY(get_day(r, &day, why));
    enum err e = get_tubs(r, &tubs, &n, why);
    if (e == ERR_OK)
        e = plan_add_batch(r->plan, recipe, day, tubs, n, why);
    free(tubs);
    return e;
}

static enum err
get_order(const struct reading *r, struct err_text *why)
{
    int order = 0;
    int64_t ml = 0;
    TRY(place_of(r, json_object_get(r->line, "order"), "order", r->p->orders, r->p->orders_n,
                 sizeof *r->p->orders, &order, why));
    TRY(get_number(r, "ml", &ml, why));
    return plan_add_order(r->plan, order, ml, why);
}

static enum err
get_out(const struct reading *r, struct plan_sale *out, struct err_text *why)
{
    TRY(place_of(r, json_object_get(r->line, "product"), "product", r->p->products,
                 r->p->products_n, sizeof *r->p->products, &out->product, why));
    TRY(get_day(r, &out->day, why));
    return get_number(r, "ml", &out->ml, why);
}

static enum err
get_sale(const struct reading *r, struct err_text *why)
{
    struct plan_sale s;
    TRY(get_out(r, &s, why));
    return plan_add_sale(r->plan, s.product, s.day, s.ml, why);
}

static enum err
get_discard(const struct reading *r, struct err_text *why)
{
    struct plan_sale s;
    TRY(get_out(r, &s, why));
    return plan_add_discard(r->plan, s.product, s.day, s.ml, why);
}

static const struct part {
    const char *key;
    size_t fields; /* a line has so many, no more */
    enum err (*get)(const struct reading *, struct err_text *);
} parts[] = {
    {"collect", 2, get_collect}, {"batches", 3, get_batch},   {"orders", 2, get_order},
    {"sales", 3, get_sale},      {"discard", 3, get_discard},
};
static const char *const free_keys[] = {"format", "instance", "note"};

static const struct part *
find_part(const char *key)
{
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
        if (strcmp(parts[i].key, key) == 0)
            return &parts[i];
    return NULL;
}

static enum err
check_keys(const json_t *root, struct err_text *why)
{
    const char *key;
    json_t *v;
    json_object_foreach((json_t *)root, key, v)
    {
        bool known = find_part(key) != NULL;
        for (size_t i = 0; i < sizeof free_keys / sizeof free_keys[0]; i++)
            known = known || strcmp(key, free_keys[i]) == 0;
        if (!known)
            return err_set(ERR_INPUT, why,
                           "\"%.60s\": expected collect, batches, orders, sales or discard", key);
    }
    return ERR_OK;
}

static enum err
get_part(struct reading *r, const json_t *array, const struct part *part, struct err_text *why)
{
    if (!json_is_array(array))
        return err_set(ERR_INPUT, why, "\"%s\": expected a list in brackets", part->key);
    r->part = part->key;
    for (r->at = 0; r->at < json_array_size(array); r->at++) {
        r->line = json_array_get(array, r->at);
        if (!json_is_object(r->line) || json_object_size(r->line) != part->fields)
            return err_set(ERR_INPUT, why, "%s[%zu]: expected an object of %zu fields", part->key,
                           r->at, part->fields);
        TRY(part->get(r, why));
    }
    return ERR_OK;
}

static enum err
get_plan(const json_t *root, const struct problem *p, struct plan *plan, struct err_text *why)
{
    struct reading r = {.p = p, .plan = plan};
    TRY(check_keys(root, why));
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        const json_t *array = json_object_get(root, parts[i].key);
        if (array != NULL)
            TRY(get_part(&r, array, &parts[i], why));
    }
    return ERR_OK;
}

enum err
plan_parse(const char *json, size_t len, const struct problem *p, struct plan **out_plan,
           struct err_text *why)
{
    json_error_t error;
    json_t *root = json_loadb(json, len, JSON_REJECT_DUPLICATES, &error);
    if (root == NULL)
        return err_set(ERR_INPUT, why, "line %d: %.120s: expected one JSON object", error.line,
                       error.text);
    struct plan *plan = plan_new();
    enum err e = plan == NULL ? err_set(ERR_MEM, why, "no memory for the plan") : ERR_OK;
    if (e == ERR_OK && !json_is_object(root))
        e = err_set(ERR_INPUT, why, "expected one JSON object in braces");
    if (e == ERR_OK)
        e = get_plan(root, p, plan, why);
    json_decref(root);
    if (e != ERR_OK) {
        plan_free(plan);
        return e;
    }
    *out_plan = plan;
    return ERR_OK;
}

enum err
plan_read(const char *path, const struct problem *p, struct plan **out_plan, struct err_text *why)
{
    char *json = NULL;
    size_t len = 0;
    TRY(slurp_file(path, &json, &len, why));
    enum err e = plan_parse(json, len, p, out_plan, why);
    free(json);
    if (e != ERR_OK)
        err_prefix(why, "%s: ", path);
    return e;
}

/* ---- written ---- */

static void
name(FILE *f, const char *s)
{
    (void)fputc('"', f);
    for (; *s != '\0'; s++) {
        if (*s == '"' || *s == '\\')
            (void)fputc('\\', f);
        if ((unsigned char)*s < 0x20)
            (void)fprintf(f, "\\u%04x", (unsigned)*s);
        else
            (void)fputc(*s, f);
    }
    (void)fputc('"', f);
}

#define NAME(list, place) name(f, plan_name(plan, p->list, sizeof *p->list, place))

static void
tubs(FILE *f, const struct plan *plan, const struct problem *p, const int *list, int n)
{
    (void)fputs(",\"tubs\":[", f);
    for (int i = 0; i < n; i++) {
        (void)fputs(i > 0 ? "," : "", f);
        NAME(tubs, list[i]);
    }
    (void)fputs("]}", f);
}

static void
print_loads(const struct plan *plan, const struct problem *p, FILE *f)
{
    (void)fputs("{\"collect\":[", f);
    for (int i = 0; i < plan->loads_n; i++) {
        (void)fputs(i > 0 ? ",\n {\"run\":" : "\n {\"run\":", f);
        NAME(runs, plan->loads[i].run);
        tubs(f, plan, p, plan->loads[i].tubs, plan->loads[i].tubs_n);
    }
}

static void
print_batches(const struct plan *plan, const struct problem *p, FILE *f)
{
    (void)fputs("],\n\"batches\":[", f);
    for (int i = 0; i < plan->batches_n; i++) {
        (void)fputs(i > 0 ? ",\n {\"recipe\":" : "\n {\"recipe\":", f);
        NAME(recipes, plan->batches[i].recipe);
        (void)fprintf(f, ",\"day\":%d", plan->batches[i].day);
        tubs(f, plan, p, plan->batches[i].tubs, plan->batches[i].tubs_n);
    }
}

static void
print_outs(const struct plan *plan, const struct problem *p, const struct plan_sale *list, int n,
           FILE *f)
{
    for (int i = 0; i < n; i++) {
        (void)fputs(i > 0 ? ",\n {\"product\":" : "\n {\"product\":", f);
        NAME(products, list[i].product);
        (void)fprintf(f, ",\"day\":%d,\"ml\":%lld}", list[i].day, (long long)list[i].ml);
    }
}

void
plan_print(const struct plan *plan, const struct problem *p, FILE *f)
{
    print_loads(plan, p, f);
    print_batches(plan, p, f);
    (void)fputs("],\n\"orders\":[", f);
    for (int i = 0; i < plan->orders_n; i++) {
        (void)fputs(i > 0 ? ",\n {\"order\":" : "\n {\"order\":", f);
        NAME(orders, plan->orders[i].order);
        (void)fprintf(f, ",\"ml\":%lld}", (long long)plan->orders[i].ml);
    }
    (void)fputs("],\n\"sales\":[", f);
    print_outs(plan, p, plan->sales, plan->sales_n, f);
    (void)fputs("],\n\"discard\":[", f);
    print_outs(plan, p, plan->discards, plan->discards_n, f);
    (void)fputs("]}\n", f);
}

enum err
plan_write(const struct plan *plan, const struct problem *p, const char *path, struct err_text *why)
{
    FILE *f = fopen(path, "we");
    if (f == NULL)
        return err_set(ERR_IO, why, "%s: %s", path, strerror(errno));
    plan_print(plan, p, f);
    bool failed = ferror(f) != 0;
    if (fclose(f) != 0 || failed)
        return err_set(ERR_IO, why, "%s: could not be written in full", path);
    return ERR_OK;
}
