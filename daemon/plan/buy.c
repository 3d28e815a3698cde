/* buy.c - see buy.h. */
#include "daemon/plan/buy.h"

static bool
works(const struct buy_days *days, int day)
{
    return day >= 0 && day < days->n && days->weekday[day] != 0;
}

int
buy_arrives(const struct buy_days *days, const struct buy_terms *terms, int order)
{
    int day = order, left = terms->lead;
    while (day < days->n && left > 0)
        if (works(days, ++day))
            left--;
    return day < days->n ? day : days->n;
}

int
buy_order_day(const struct buy_days *days, const struct buy_terms *terms, int day)
{
    for (; day < days->n; day++) {
        bool may = terms->weekdays == 0 || (terms->weekdays >> days->weekday[day] & 1) != 0;
        if (works(days, day) && may)
            return day;
    }
    return days->n;
}

int
buy_first_use(const struct buy_days *days, const struct buy_terms *terms)
{
    int order = buy_order_day(days, terms, 0);
    int day = order < days->n ? buy_arrives(days, terms, order) : days->n;
    return day < days->n ? day + 1 : days->n;
}

int
buy_latest(const struct buy_days *days, const struct buy_terms *terms, int use)
{
    int latest = -1;
    for (int day = buy_order_day(days, terms, 0); day < use && day < days->n;
         day = buy_order_day(days, terms, day + 1))
        if (buy_arrives(days, terms, day) < use)
            latest = day;
    return latest;
}

/* What lacks by the end of a day when nothing is ordered. */
static int64_t
lack_on(const struct buy_need *need, int day)
{
    int64_t have = need->stock_g, use = 0;
    for (int d = 0; d <= day; d++) {
        use += need->use_g[d];
        have += need->coming_g[d];
    }
    return use > have ? use - have : 0;
}

/* The last day that the order has to serve. */
static int
serves_until(const struct buy_days *days, const struct buy_terms *terms,
             const struct buy_need *need, int order, int use)
{
    int next = terms->weekdays != 0 ? buy_order_day(days, terms, order + 1) : days->n;
    int from = next < days->n ? buy_arrives(days, terms, next) + 1 : days->n;
    int last = from > use ? from - 1 : use;
    return last < need->planned ? last : need->planned - 1;
}

static struct buy
order_for(const struct buy_days *days, const struct buy_terms *terms, const struct buy_need *need,
          int use, int64_t bought)
{
    struct buy one = {.order = buy_latest(days, terms, use), .use = use};
    if (one.order < 0)
        one.order = buy_order_day(days, terms, 0);
    one.arrives = buy_arrives(days, terms, one.order);
    one.late = one.arrives >= use;
    int last = serves_until(days, terms, need, one.order, use);
    for (int d = use; d <= last; d++) {
        int64_t lack = lack_on(need, d) - bought;
        one.lack_g = lack > one.lack_g ? lack : one.lack_g;
    }
    one.packs = terms->pack_g > 0 ? (one.lack_g + terms->pack_g - 1) / terms->pack_g : 0;
    one.g = terms->pack_g > 0 ? one.packs * terms->pack_g : one.lack_g;
    return one;
}

int
buy_list(const struct buy_days *days, const struct buy_terms *terms, const struct buy_need *need,
         struct buy *out, int most)
{
    int64_t bought = 0;
    int n = 0;
    for (int d = 0; d < need->planned && n < most; d++) {
        if (lack_on(need, d) <= bought)
            continue;
        out[n] = order_for(days, terms, need, d, bought);
        bought += out[n++].g;
    }
    return n;
}
