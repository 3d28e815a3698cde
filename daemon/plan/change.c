/* change.c - one thing of a planning problem made larger, smaller, or taken away. */
#include "daemon/plan/change.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "proto/when.h"

enum {
    HOUR_S = 3600,
};

/* ---- amounts ---- */

/* "+1", "-2.5", "3": thousandths. At most six digits before the point, three after. */
static bool
parse_thousandths(const char *text, int64_t *out)
{
    bool minus = *text == '-';
    int64_t whole = 0, part = 0;
    int digits = 0, decimals = 0;
    text += *text == '-' || *text == '+';
    for (; *text >= '0' && *text <= '9'; text++, digits++)
        whole = digits < 6 ? whole * 10 + (*text - '0') : whole;
    if (*text == '.')
        for (text++; *text >= '0' && *text <= '9'; text++, decimals++)
            part = decimals < 3 ? part * 10 + (*text - '0') : part;
    if (*text != '\0' || digits < 1 || digits > 6 || decimals > 3)
        return false;
    for (; decimals < 3; decimals++)
        part *= 10;
    *out = (whole * 1000 + part) * (minus ? -1 : 1);
    return true;
}

static enum err
parse_amount(const char *text, const char *want, int64_t *out, struct err_text *why)
{
    if (parse_thousandths(text, out) && *out != 0)
        return ERR_OK;
    return err_input(why, "amount", text, want);
}

/* "NAME+KG" or "NAME-KG": the sign that counts is the last plus, or the last minus. */
static enum err
split_amount(const char *value, char name[PROBLEM_ID_SIZE], int64_t *out, struct err_text *why)
{
    const char *sign = strrchr(value, '+');
    if (sign == NULL)
        sign = strrchr(value, '-');
    if (sign == NULL || sign == value || sign - value >= PROBLEM_ID_SIZE)
        return err_input(why, "amount", value, "a name, a sign and kilograms, as in sugar+5");
    (void)snprintf(name, PROBLEM_ID_SIZE, "%.*s", (int)(sign - value), value);
    return parse_amount(sign, "kilograms after the sign, as in sugar+5", out, why);
}

static const char *
more_or_less(int64_t amount)
{
    return amount < 0 ? "less" : "more";
}

/* "1.5", "-2": thousandths in words, without a sign. */
static char *
in_words(int64_t thousandths, char out[24])
{
    long long n = thousandths < 0 ? -thousandths : thousandths;
    int len = snprintf(out, 24, "%lld.%03lld", n / 1000, n % 1000);
    while (len > 0 && out[len - 1] == '0')
        out[--len] = '\0';
    if (len > 0 && out[len - 1] == '.')
        out[len - 1] = '\0';
    return out;
}

/* Adds within 0 to PROBLEM_MOST. */
static int64_t
add(int64_t a, int64_t b)
{
    int64_t sum = a + b;
    return sum < 0 ? 0 : sum > PROBLEM_MOST ? PROBLEM_MOST : sum;
}

/* ---- resources ---- */

static enum err
change_station(struct problem *p, int32_t today, const char *value, char said[CHANGE_SAID],
               struct err_text *why)
{
    int64_t n = 0;
    (void)today;
    if (!parse_thousandths(value, &n) || n == 0 || n % 1000 != 0)
        return err_input(why, "stations", value, "a whole number, as in +1");
    n /= 1000;
    if (p->stations + n < 0 || p->stations + n > 10000)
        return err_set(ERR_INPUT, why, "there are %d stations: %s cannot be", p->stations, value);
    p->stations += (int)n;
    (void)snprintf(said, CHANGE_SAID, "%lld straining %s %s, %d in all", llabs((long long)n),
                   llabs((long long)n) == 1 ? "station" : "stations", more_or_less(n), p->stations);
    return ERR_OK;
}

