/* problem_file.c - the two files of a planning problem, read and written. */
#include "daemon/plan/problem_file.h"

#include <errno.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/plan/slurp.h"
#include "daemon/plan/try.h"

#define FORMAT "tub-planner-instance/1"

/* ---- one field of one JSON object, by table ---- */

enum field_kind {
    TEXT,         /* an id of PROBLEM_ID_SIZE bytes */
    NUMBER,       /* an int64_t */
    SMALL,        /* an int: days, counts */
    MAYBE_DAY,    /* an int, null is PROBLEM_NEVER */
    MAYBE_NUMBER, /* an int64_t, null is 0 */
    TRUTH,        /* a bool */
    PROFILE,      /* a name, kept as its place in the list: */
    ROUTE,
    SITE,
    RECIPE,
    PRODUCT,
};

struct field {
    const char *key;
    enum field_kind kind;
    size_t at;
};

static enum err
bad(const char *where, const char *key, const char *want, struct err_text *why)
{
    return err_set(ERR_INPUT, why, "%s: \"%s\": expected %s", where, key, want);
}

static enum err
get_text(const json_t *v, const char *where, const char *key, char *out, struct err_text *why)
{
    const char *s = json_string_value(v);
    if (s == NULL || s[0] == '\0' || json_string_length(v) != strlen(s))
        return bad(where, key, "a name in quotes", why);
    if (strlen(s) >= PROBLEM_ID_SIZE)
        return bad(where, key, "a name of at most 63 bytes", why);
    for (const char *c = s; *c != '\0'; c++)
        if ((unsigned char)*c < 0x20 || *c == 0x7f)
            return bad(where, key, "a name without control characters", why);
    (void)snprintf(out, PROBLEM_ID_SIZE, "%s", s);
    return ERR_OK;
}

static enum err
get_number(const json_t *v, const char *where, const char *key, int64_t *out, struct err_text *why)
{
    if (!json_is_integer(v))
        return bad(where, key, "a whole number", why);
    int64_t n = json_integer_value(v);
    if (n > PROBLEM_MOST || n < -PROBLEM_MOST)
        return bad(where, key, "a number up to 1000000000", why);
    *out = n;
    return ERR_OK;
}

struct name_list {
    const char *what;
    const void *list;
    int n;
    size_t size;
};

static struct name_list
names(const struct problem *p, enum field_kind kind)
{
    switch (kind) {
    case PROFILE:
        return (struct name_list){"profile", p->profiles, p->profiles_n, sizeof *p->profiles};
    case ROUTE:
        return (struct name_list){"route", p->routes, p->routes_n, sizeof *p->routes};
    case SITE:
        return (struct name_list){"site", p->sites, p->sites_n, sizeof *p->sites};
    case RECIPE:
        return (struct name_list){"recipe", p->recipes, p->recipes_n, sizeof *p->recipes};
    default:
        return (struct name_list){"product", p->products, p->products_n, sizeof *p->products};
    }
}

static enum err
find_name(const struct problem *p, enum field_kind kind, const char *id, const char *where,
          int *out, struct err_text *why)
{
    struct name_list l = names(p, kind);
    *out = problem_find(l.list, l.n, l.size, id);
    if (*out >= 0)
        return ERR_OK;
    return err_set(ERR_INPUT, why, "%s: there is no %s \"%s\" in the problem", where, l.what, id);
}

