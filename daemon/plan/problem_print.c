/* problem_print.c - a planning problem written: one short record a line, for people and diffs. */
#include "daemon/plan/problem_file.h"

#include <errno.h>
#include <string.h>

/* A name in JSON quotes. Names hold no control characters. */
static void
quoted(FILE *f, const char *s)
{
    (void)fputc('"', f);
    for (; *s != '\0'; s++) {
        if (*s == '"' || *s == '\\')
            (void)fputc('\\', f);
        (void)fputc(*s, f);
    }
    (void)fputc('"', f);
}

static void
text(FILE *f, const char *key, const char *s)
{
    (void)fprintf(f, "\"%s\":", key);
    quoted(f, s);
}

static void
number(FILE *f, const char *key, int64_t n)
{
    (void)fprintf(f, ",\"%s\":%lld", key, (long long)n);
}

static void
numbers(FILE *f, const int64_t *list, int n)
{
    (void)fputc('[', f);
    for (int i = 0; i < n; i++)
        (void)fprintf(f, "%s%lld", i > 0 ? "," : "", (long long)list[i]);
    (void)fputc(']', f);
}

/* Opens one record of a list: "  {" after the comma of the one before. */
static void
record(FILE *f, int i)
{
    (void)fprintf(f, "%s  {", i > 0 ? ",\n" : "\n");
}

static void
open_list(FILE *f, const char *key)
{
    (void)fprintf(f, ",\n \"%s\": [", key);
}

static void
close_list(FILE *f, int n)
{
    (void)fputs(n > 0 ? "\n ]" : "]", f);
}

static void
print_calendar(const struct problem *p, FILE *f)
{
    open_list(f, "calendar");
    for (int d = 0; d < p->calendar_n; d++) {
        const struct problem_day *c = &p->calendar[d];
        record(f, d);
        (void)fprintf(f, "\"day\":%d,\"working\":%s,\"thaw_day\":", d,
                      c->working ? "true" : "false");
        if (c->thaw_day == PROBLEM_NEVER)
            (void)fputs("null", f);
        else
            (void)fprintf(f, "%d", c->thaw_day);
        if (d < p->days)
            number(f, "labour_s", c->labour_s);
        else
            (void)fputs(",\"labour_s\":null", f);
        (void)fputc('}', f);
    }
    close_list(f, p->calendar_n);
}

static void
print_needs(const struct problem *p, const struct problem_recipe *r, FILE *f)
{
    const char *comma = "";
    (void)fputs(",\"ingredients_g_per_kg\":{", f);
    for (int i = 0; i < p->ingredients_n; i++) {
        if (r->need_g_per_kg[i] == 0)
            continue;
        (void)fputs(comma, f);
        quoted(f, p->ingredients[i].id);
        (void)fprintf(f, ":%lld", (long long)r->need_g_per_kg[i]);
        comma = ",";
    }
    (void)fputc('}', f);
}

static void
print_recipe(const struct problem *p, const struct problem_recipe *r, FILE *f)
{
    const char *comma = "";
    text(f, "id", r->id);
    (void)fputc(',', f);
    text(f, "product", p->products[r->product].id);
    (void)fputs(",\"profiles\":[", f);
    for (int i = 0; i < p->profiles_n; i++) {
        if (!problem_takes(r, i))
            continue;
        (void)fputs(comma, f);
        quoted(f, p->profiles[i].id);
        comma = ",";
    }
    (void)fputc(']', f);
    number(f, "puck_min_g", r->puck_min_g);
    number(f, "puck_max_g", r->puck_max_g);
    number(f, "yield_ml_per_kg", r->yield_ml_per_kg);
    number(f, "strain_days", r->strain_days);
    print_needs(p, r, f);
    number(f, "mix_s_per_batch", r->mix_s_per_batch);
    number(f, "mix_s_per_kg", r->mix_s_per_kg);
    number(f, "bottle_s_per_batch", r->bottle_s_per_batch);
    number(f, "bottle_s_per_kg", r->bottle_s_per_kg);
    (void)fputc('}', f);
}

static void
print_recipes(const struct problem *p, FILE *f)
{
    open_list(f, "recipes");
    for (int i = 0; i < p->recipes_n; i++) {
        record(f, i);
        print_recipe(p, &p->recipes[i], f);
    }
    close_list(f, p->recipes_n);
}

