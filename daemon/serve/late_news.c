/* late_news.c - whether the published plan still fits what the books say. */
#include "daemon/serve/late_news.h"

#include <stdio.h>
#include <string.h>
#include "daemon/plan/news.h"
#include "daemon/serve/call.h"
#include "daemon/serve/kitchen.h"
#include "daemon/serve/plan_record.h"
#include "daemon/serve/plan_stand.h"
#include "daemon/serve/show.h"

enum {
    GAVE_PCT = 90, /* of what was planned: less is news */
    DAY_MS = 86400000,
};

struct looking {
    const struct stand *stand;
    int32_t today;
    json_t *lines;
};

void
late_news_done(struct late_news *news)
{
    json_decref(news->lines);
    *news = (struct late_news){.known = false};
}

/* ---- batches that gave less than their recipe says */

static bool
see_batch(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct looking *l = owner;
    const struct problem *p = l->stand->problem;
    const Knockbox__BatchRow *batch = (const Knockbox__BatchRow *)row;
    int recipe = batch->recipe != NULL
                     ? problem_find(p->recipes, p->recipes_n, sizeof *p->recipes, batch->recipe)
                     : -1;
    if (recipe < 0 || !batch->has_ended_ms || !batch->has_product_ml || batch->product_ml <= 0)
        return true;
    int32_t ended = (int32_t)((batch->ended_ms + (int64_t)batch->offset_min * 60000) / DAY_MS);
    int64_t planned = batch->grounds_g * p->recipes[recipe].yield_ml_per_kg / 1000;
    if (ended < l->stand->day || batch->product_ml >= planned / 100 * GAVE_PCT)
        return true;
    char words[200];
    (void)snprintf(words, sizeof words, "batch %.64s gave %.2f l; %.2f l were planned", code,
                   (double)batch->product_ml / 1000, (double)planned / 1000);
    return json_array_append_new(l->lines, json_string(words)) == 0;
}

/* ---- all of it */

static enum err
compare(struct call *call, struct looking *l, struct err_text *why)
{
    const struct stand *stand = l->stand;
    struct kitchen_ask ask = {.ledger = call->serve->options.ledger,
                              .site = call->serve->options.site,
                              .today = l->today,
                              .days = stand->problem->days,
                              .published = stand->view};
    struct problem *now = NULL;
    json_t *assumed = NULL;
    struct news news = {.n = 0};
    enum err e = kitchen_problem(&ask, &now, &assumed, why);
    if (e == ERR_OK)
        e = news_find(stand->problem, stand->plan, l->today - stand->day, now, l->today, &news,
                      why);
    for (int i = 0; i < news.n; i++)
        if (news.items[i].contradicts)
            (void)json_array_append_new(l->lines, json_string(news.items[i].words));
    news_done(&news);
    problem_free(now);
    json_decref(assumed);
    return e;
}

static enum err
look(struct call *call, struct looking *l, struct err_text *why)
{
    const struct stand *stand = l->stand;
    if (stand->problem == NULL || l->today < stand->day)
        return ERR_OK;
    if (l->today - stand->day >= stand->problem->days) {
        (void)json_array_append_new(l->lines, json_string("its days are over"));
        return ERR_OK;
    }
    enum err e = compare(call, l, why);
    return e == ERR_OK ? ledger_rows(call->serve->options.ledger, SUBJECT_BATCH, see_batch, l, why)
                       : e;
}

static enum err
find(struct call *call, int64_t number, int32_t today, json_t *lines, struct err_text *why)
{
    struct stand stand = {.view = NULL};
    json_t *view = NULL;
    enum err e = plan_record_get(call, number, &view, why);
    if (e == ERR_OK)
        e = stand_init(&stand, view, why);
    struct looking l = {&stand, today, lines};
    if (e == ERR_OK)
        e = look(call, &l, why);
    stand_done(&stand);
    return e;
}

enum err
late_news_find(struct call *call, const json_t **out_lines, int64_t *out_number,
               struct err_text *why)
{
    struct late_news *news = &call->serve->late_news;
    int32_t today = show_today(call, call->serve->options.site);
    if (!news->known || news->seen != call->serve->seen || news->today != today) {
        struct plan_numbers numbers = {.published = 0};
        enum err e = plan_record_numbers(call, &numbers, why);
        late_news_done(news);
        news->lines = json_array();
        if (e == ERR_OK && numbers.published > 0)
            e = find(call, numbers.published, today, news->lines, why);
        if (e == ERR_MEM || e == ERR_IO || news->lines == NULL)
            return e;
        *news = (struct late_news){true, call->serve->seen, today, numbers.published, news->lines};
        if (why != NULL)
            why->s[0] = '\0'; /* a catalogue that no plan can be made with is told by plan make */
    }
    *out_lines = news->lines;
    *out_number = news->number;
    return ERR_OK;
}

void
late_news_words(const json_t *lines, int64_t number, char out[LATE_NEWS_WORDS])
{
    size_t n = json_array_size(lines);
    out[0] = '\0';
    if (n == 0)
        return;
    const char *first = json_string_value(json_array_get(lines, 0));
    if (n == 1)
        (void)snprintf(out, LATE_NEWS_WORDS, "plan %lld no longer fits: %.240s: knockbox plan make",
                       (long long)number, first);
    else
        (void)snprintf(out, LATE_NEWS_WORDS,
                       "plan %lld no longer fits: %.240s, and %zu %s more: knockbox plan make",
                       (long long)number, first, n - 1, n == 2 ? "thing" : "things");
}