static enum err
get_field(const struct problem *p, const json_t *v, const struct field *f, const char *where,
          void *out, struct err_text *why)
{
    int64_t n = 0;
    char id[PROBLEM_ID_SIZE];
    int place = 0;
    bool none = json_is_null(v) && (f->kind == MAYBE_DAY || f->kind == MAYBE_NUMBER);
    switch (f->kind) {
    case TEXT:
        return get_text(v, where, f->key, out, why);
    case TRUTH:
        if (!json_is_boolean(v))
            return bad(where, f->key, "true or false", why);
        *(bool *)out = json_is_true(v);
        return ERR_OK;
    case NUMBER:
    case MAYBE_NUMBER:
        if (!none)
            TRY(get_number(v, where, f->key, &n, why));
        *(int64_t *)out = n;
        return ERR_OK;
    case SMALL:
    case MAYBE_DAY:
        n = PROBLEM_NEVER;
        if (!none)
            TRY(get_number(v, where, f->key, &n, why));
        *(int *)out = (int)n;
        return ERR_OK;
    default:
        TRY(get_text(v, where, f->key, id, why));
        TRY(find_name(p, f->kind, id, where, &place, why));
        *(int *)out = place;
        return ERR_OK;
    }
}

static enum err
get_fields(const struct problem *p, const json_t *object, const struct field *fields, size_t n,
           const char *where, void *out, struct err_text *why)
{
    if (!json_is_object(object))
        return err_set(ERR_INPUT, why, "%s: expected an object in braces", where);
    for (size_t i = 0; i < n; i++) {
        const json_t *v = json_object_get(object, fields[i].key);
        if (v == NULL)
            return err_set(ERR_INPUT, why, "%s: \"%s\" is missing", where, fields[i].key);
        TRY(get_field(p, v, &fields[i], where, (char *)out + fields[i].at, why));
    }
    return ERR_OK;
}

/* ---- lists of such objects ---- */

struct list_form {
    const char *key;
    const struct field *fields;
    size_t fields_n;
    size_t size;
};

static enum err
get_array(const json_t *root, const char *key, size_t *out_n, const json_t **out,
          struct err_text *why)
{
    *out = json_object_get(root, key);
    if (*out == NULL)
        return err_set(ERR_INPUT, why, "\"%s\" is missing", key);
    if (!json_is_array(*out))
        return err_set(ERR_INPUT, why, "\"%s\": expected a list in brackets", key);
    *out_n = json_array_size(*out);
    return ERR_OK;
}

static enum err
get_list(const struct problem *p, const json_t *root, const struct list_form *form, void *out_list,
         int *out_n, struct err_text *why)
{
    const json_t *array = NULL;
    size_t n = 0;
    void *list = NULL;
    TRY(get_array(root, form->key, &n, &array, why));
    if (n > 200000)
        return err_set(ERR_INPUT, why, "\"%s\": %zu members: expected 200000 at most", form->key,
                       n);
    TRY(problem_list((int)n, form->size, &list, why));
    memcpy(out_list, &list, sizeof list); /* the problem owns it from here on */
    *out_n = (int)n;
    for (size_t i = 0; i < n; i++) {
        char where[PROBLEM_ID_SIZE];
        (void)snprintf(where, sizeof where, "%s[%zu]", form->key, i);
        TRY(get_fields(p, json_array_get(array, i), form->fields, form->fields_n, where,
                       (char *)list + i * form->size, why));
    }
    return ERR_OK;
}

#define FORM(name, key, type)                     \
    static const struct list_form name##_form = { \
        key, name##_fields, sizeof name##_fields / sizeof name##_fields[0], sizeof(type)}
#define AT(type, member) offsetof(struct problem_##type, member)

static const struct field product_fields[] = {
    {"id", TEXT, AT(product, id)},
    {"shelf_days", SMALL, AT(product, shelf_days)},
    {"end_demand_ml", NUMBER, AT(product, end_demand_ml)},
    {"end_cents_per_l", NUMBER, AT(product, end_cents_per_l)},
};
FORM(product, "products", struct problem_product);

static const struct field ingredient_fields[] = {
    {"id", TEXT, AT(ingredient, id)},
    {"stock_g", NUMBER, AT(ingredient, stock_g)},
    {"cents_per_kg", NUMBER, AT(ingredient, cents_per_kg)},
};
FORM(ingredient, "ingredients", struct problem_ingredient);

static const struct field delivery_fields[] = {
    {"day", SMALL, AT(delivery, day)},
    {"g", NUMBER, AT(delivery, g)},
};
FORM(delivery, "deliveries", struct problem_delivery);