static void
print_products(const struct problem *p, FILE *f)
{
    open_list(f, "products");
    for (int i = 0; i < p->products_n; i++) {
        record(f, i);
        text(f, "id", p->products[i].id);
        number(f, "shelf_days", p->products[i].shelf_days);
        number(f, "end_cents_per_l", p->products[i].end_cents_per_l);
        number(f, "end_demand_ml", p->products[i].end_demand_ml);
        (void)fputc('}', f);
    }
    close_list(f, p->products_n);
}

static void
print_ingredients(const struct problem *p, FILE *f)
{
    open_list(f, "ingredients");
    for (int i = 0; i < p->ingredients_n; i++) {
        const struct problem_ingredient *g = &p->ingredients[i];
        record(f, i);
        text(f, "id", g->id);
        number(f, "stock_g", g->stock_g);
        number(f, "cents_per_kg", g->cents_per_kg);
        (void)fputs(",\"deliveries\":[", f);
        for (int j = 0; j < g->deliveries_n; j++)
            (void)fprintf(f, "%s{\"day\":%d,\"g\":%lld}", j > 0 ? "," : "", g->deliveries[j].day,
                          (long long)g->deliveries[j].g);
        (void)fputs("]}", f);
    }
    close_list(f, p->ingredients_n);
}

static void
print_stock(const struct problem *p, FILE *f)
{
    open_list(f, "stock");
    for (int i = 0; i < p->stock_n; i++) {
        record(f, i);
        text(f, "product", p->products[p->stock[i].product].id);
        number(f, "ml", p->stock[i].ml);
        number(f, "best_before_day", p->stock[i].best_before_day);
        (void)fputc('}', f);
    }
    close_list(f, p->stock_n);
    open_list(f, "in_progress");
    for (int i = 0; i < p->straining_n; i++) {
        record(f, i);
        text(f, "recipe", p->recipes[p->straining[i].recipe].id);
        number(f, "ready_day", p->straining[i].ready_day);
        number(f, "puck_g", p->straining[i].puck_g);
        (void)fputc('}', f);
    }
    close_list(f, p->straining_n);
}

static void
print_order(const struct problem *p, const struct problem_order *o, FILE *f)
{
    text(f, "id", o->id);
    (void)fputc(',', f);
    text(f, "product", p->products[o->product].id);
    (void)fputc(',', f);
    text(f, "site", p->sites[o->site].id);
    number(f, "due_day", o->due_day);
    number(f, "ml", o->ml);
    number(f, "cents_per_l", o->cents_per_l);
    number(f, "penalty_cents_per_l", o->penalty_cents_per_l);
    (void)fputc('}', f);
}

static void
print_demand(const struct problem *p, FILE *f)
{
    open_list(f, "orders");
    for (int i = 0; i < p->orders_n; i++) {
        record(f, i);
        print_order(p, &p->orders[i], f);
    }
    close_list(f, p->orders_n);
    open_list(f, "sales");
    for (int i = 0; i < p->sales_n; i++) {
        record(f, i);
        text(f, "product", p->products[p->sales[i].product].id);
        number(f, "day", p->sales[i].day);
        number(f, "ml", p->sales[i].ml);
        number(f, "cents_per_l", p->sales[i].cents_per_l);
        (void)fputc('}', f);
    }
    close_list(f, p->sales_n);
}

static void
print_run(const struct problem *p, const struct problem_run *r, FILE *f)
{
    text(f, "id", r->id);
    (void)fputc(',', f);
    text(f, "route", p->routes[r->route].id);
    number(f, "day", r->day);
    number(f, "van_g", r->van_g);
    number(f, "fixed_cents", r->fixed_cents);
    number(f, "cents_per_kg", r->cents_per_kg);
    (void)fputc('}', f);
}

static void
print_runs(const struct problem *p, FILE *f)
{
    open_list(f, "runs");
    for (int i = 0; i < p->runs_n; i++) {
        record(f, i);
        print_run(p, &p->runs[i], f);
    }
    close_list(f, p->runs_n);
}

static void
print_previous(const struct problem *p, FILE *f)
{
    open_list(f, "previous");
    for (int i = 0; i < p->previous_n; i++) {
        record(f, i);
        text(f, "recipe", p->recipes[p->previous[i].recipe].id);
        number(f, "day", p->previous[i].day);
        number(f, "batches", p->previous[i].batches);
        (void)fputc('}', f);
    }
    close_list(f, p->previous_n);
    (void)fprintf(
        f, ",\n \"previous_until_day\": %d,\n \"change_cents_per_batch\": ", p->previous_until_day);
    numbers(f, p->change_cents_per_batch, p->change_n);
    (void)fprintf(f, ",\n \"unused\": {\"lost_cents_per_kg\":%lld,\"late_cents_per_kg\":",
                  (long long)p->lost_cents_per_kg);
    numbers(f, p->late_cents_per_kg, p->late_n);
    (void)fputc('}', f);
}