static enum err
change_labour(struct problem *p, int32_t today, const char *value, char said[CHANGE_SAID],
              struct err_text *why)
{
    int64_t hours = 0;
    char words[24];
    (void)today;
    enum err e = parse_amount(value, "hours, as in +1.5", &hours, why);
    if (e != ERR_OK)
        return e;
    for (int d = 0; d < p->days; d++)
        if (p->calendar[d].working)
            p->calendar[d].labour_s = add(p->calendar[d].labour_s, hours * HOUR_S / 1000);
    (void)snprintf(said, CHANGE_SAID, "%s h of work %s on each working day", in_words(hours, words),
                   more_or_less(hours));
    return ERR_OK;
}

static enum err
change_fridge(struct problem *p, int32_t today, const char *value, char said[CHANGE_SAID],
              struct err_text *why)
{
    int64_t ml = 0;
    char words[24];
    (void)today;
    enum err e = parse_amount(value, "litres, as in +20", &ml, why);
    if (e != ERR_OK)
        return e;
    p->fridge_ml = add(p->fridge_ml, ml);
    (void)snprintf(said, CHANGE_SAID, "room for %s l %s in the cold store", in_words(ml, words),
                   more_or_less(ml));
    return ERR_OK;
}

static enum err
add_ingredient(struct problem *p, int at, int64_t g, char said[CHANGE_SAID])
{
    struct problem_ingredient *one = &p->ingredients[at];
    char words[24];
    one->stock_g = add(one->stock_g, g);
    (void)snprintf(said, CHANGE_SAID, "%s kg %s of %s in stock", in_words(g, words),
                   more_or_less(g), one->id);
    return ERR_OK;
}

static enum err
change_ingredient(struct problem *p, int32_t today, const char *value, char said[CHANGE_SAID],
                  struct err_text *why)
{
    char name[PROBLEM_ID_SIZE];
    int64_t g = 0;
    (void)today;
    enum err e = split_amount(value, name, &g, why);
    int at = problem_find(p->ingredients, p->ingredients_n, sizeof *p->ingredients, name);
    if (e == ERR_OK && at < 0)
        e = err_set(ERR_INPUT, why, "no recipe of the plan needs %s", name);
    return e == ERR_OK ? add_ingredient(p, at, g, said) : e;
}

/* The ingredient that is called sugar, or the one whose name has the word in it. */
static enum err
change_sugar(struct problem *p, int32_t today, const char *value, char said[CHANGE_SAID],
             struct err_text *why)
{
    int64_t g = 0;
    (void)today;
    enum err e = parse_amount(value, "kilograms, as in +5", &g, why);
    int at = problem_find(p->ingredients, p->ingredients_n, sizeof *p->ingredients, "sugar");
    for (int i = 0; at < 0 && i < p->ingredients_n; i++)
        if (strstr(p->ingredients[i].id, "sugar") != NULL)
            at = i;
    if (e == ERR_OK && at < 0)
        e = err_set(ERR_INPUT, why, "no ingredient is called sugar: use ingredient");
    return e == ERR_OK ? add_ingredient(p, at, g, said) : e;
}

/* ---- the van ---- */

static enum err
find_run(const struct problem *p, const char *name, int *out_run, struct err_text *why)
{
    *out_run = problem_find(p->runs, p->runs_n, sizeof *p->runs, name);
    return *out_run >= 0
               ? ERR_OK
               : err_set(ERR_INPUT, why, "the plan's days have no run %.64s (for example %s)", name,
                         p->runs_n > 0 ? p->runs[0].id : "none at all");
}

static enum err
change_van(struct problem *p, int32_t today, const char *value, char said[CHANGE_SAID],
           struct err_text *why)
{
    char name[PROBLEM_ID_SIZE], words[24];
    int64_t g = 0;
    int run = 0;
    (void)today;
    enum err e = split_amount(value, name, &g, why);
    if (e == ERR_OK)
        e = find_run(p, name, &run, why);
    if (e != ERR_OK)
        return e;
    p->runs[run].van_g = add(p->runs[run].van_g, g);
    (void)snprintf(said, CHANGE_SAID, "room for %s kg %s on run %s", in_words(g, words),
                   more_or_less(g), name);
    return ERR_OK;
}