static const struct field recipe_fields[] = {
    {"id", TEXT, AT(recipe, id)},
    {"product", PRODUCT, AT(recipe, product)},
    {"puck_min_g", NUMBER, AT(recipe, puck_min_g)},
    {"puck_max_g", NUMBER, AT(recipe, puck_max_g)},
    {"yield_ml_per_kg", NUMBER, AT(recipe, yield_ml_per_kg)},
    {"strain_days", SMALL, AT(recipe, strain_days)},
    {"mix_s_per_batch", NUMBER, AT(recipe, mix_s_per_batch)},
    {"mix_s_per_kg", NUMBER, AT(recipe, mix_s_per_kg)},
    {"bottle_s_per_batch", NUMBER, AT(recipe, bottle_s_per_batch)},
    {"bottle_s_per_kg", NUMBER, AT(recipe, bottle_s_per_kg)},
};
FORM(recipe, "recipes", struct problem_recipe);

static const struct field stock_fields[] = {
    {"product", PRODUCT, AT(stock, product)},
    {"ml", NUMBER, AT(stock, ml)},
    {"best_before_day", SMALL, AT(stock, best_before_day)},
};
FORM(stock, "stock", struct problem_stock);

static const struct field straining_fields[] = {
    {"recipe", RECIPE, AT(straining, recipe)},
    {"ready_day", SMALL, AT(straining, ready_day)},
    {"puck_g", NUMBER, AT(straining, puck_g)},
};
FORM(straining, "in_progress", struct problem_straining);

static const struct field order_fields[] = {
    {"id", TEXT, AT(order, id)},
    {"product", PRODUCT, AT(order, product)},
    {"site", SITE, AT(order, site)},
    {"due_day", SMALL, AT(order, due_day)},
    {"ml", NUMBER, AT(order, ml)},
    {"cents_per_l", NUMBER, AT(order, cents_per_l)},
    {"penalty_cents_per_l", NUMBER, AT(order, penalty_cents_per_l)},
};
FORM(order, "orders", struct problem_order);

static const struct field sale_fields[] = {
    {"product", PRODUCT, AT(sale, product)},
    {"day", SMALL, AT(sale, day)},
    {"ml", NUMBER, AT(sale, ml)},
    {"cents_per_l", NUMBER, AT(sale, cents_per_l)},
};
FORM(sale, "sales", struct problem_sale);

static const struct field run_fields[] = {
    {"id", TEXT, AT(run, id)},
    {"route", ROUTE, AT(run, route)},
    {"day", SMALL, AT(run, day)},
    {"van_g", NUMBER, AT(run, van_g)},
    {"fixed_cents", NUMBER, AT(run, fixed_cents)},
    {"cents_per_kg", NUMBER, AT(run, cents_per_kg)},
};
FORM(run, "runs", struct problem_run);

static const struct field previous_fields[] = {
    {"recipe", RECIPE, AT(previous, recipe)},
    {"day", SMALL, AT(previous, day)},
    {"batches", SMALL, AT(previous, batches)},
};
FORM(previous, "previous", struct problem_previous);

static const struct field site_fields[] = {
    {"id", TEXT, AT(site, id)},
    {"route", ROUTE, AT(site, route)},
};
FORM(site, "sites", struct problem_site);

static const struct field top_fields[] = {
    {"days", SMALL, offsetof(struct problem, days)},
    {"tail_days", SMALL, offsetof(struct problem, tail_days)},
    {"stations", SMALL, offsetof(struct problem, stations)},
    {"fridge_ml", NUMBER, offsetof(struct problem, fridge_ml)},
    {"labour_cents_per_hour", NUMBER, offsetof(struct problem, labour_cents_per_hour)},
    {"previous_until_day", SMALL, offsetof(struct problem, previous_until_day)},
};

static const struct field unused_fields[] = {
    {"lost_cents_per_kg", NUMBER, offsetof(struct problem, lost_cents_per_kg)},
};

