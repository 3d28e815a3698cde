/* fold_day.c - one business day of one site: closed once, grounds not kept, nothing forgotten.
 *
 * Report rules R2, R8, F7, G1. Facts: closes of the day, and tubs filled on it.
 */
#include <inttypes.h>
#include <stdio.h>
#include "daemon/ledger/fold.h"
#include "daemon/ledger/place.h"
#include "proto/when.h"

/* Which days were weighed for a sampled figure, and how many weighings: "" where nobody said. */
static enum err
post_sample(const struct fact *fact, const char *day, struct outcome *out)
{
    char key[128], from[DAY_TEXT] = "", to[DAY_TEXT] = "", size[24] = "";
    const Knockbox__Sample *sample = fact->record->close->sample;
    size_t n = sample != NULL && sample->days != NULL ? sample->days->n_v : 0;
    int32_t first = INT32_MAX, last = INT32_MIN;
    for (size_t i = 0; i < n; i++) {
        first = sample->days->v[i] < first ? sample->days->v[i] : first;
        last = sample->days->v[i] > last ? sample->days->v[i] : last;
    }
    if (n > 0) {
        (void)day_print(first, from);
        (void)day_print(last, to);
    }
    if (sample != NULL && sample->has_size)
        (void)snprintf(size, sizeof size, "%" PRId64, sample->size);
    (void)snprintf(key, sizeof key, "%s|%s|%s|%zu|%s", day, from, to, n, size);
    return outcome_post(out, MEASURE_SAMPLED, fact->month, fact->site, key, 1);
}

static enum err
post_close(const struct fact *fact, const char *day, struct outcome *out)
{
    const Knockbox__Close *close = fact->record->close;
    outcome_by(out, fact);
    enum err e = outcome_post(out, MEASURE_DAY_CLOSED, fact->month, fact->site, day, 1);
    if (e != ERR_OK)
        return e;
    if (!close->has_uncaptured_g)
        return outcome_post(out, MEASURE_UNCAPTURED_DAYS_UNKNOWN, fact->month, fact->site, "", 1);
    if (close->uncaptured_method == KNOCKBOX__METHOD__METHOD_SAMPLED)
        e = post_sample(fact, day, out);
    return e != ERR_OK ? e
                       : outcome_post(out, MEASURE_UNCAPTURED, fact->month, fact->site,
                                      method_word(close->uncaptured_method), close->uncaptured_g);
}

enum err
fold_day(const struct fold_input *in, struct outcome *out, struct err_text *why)
{
    (void)why;
    const struct fact *close = NULL;
    char day[DAY_TEXT]; /* of all facts */
    bool tubs = false;
    enum err e = ERR_OK;
    (void)day_print(in->facts[0].day, day);
    for (size_t i = 0; i < in->n && e == ERR_OK; i++) {
        const struct fact *fact = &in->facts[i];
        if (fact->record->body_case == KNOCKBOX__RECORD__BODY_TUB) {
            tubs = true;
        } else if (close == NULL) {
            close = fact;
            e = post_close(fact, day, out);
        } else {
            e = outcome_flag(out, fact, "closed-twice", day);
        }
    }
    if (e != ERR_OK || close == NULL)
        return e;
    const Knockbox__Close *body = close->record->close;
    if (tubs && body->has_nothing_kept && body->nothing_kept)
        return outcome_flag(out, close, "nothing-kept-but-tubs", day);
    return ERR_OK;
}