/* Closes the gap that member `at` leaves. */
static void
drop(void *list, int *n, size_t size, int at)
{
    char *members = list;
    memmove(members + (size_t)at * size, members + ((size_t)at + 1) * size,
            (size_t)(*n - at - 1) * size);
    (*n)--;
}

static enum err
change_without_run(struct problem *p, int32_t today, const char *value, char said[CHANGE_SAID],
                   struct err_text *why)
{
    int run = 0;
    (void)today;
    enum err e = find_run(p, value, &run, why);
    if (e != ERR_OK)
        return e;
    drop(p->runs, &p->runs_n, sizeof *p->runs, run);
    (void)snprintf(said, CHANGE_SAID, "run %.64s does not go", value);
    return ERR_OK;
}

static enum err
change_tub_lost(struct problem *p, int32_t today, const char *value, char said[CHANGE_SAID],
                struct err_text *why)
{
    int tub = problem_find(p->tubs, p->tubs_n, sizeof *p->tubs, value);
    char words[24];
    (void)today;
    if (tub < 0)
        return err_set(ERR_INPUT, why, "the plan knows no tub %.64s", value);
    (void)snprintf(said, CHANGE_SAID, "tub %.64s is lost, %s kg", value,
                   in_words(p->tubs[tub].g, words));
    drop(p->tubs, &p->tubs_n, sizeof *p->tubs, tub);
    return ERR_OK;
}

/* ---- days and orders ---- */

static enum err
parse_date(const struct problem *p, int32_t today, const char *text, int *out_day,
           struct err_text *why)
{
    char want[64], first[DAY_TEXT], last[DAY_TEXT];
    int32_t date = 0;
    if (day_parse(text, &date) && date >= today && date < today + p->days) {
        *out_day = date - today;
        return ERR_OK;
    }
    (void)snprintf(want, sizeof want, "a day of the plan, %s to %s", day_print(today, first),
                   day_print(today + p->days - 1, last));
    return err_input(why, "day", text, want);
}

/* The last day before `day` on which somebody is there; PROBLEM_NEVER. */
static int
working_before(const struct problem *p, int day)
{
    for (int d = day - 1; d >= 0; d--)
        if (p->calendar[d].working)
            return d;
    return PROBLEM_NEVER;
}

static int
working_after(const struct problem *p, int day)
{
    for (int d = day + 1; d < p->calendar_n; d++)
        if (p->calendar[d].working)
            return d;
    return p->calendar_n;
}

/* What would have been done on that day is done on the working day before (thawing) or after
 * (bottling). */
static enum err
change_close_day(struct problem *p, int32_t today, const char *value, char said[CHANGE_SAID],
                 struct err_text *why)
{
    int day = 0;
    enum err e = parse_date(p, today, value, &day, why);
    if (e != ERR_OK)
        return e;
    p->calendar[day] = (struct problem_day){false, PROBLEM_NEVER, 0};
    int before = working_before(p, day);
    for (int d = day + 1; d < p->calendar_n; d++)
        if (p->calendar[d].thaw_day == day)
            p->calendar[d].thaw_day = before;
    for (int i = 0; i < p->straining_n; i++)
        if (p->straining[i].ready_day == day)
            p->straining[i].ready_day = working_after(p, day);
    (void)snprintf(said, CHANGE_SAID, "the kitchen is closed on %s", value);
    return ERR_OK;
}

/* What a litre of the product pays: as its other orders, as the counters, or as at the end. */
static int64_t
price_of(const struct problem *p, int product)
{
    for (int i = 0; i < p->orders_n; i++)
        if (p->orders[i].product == product)
            return p->orders[i].cents_per_l;
    for (int i = 0; i < p->sales_n; i++)
        if (p->sales[i].product == product)
            return p->sales[i].cents_per_l;
    return p->products[product].end_cents_per_l;
}

static int64_t
penalty_of(const struct problem *p, int product)
{
    for (int i = 0; i < p->orders_n; i++)
        if (p->orders[i].product == product)
            return p->orders[i].penalty_cents_per_l;
    return 0;
}