/* A calendar line carries its own day; it lands at that place. */
struct calendar_line {
    int day;
    struct problem_day it;
};

static const struct field calendar_fields[] = {
    {"day", SMALL, offsetof(struct calendar_line, day)},
    {"working", TRUTH, offsetof(struct calendar_line, it.working)},
    {"thaw_day", MAYBE_DAY, offsetof(struct calendar_line, it.thaw_day)},
    {"labour_s", MAYBE_NUMBER, offsetof(struct calendar_line, it.labour_s)},
};
FORM(calendar, "calendar", struct calendar_line);

static int
name_order(const void *a, const void *b)
{
    return strcmp(a, b);
}

/* The list sorted by id, so that what is read later finds its members. */
static enum err
sort_names(const char *what, void *list, int n, size_t size, struct err_text *why)
{
    qsort(list, (size_t)n, size, name_order);
    for (int i = 1; i < n; i++) {
        const char *id = (const char *)list + (size_t)i * size;
        if (strcmp(id - size, id) == 0)
            return err_set(ERR_INPUT, why, "%s: there are two of the id \"%s\"", what, id);
    }
    return ERR_OK;
}

static enum err
get_profiles(struct problem *p, const json_t *root, struct err_text *why)
{
    const json_t *array = NULL;
    size_t n = 0;
    TRY(get_array(root, "profiles", &n, &array, why));
    if (n > PROBLEM_PROFILES_MAX)
        return err_set(ERR_INPUT, why, "\"profiles\": %zu: expected %d at most", n,
                       PROBLEM_PROFILES_MAX);
    TRY(problem_list((int)n, sizeof *p->profiles, &p->profiles, why));
    p->profiles_n = (int)n;
    for (size_t i = 0; i < n; i++)
        TRY(get_text(json_array_get(array, i), "profiles", "name", p->profiles[i].id, why));
    return sort_names("profiles", p->profiles, p->profiles_n, sizeof *p->profiles, why);
}

/* Routes have no list of their own: they are what sites and runs name. */
static enum err
get_routes(struct problem *p, const json_t *root, struct err_text *why)
{
    static const char *const keys[] = {"sites", "runs"};
    const json_t *arrays[2];
    size_t sizes[2];
    for (int k = 0; k < 2; k++)
        TRY(get_array(root, keys[k], &sizes[k], &arrays[k], why));
    if (sizes[0] + sizes[1] > 400000)
        return err_set(ERR_INPUT, why, "\"sites\" and \"runs\": expected 200000 at most");
    TRY(problem_list((int)(sizes[0] + sizes[1]), sizeof *p->routes, &p->routes, why));
    int n = 0;
    for (int k = 0; k < 2; k++)
        for (size_t i = 0; i < sizes[k]; i++)
            TRY(get_text(json_object_get(json_array_get(arrays[k], i), "route"), keys[k], "route",
                         p->routes[n++].id, why));
    qsort(p->routes, (size_t)n, sizeof *p->routes, name_order);
    for (int i = 0; i < n; i++)
        if (i == 0 || strcmp(p->routes[i].id, p->routes[p->routes_n - 1].id) != 0)
            p->routes[p->routes_n++] = p->routes[i];
    return ERR_OK;
}

static enum err
get_calendar(struct problem *p, const json_t *root, struct err_text *why)
{
    struct calendar_line *lines = NULL;
    int n = 0;
    bool *seen = NULL;
    enum err e = get_list(p, root, &calendar_form, &lines, &n, why);
    if (e == ERR_OK)
        e = problem_list(n, sizeof *p->calendar, &p->calendar, why);
    if (e == ERR_OK)
        e = problem_list(n, sizeof *seen, &seen, why);
    for (int i = 0; e == ERR_OK && i < n; i++) {
        if (lines[i].day < 0 || lines[i].day >= n || seen[lines[i].day]) {
            e = err_set(ERR_INPUT, why, "calendar: day %d: expected each day from 0 to %d once",
                        lines[i].day, n - 1);
            break;
        }
        seen[lines[i].day] = true;
        p->calendar[lines[i].day] = lines[i].it;
    }
    p->calendar_n = n;
    free(seen);
    free(lines);
    return e;
}