static void
print_places(const struct problem *p, FILE *f)
{
    (void)fputs(",\n \"profiles\": [", f);
    for (int i = 0; i < p->profiles_n; i++) {
        (void)fputs(i > 0 ? "," : "", f);
        quoted(f, p->profiles[i].id);
    }
    (void)fputc(']', f);
    open_list(f, "sites");
    for (int i = 0; i < p->sites_n; i++) {
        record(f, i);
        text(f, "id", p->sites[i].id);
        (void)fputc(',', f);
        text(f, "route", p->routes[p->sites[i].route].id);
        (void)fputc('}', f);
    }
    close_list(f, p->sites_n);
}

void
problem_print(const struct problem *p, const char *tubs_file, FILE *json)
{
    (void)fputs("{\n \"format\": \"tub-planner-instance/1\",\n ", json);
    text(json, "name", p->name[0] != '\0' ? p->name : "problem");
    (void)fputs(",\n ", json);
    text(json, "tubs_file", tubs_file);
    (void)fprintf(json, ",\n \"days\": %d,\n \"tail_days\": %d,\n \"stations\": %d", p->days,
                  p->tail_days, p->stations);
    (void)fprintf(json, ",\n \"fridge_ml\": %lld,\n \"labour_cents_per_hour\": %lld",
                  (long long)p->fridge_ml, (long long)p->labour_cents_per_hour);
    print_places(p, json);
    print_calendar(p, json);
    print_recipes(p, json);
    print_products(p, json);
    print_ingredients(p, json);
    print_stock(p, json);
    print_demand(p, json);
    print_runs(p, json);
    print_previous(p, json);
    (void)fputs("\n}\n", json);
}

/* A cell of a CSV: in quotes when it has to be (RFC 4180). */
static void
cell(const char *text, FILE *csv)
{
    if (strpbrk(text, ",\"") == NULL) {
        (void)fprintf(csv, "%s,", text);
        return;
    }
    (void)fputc('"', csv);
    for (; *text != '\0'; text++) {
        if (*text == '"')
            (void)fputc('"', csv);
        (void)fputc(*text, csv);
    }
    (void)fputs("\",", csv);
}

void
problem_print_tubs(const struct problem *p, FILE *csv)
{
    static const char *const places[] = {[PROBLEM_AT_KITCHEN] = "kitchen",
                                         [PROBLEM_AT_SITE] = "site",
                                         [PROBLEM_AT_FORECAST] = "forecast"};
    (void)fputs("id,site,profile,g,frozen_day,use_by_day,at\n", csv);
    for (int i = 0; i < p->tubs_n; i++) {
        const struct problem_tub *t = &p->tubs[i];
        cell(t->id, csv);
        cell(p->sites[t->site].id, csv);
        cell(p->profiles[t->profile].id, csv);
        (void)fprintf(csv, "%lld,%d,%d,%s\n", (long long)t->g, t->frozen_day, t->use_by_day,
                      places[t->at]);
    }
}

static enum err
finish(FILE *f, const char *path, struct err_text *why)
{
    bool failed = ferror(f) != 0;
    if (fclose(f) != 0 || failed)
        return err_set(ERR_IO, why, "%s: could not be written in full", path);
    return ERR_OK;
}

enum err
problem_write(const struct problem *p, const char *path, struct err_text *why)
{
    char tubs[4096];
    size_t len = strlen(path);
    if (len > 5 && strcmp(path + len - 5, ".json") == 0)
        len -= 5;
    int n = snprintf(tubs, sizeof tubs, "%.*s.tubs.csv", (int)len, path);
    if (n < 0 || (size_t)n >= sizeof tubs)
        return err_set(ERR_INPUT, why, "%s: expected a shorter path", path);
    const char *slash = strrchr(tubs, '/');
    FILE *f = fopen(path, "we");
    if (f == NULL)
        return err_set(ERR_IO, why, "%s: %s", path, strerror(errno));
    problem_print(p, slash != NULL ? slash + 1 : tubs, f);
    enum err e = finish(f, path, why);
    if (e != ERR_OK)
        return e;
    f = fopen(tubs, "we");
    if (f == NULL)
        return err_set(ERR_IO, why, "%s: %s", tubs, strerror(errno));
    problem_print_tubs(p, f);
    return finish(f, tubs, why);
}