static enum err
add_order(struct problem *p, const struct problem_order *order, struct err_text *why)
{
    struct problem_order *grown = NULL;
    enum err e = problem_list(p->orders_n + 1, sizeof *grown, &grown, why);
    if (e != ERR_OK)
        return e;
    memcpy(grown, p->orders, (size_t)p->orders_n * sizeof *grown);
    grown[p->orders_n] = *order;
    free(p->orders);
    p->orders = grown;
    p->orders_n++;
    return ERR_OK;
}

/* PRODUCT:LITRES:DATE */
static enum err
change_order(struct problem *p, int32_t today, const char *value, char said[CHANGE_SAID],
             struct err_text *why)
{
    static const char want[] = "PRODUCT:LITRES:DATE, as in syrup:3:2026-03-10";
    char product[PROBLEM_ID_SIZE], litres[16], date[16], words[24], price[24];
    struct problem_order order = {.ml = 0};
    if (sscanf(value, "%63[^:]:%15[^:]:%15s", product, litres, date) != 3)
        return err_input(why, "order", value, want);
    enum err e = parse_amount(litres, want, &order.ml, why);
    if (e == ERR_OK)
        e = parse_date(p, today, date, &order.due_day, why);
    order.product = problem_find(p->products, p->products_n, sizeof *p->products, product);
    if (e == ERR_OK && (order.product < 0 || order.ml < 0))
        e = order.ml < 0 ? err_input(why, "order", value, want)
                         : err_set(ERR_INPUT, why, "the catalogue has no product %s", product);
    if (e == ERR_OK && p->sites_n == 0)
        e = err_set(ERR_INPUT, why, "there is no café that could order");
    if (e != ERR_OK)
        return e;
    (void)snprintf(order.id, sizeof order.id, "what-if-%d", p->orders_n + 1);
    order.cents_per_l = price_of(p, order.product);
    order.penalty_cents_per_l = penalty_of(p, order.product);
    (void)snprintf(said, CHANGE_SAID, "an order of %s l of %s due %s, at %s a litre",
                   in_words(order.ml, words), product, date,
                   in_words(order.cents_per_l * 10, price));
    return add_order(p, &order, why);
}

/* ---- the table ---- */

static const struct change_kind kinds[] = {
    {"station", "+N", "straining stations", change_station},
    {"labour", "+HOURS", "work on each working day", change_labour},
    {"fridge", "+LITRES", "room in the cold store", change_fridge},
    {"sugar", "+KG", "sugar in stock", change_sugar},
    {"ingredient", "ITEM+KG", "an ingredient in stock", change_ingredient},
    {"van", "RUN+KG", "room on a run", change_van},
    {"without-run", "RUN", "a run that does not go", change_without_run},
    {"tub-lost", "TUB", "a tub that is lost", change_tub_lost},
    {"close-day", "DATE", "a day without work", change_close_day},
    {"order", "ORDER", "one more, PRODUCT:LITRES:DATE", change_order},
};

const struct change_kind *
change_kinds(size_t *out_n)
{
    *out_n = sizeof kinds / sizeof kinds[0];
    return kinds;
}

const struct change_kind *
change_find(const char *name)
{
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
        if (strcmp(kinds[i].name, name) == 0)
            return &kinds[i];
    return NULL;
}

enum err
change_problem(const struct problem *p, int32_t today, const struct change *changes, size_t n,
               struct problem **out_problem, char (*out_said)[CHANGE_SAID], struct err_text *why)
{
    struct problem *copy = NULL;
    enum err e = problem_copy(p, &copy, why);
    for (size_t i = 0; i < n && e == ERR_OK; i++) {
        e = changes[i].kind->apply(copy, today, changes[i].value, out_said[i], why);
        if (e != ERR_OK && why != NULL)
            err_prefix(why, "--%s: ", changes[i].kind->name);
    }
    if (e == ERR_OK)
        e = problem_settle(copy, why);
    if (e != ERR_OK) {
        problem_free(copy);
        return e;
    }
    *out_problem = copy;
    return ERR_OK;
}