static enum err
get_deliveries(struct problem *p, const json_t *root, struct err_text *why)
{
    const json_t *array = json_object_get(root, "ingredients");
    for (int i = 0; i < p->ingredients_n; i++) {
        struct problem_ingredient *g = &p->ingredients[i];
        enum err e = get_list(p, json_array_get(array, (size_t)i), &delivery_form, &g->deliveries,
                              &g->deliveries_n, why);
        if (e != ERR_OK) {
            err_prefix(why, "ingredients[%d]: ", i);
            return e;
        }
    }
    return ERR_OK;
}

static enum err
get_recipe_profiles(struct problem *p, struct problem_recipe *r, const json_t *o,
                    struct err_text *why)
{
    const json_t *array = NULL;
    size_t n = 0;
    TRY(get_array(o, "profiles", &n, &array, why));
    for (size_t i = 0; i < n; i++) {
        char id[PROBLEM_ID_SIZE];
        int place = 0;
        TRY(get_text(json_array_get(array, i), r->id, "profiles", id, why));
        TRY(find_name(p, PROFILE, id, r->id, &place, why));
        problem_take(r, place);
    }
    return ERR_OK;
}

static enum err
get_recipe_needs(struct problem *p, struct problem_recipe *r, const json_t *o, struct err_text *why)
{
    json_t *needs = json_object_get(o, "ingredients_g_per_kg");
    if (!json_is_object(needs))
        return bad(r->id, "ingredients_g_per_kg", "an object in braces", why);
    const char *key;
    json_t *v;
    json_object_foreach(needs, key, v)
    {
        int part = problem_find(p->ingredients, p->ingredients_n, sizeof *p->ingredients, key);
        int64_t g = 0;
        if (part < 0)
            return err_set(ERR_INPUT, why, "recipe %s: there is no ingredient \"%.60s\"", r->id,
                           key);
        TRY(get_number(v, r->id, key, &g, why));
        r->need_g_per_kg[part] = g;
    }
    return ERR_OK;
}

static enum err
get_recipes(struct problem *p, const json_t *root, struct err_text *why)
{
    TRY(get_list(p, root, &recipe_form, &p->recipes, &p->recipes_n, why));
    const json_t *array = json_object_get(root, "recipes");
    for (int i = 0; i < p->recipes_n; i++) {
        const json_t *o = json_array_get(array, (size_t)i);
        TRY(get_recipe_profiles(p, &p->recipes[i], o, why));
        TRY(get_recipe_needs(p, &p->recipes[i], o, why));
    }
    return sort_names("recipes", p->recipes, p->recipes_n, sizeof *p->recipes, why);
}

static enum err
get_numbers(const json_t *root, const char *key, int64_t **out_list, int *out_n,
            struct err_text *why)
{
    const json_t *array = NULL;
    size_t n = 0;
    TRY(get_array(root, key, &n, &array, why));
    if (n > 10000)
        return err_set(ERR_INPUT, why, "\"%s\": %zu members: expected 10000 at most", key, n);
    TRY(problem_list((int)n, sizeof **out_list, out_list, why));
    *out_n = (int)n;
    for (size_t i = 0; i < n; i++)
        TRY(get_number(json_array_get(array, i), key, "number", &(*out_list)[i], why));
    return ERR_OK;
}

static enum err
get_costs(struct problem *p, const json_t *root, struct err_text *why)
{
    const json_t *unused = json_object_get(root, "unused");
    TRY(get_fields(p, unused, unused_fields, 1, "unused", p, why));
    TRY(get_numbers(unused, "late_cents_per_kg", &p->late_cents_per_kg, &p->late_n, why));
    return get_numbers(root, "change_cents_per_batch", &p->change_cents_per_batch, &p->change_n,
                       why);
}

