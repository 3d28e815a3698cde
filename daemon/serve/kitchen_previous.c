/* kitchen_previous.c - the plan that the kitchen works by, and what it costs to depart from it.
 *
 * The nearer the day, the more people have set their work by it: tomorrow and the day after cost
 * all, the rest of the week half, later days a sixth (common practice, no source).
 */
#include <string.h>
#include "daemon/serve/kitchen.h"
#include "proto/when.h"

enum {
    NEAR_DAY = 2,
    WEEK_DAY = 6,
};

static int64_t
change_cents(const struct kitchen *k)
{
    return k->site != NULL && k->site->has_change_minor ? k->site->change_minor
                                                        : k->p->labour_cents_per_hour;
}

static enum err
fill_costs(struct kitchen *k, struct err_text *why)
{
    struct problem *p = k->p;
    int64_t cents = change_cents(k);
    enum err e =
        problem_list(p->days, sizeof *p->change_cents_per_batch, &p->change_cents_per_batch, why);
    for (int d = 1; d < p->days && e == ERR_OK; d++)
        p->change_cents_per_batch[d] = cents / (d <= NEAR_DAY ? 1 : d <= WEEK_DAY ? 2 : 6);
    p->change_n = e == ERR_OK ? p->days : 0;
    return e;
}

static void
add_batch(struct kitchen *k, const char *recipe, int day)
{
    struct problem *p = k->p;
    int at =
        recipe != NULL ? kitchen_find(p->recipes, p->recipes_n, sizeof *p->recipes, recipe) : -1;
    if (at < 0)
        return;
    for (int i = 0; i < p->previous_n; i++)
        if (p->previous[i].recipe == at && p->previous[i].day == day) {
            p->previous[i].batches++;
            return;
        }
    struct problem_previous *one = kitchen_add(k, &p->previous, &p->previous_n, sizeof *one);
    if (one != NULL)
        *one = (struct problem_previous){at, day, 1};
}

/* Batches that it mixes on a day that is still ahead. */
static void
add_day(struct kitchen *k, const json_t *line)
{
    const char *text = json_string_value(json_object_get(line, "day"));
    const json_t *mix = json_object_get(line, "mix");
    int32_t date = 0;
    if (text == NULL || !day_parse(text, &date))
        return;
    int day = date - k->ask->today;
    if (day < 1 || day >= k->p->days)
        return;
    k->p->previous_until_day = day > k->p->previous_until_day ? day : k->p->previous_until_day;
    for (size_t i = 0; i < json_array_size(mix); i++)
        add_batch(k, json_string_value(json_object_get(json_array_get(mix, i), "recipe")), day);
}

enum err
kitchen_previous(struct kitchen *k, struct err_text *why)
{
    const json_t *days = json_object_get(k->ask->published, "days");
    if (json_array_size(days) == 0)
        return ERR_OK;
    enum err e = fill_costs(k, why);
    for (size_t i = 0; i < json_array_size(days) && e == ERR_OK; i++)
        add_day(k, json_array_get(days, i));
    if (e == ERR_OK && k->p->previous_n > 0 && (k->site == NULL || !k->site->has_change_minor))
        kitchen_assume(k,
                       "A batch more or less than published costs an hour's wage (%lld.%02lld) "
                       "tomorrow and the day after, half of it within %d days, a sixth later.",
                       (long long)(change_cents(k) / 100), (long long)(change_cents(k) % 100),
                       WEEK_DAY);
    return e;
}
