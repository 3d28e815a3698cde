/* news.h - what the books say now that they did not say when a plan was made, and what of it the
 * plan cannot live with.
 *
 * Two problems are compared by ids and dates: the one that the plan was made for and today's.
 */
#ifndef DAEMON_PLAN_NEWS_H
#define DAEMON_PLAN_NEWS_H

#include "daemon/plan/plan.h"

enum news_kind {
    NEWS_TUB_GONE,   /* thrown away, used up, not found */
    NEWS_TUB_LATE,   /* its date is before the evening that the plan needs it */
    NEWS_TUB_NEW,    /* a line a café */
    NEWS_RUN_MISSED, /* it is past, and the tubs are still at the café */
    NEWS_RUN,        /* gone, new, or with another load */
    NEWS_ORDER_NEW,
    NEWS_ORDER_CHANGED,
    NEWS_ORDER_GONE,
    NEWS_INGREDIENT,   /* short of what the plan needs */
    NEWS_BATCH_UNMADE, /* it should have been mixed, and its tubs are still there */
    NEWS_DAY,          /* opened, closed, or with other hours of work */
    NEWS_STATIONS,
    NEWS_FRIDGE,
    NEWS_RECIPE, /* sizes, yield, work or what it takes */
    NEWS_RULE,   /* none of these, and yet a rule would be broken */
    NEWS_KINDS,
};

struct news_item {
    enum news_kind kind;
    bool contradicts;         /* the plan cannot be done as it is */
    int day;                  /* of today's problem, -1: no day of its own */
    char id[PROBLEM_ID_SIZE]; /* tub, run, order, ingredient, recipe or café */
    char words[200];
};

struct news {
    struct news_item *items;
    int n;
};

/* `plan` is about `old`, made `shift` days (0 or more) before the day of `now`; `today` is the date
 * of day 0 of `now`. *out_news is yours: news_done(). ERR_MEM. */
enum err news_find(const struct problem *old, const struct plan *plan, int shift,
                   const struct problem *now, int32_t today, struct news *out_news,
                   struct err_text *why);
void news_done(struct news *news);

const char *news_word(enum news_kind kind); /* "tub-gone" */

#endif