/* Lists are read before the lists that refer to them. */
static enum err
get_kitchen(struct problem *p, const json_t *root, struct err_text *why)
{
    TRY(get_fields(p, root, top_fields, sizeof top_fields / sizeof top_fields[0], "the problem", p,
                   why));
    if (json_is_string(json_object_get(root, "name")))
        TRY(get_text(json_object_get(root, "name"), "the problem", "name", p->name, why));
    TRY(get_costs(p, root, why));
    TRY(get_calendar(p, root, why));
    TRY(get_profiles(p, root, why));
    TRY(get_routes(p, root, why));
    TRY(get_list(p, root, &site_form, &p->sites, &p->sites_n, why));
    TRY(sort_names("sites", p->sites, p->sites_n, sizeof *p->sites, why));
    TRY(get_list(p, root, &product_form, &p->products, &p->products_n, why));
    TRY(sort_names("products", p->products, p->products_n, sizeof *p->products, why));
    TRY(get_list(p, root, &ingredient_form, &p->ingredients, &p->ingredients_n, why));
    if (p->ingredients_n > PROBLEM_PARTS_MAX)
        return err_set(ERR_INPUT, why, "\"ingredients\": %d: expected %d at most", p->ingredients_n,
                       PROBLEM_PARTS_MAX);
    TRY(get_deliveries(p, root, why));
    return sort_names("ingredients", p->ingredients, p->ingredients_n, sizeof *p->ingredients, why);
}

static enum err
get_problem(struct problem *p, const json_t *root, struct err_text *why)
{
    const char *format = json_string_value(json_object_get(root, "format"));
    if (format == NULL || strcmp(format, FORMAT) != 0)
        return err_set(ERR_FORMAT, why, "\"format\": expected \"" FORMAT "\", this is %s%.60s%s",
                       format != NULL ? "\"" : "", format != NULL ? format : "something else",
                       format != NULL ? "\"" : "");
    TRY(get_kitchen(p, root, why));
    TRY(get_recipes(p, root, why));
    TRY(get_list(p, root, &stock_form, &p->stock, &p->stock_n, why));
    TRY(get_list(p, root, &straining_form, &p->straining, &p->straining_n, why));
    TRY(get_list(p, root, &order_form, &p->orders, &p->orders_n, why));
    TRY(get_list(p, root, &sale_form, &p->sales, &p->sales_n, why));
    TRY(get_list(p, root, &run_form, &p->runs, &p->runs_n, why));
    return get_list(p, root, &previous_form, &p->previous, &p->previous_n, why);
}

/* ---- the tubs ---- */

enum {
    COLUMNS = 7
};
static const char *const columns[COLUMNS] = {"id",         "site",       "profile", "g",
                                             "frozen_day", "use_by_day", "at"};
static const char *const places[] = {[PROBLEM_AT_KITCHEN] = "kitchen",
                                     [PROBLEM_AT_SITE] = "site",
                                     [PROBLEM_AT_FORECAST] = "forecast"};

/* The field that *line begins with, its quotes undone in place (RFC 4180); *line goes on behind its
 * comma. false: a quote without an end, or text behind it. */
static bool
cut_field(char **line, char **out_field, bool *out_more)
{
    char *from = *line, *to = *line;
    bool open = *from == '"';
    *out_field = to;
    if (!open)
        to = from += strcspn(from, ",");
    else
        for (from++; *from != '\0'; *to++ = *from++)
            if (*from == '"' && *++from != '"') {
                open = false;
                break;
            }
    char end = *from;
    *to = '\0';
    *out_more = end == ',';
    *line = *out_more ? from + 1 : from;
    return !open && (end == ',' || end == '\0');
}

/* Cuts `line` at its commas; false: not that many fields. */
static bool
cut_line(char *line, char *fields[COLUMNS])
{
    bool more = true;
    for (int i = 0; i < COLUMNS; i++)
        if (!cut_field(&line, &fields[i], &more) || more != (i < COLUMNS - 1))
            return false;
    return true;
}

static bool
whole_number(const char *s, int64_t *out)
{
    char *end = NULL;
    errno = 0;
    long long n = strtoll(s, &end, 10);
    if (end == s || *end != '\0' || errno != 0 || n > PROBLEM_MOST || n < -PROBLEM_MOST)
        return false;
    *out = n;
    return true;
}

static enum err
get_tub_numbers(struct problem_tub *t, char *fields[COLUMNS], const int at[COLUMNS],
                struct err_text *why)
{
    int64_t n[3];
    for (int i = 0; i < 3; i++)
        if (!whole_number(fields[at[3 + i]], &n[i]))
            return err_input(why, columns[3 + i], fields[at[3 + i]], "a whole number");
    t->g = n[0];
    t->frozen_day = (int)n[1];
    t->use_by_day = (int)n[2];
    for (int i = 0; i < 3; i++)
        if (strcmp(fields[at[6]], places[i]) == 0) {
            t->at = (enum problem_at)i;
            return ERR_OK;
        }
    return err_input(why, "at", fields[at[6]], "kitchen, site or forecast");
}

static enum err
get_tub(const struct problem *p, char *line, const int at[COLUMNS], struct problem_tub *t,
        struct err_text *why)
{
    char *fields[COLUMNS];
    if (!cut_line(line, fields))
        return err_set(ERR_INPUT, why, "expected %d fields with commas between", COLUMNS);
    const char *id = fields[at[0]];
    if (id[0] == '\0' || strlen(id) >= PROBLEM_ID_SIZE)
        return err_input(why, "id", id, "a name of at most 63 bytes");
    (void)snprintf(t->id, sizeof t->id, "%s", id);
    TRY(find_name(p, SITE, fields[at[1]], "site", &t->site, why));
    TRY(find_name(p, PROFILE, fields[at[2]], "profile", &t->profile, why));
    return get_tub_numbers(t, fields, at, why);
}

/* Which field of a line holds which column. */
static enum err
get_heading(char *line, int at[COLUMNS], struct err_text *why)
{
    char *fields[COLUMNS];
    if (!cut_line(line, fields))
        return err_set(ERR_INPUT, why,
                       "line 1: expected id,site,profile,g,frozen_day,use_by_day,at");
    for (int i = 0; i < COLUMNS; i++) {
        at[i] = -1;
        for (int j = 0; j < COLUMNS; j++)
            if (strcmp(columns[i], fields[j]) == 0)
                at[i] = j;
        if (at[i] < 0)
            return err_set(ERR_INPUT, why, "line 1: there is no column \"%s\"", columns[i]);
    }
    return ERR_OK;
}

static int
count_lines(const char *text)
{
    int n = 1;
    for (; *text != '\0'; text++)
        n += *text == '\n';
    return n;
}

/* The next line, ended with a zero; NULL: that was all. */
static char *
next_line(char **text)
{
    char *line = *text;
    if (*line == '\0')
        return NULL;
    char *end = line + strcspn(line, "\n");
    *text = *end == '\n' ? end + 1 : end;
    *end = '\0';
    if (end > line && end[-1] == '\r')
        end[-1] = '\0';
    return line;
}

static enum err
get_tub_lines(struct problem *p, char *text, struct err_text *why)
{
    int at[COLUMNS];
    char *line = next_line(&text);
    if (line == NULL)
        return err_set(ERR_INPUT, why, "is empty: expected a line of column names");
    TRY(get_heading(line, at, why));
    for (int n = 2; (line = next_line(&text)) != NULL; n++) {
        if (line[0] == '\0')
            continue;
        enum err e = get_tub(p, line, at, &p->tubs[p->tubs_n], why);
        if (e != ERR_OK) {
            err_prefix(why, "line %d: ", n);
            return e;
        }
        p->tubs_n++;
    }
    return ERR_OK;
}

static enum err
get_tubs(struct problem *p, const char *csv, size_t len, struct err_text *why)
{
    char *text = malloc(len + 1);
    if (text == NULL)
        return err_set(ERR_MEM, why, "no memory for the tubs");
    memcpy(text, csv, len);
    text[len] = '\0';
    enum err e = ERR_OK;
    if (strlen(text) != len)
        e = err_set(ERR_INPUT, why, "holds a zero byte: this is no CSV");
    if (e == ERR_OK)
        e = problem_list(count_lines(text), sizeof *p->tubs, &p->tubs, why);
    if (e == ERR_OK)
        e = get_tub_lines(p, text, why);
    free(text);
    if (e != ERR_OK)
        err_prefix(why, "the tubs file: ");
    return e;
}

/* ---- both together ---- */

static enum err
load_json(const char *json, size_t len, json_t **out_root, struct err_text *why)
{
    json_error_t error;
    *out_root = json_loadb(json, len, JSON_REJECT_DUPLICATES, &error);
    if (*out_root == NULL)
        return err_set(ERR_INPUT, why, "line %d: %.120s: expected one JSON object", error.line,
                       error.text);
    if (!json_is_object(*out_root)) {
        json_decref(*out_root);
        *out_root = NULL;
        return err_set(ERR_INPUT, why, "expected one JSON object in braces");
    }
    return ERR_OK;
}

static enum err
build(const json_t *root, const char *csv, size_t csv_len, struct problem **out,
      struct err_text *why)
{
    struct problem *p = problem_new();
    if (p == NULL)
        return err_set(ERR_MEM, why, "no memory for the problem");
    enum err e = get_problem(p, root, why);
    if (e == ERR_OK)
        e = get_tubs(p, csv, csv_len, why);
    if (e == ERR_OK)
        e = problem_settle(p, why);
    if (e != ERR_OK) {
        problem_free(p);
        return e;
    }
    *out = p;
    return ERR_OK;
}

enum err
problem_parse(const char *json, size_t json_len, const char *csv, size_t csv_len,
              struct problem **out_problem, struct err_text *why)
{
    json_t *root = NULL;
    TRY(load_json(json, json_len, &root, why));
    enum err e = build(root, csv, csv_len, out_problem, why);
    json_decref(root);
    return e;
}

/* The tubs file's path: beside `path`, never elsewhere. */
static enum err
tubs_path(const char *path, const json_t *root, char *out, size_t size, struct err_text *why)
{
    const char *file = json_string_value(json_object_get(root, "tubs_file"));
    if (file == NULL || file[0] == '\0' || strchr(file, '/') != NULL)
        return err_set(ERR_INPUT, why,
                       "\"tubs_file\": expected the name of a file beside this one");
    const char *slash = strrchr(path, '/');
    int folder = slash != NULL ? (int)(slash - path) + 1 : 0;
    int n = snprintf(out, size, "%.*s%s", folder, path, file);
    if (n < 0 || (size_t)n >= size)
        return err_set(ERR_INPUT, why, "\"tubs_file\": expected a shorter name");
    return ERR_OK;
}

static enum err
read_both(const char *path, const json_t *root, struct problem **out, struct err_text *why)
{
    char tubs[4096];
    char *csv = NULL;
    size_t len = 0;
    TRY(tubs_path(path, root, tubs, sizeof tubs, why));
    TRY(slurp_file(tubs, &csv, &len, why));
    enum err e = build(root, csv, len, out, why);
    free(csv);
    return e;
}

enum err
problem_read(const char *path, struct problem **out_problem, struct err_text *why)
{
    char *json = NULL;
    size_t len = 0;
    json_t *root = NULL;
    TRY(slurp_file(path, &json, &len, why));
    enum err e = load_json(json, len, &root, why);
    free(json);
    if (e == ERR_OK)
        e = read_both(path, root, out_problem, why);
    json_decref(root);
    if (e != ERR_OK && e != ERR_IO)
        err_prefix(why, "%s: ", path);
    return e;
}
