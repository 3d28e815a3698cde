/* fold_day.c - one business day of one site: closed once, grounds not kept, nothing forgotten.
 *
 * Report rules R2, R8, F7, G1. Facts: closes of the day, and tubs filled on it.
 */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include "daemon/ledger/fold.h"
#include "daemon/ledger/place.h"
#include "proto/when.h"

static const char *
day_of(const struct fold_input *in) /* "site|YYYY-MM-DD" */
{
    const char *bar = strrchr(in->code, '|');
    return bar != NULL ? bar + 1 : in->code;
}

/* Which days were weighed for a sampled figure, and how many weighings: "" where nobody said. */
static enum err
post_sample(const struct fold_input *in, const struct fact *fact, struct outcome *out)
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
    (void)snprintf(key, sizeof key, "%s|%s|%s|%zu|%s", day_of(in), from, to, n, size);
    return outcome_post(out, MEASURE_SAMPLED, fact->month, fact->site, key, 1);
}

static enum err
post_close(const struct fold_input *in, const struct fact *fact, struct outcome *out)
{
    const Knockbox__Close *close = fact->record->close;
    outcome_by(out, fact);
    enum err e = outcome_post(out, MEASURE_DAY_CLOSED, fact->month, fact->site, day_of(in), 1);
    if (e != ERR_OK)
        return e;
    if (!close->has_uncaptured_g)
        return outcome_post(out, MEASURE_UNCAPTURED_DAYS_UNKNOWN, fact->month, fact->site, "", 1);
    if (close->uncaptured_method == KNOCKBOX__METHOD__METHOD_SAMPLED)
        e = post_sample(in, fact, out);
    return e != ERR_OK ? e
                       : outcome_post(out, MEASURE_UNCAPTURED, fact->month, fact->site,
                                      method_word(close->uncaptured_method), close->uncaptured_g);
}

enum err
fold_day(const struct fold_input *in, struct outcome *out, struct err_text *why)
{
    (void)why;
    const struct fact *close = NULL;
    bool tubs = false;
    enum err e = ERR_OK;
    for (size_t i = 0; i < in->n && e == ERR_OK; i++) {
        const struct fact *fact = &in->facts[i];
        if (fact->record->body_case == KNOCKBOX__RECORD__BODY_TUB) {
            tubs = true;
        } else if (close == NULL) {
            close = fact;
            e = post_close(in, fact, out);
        } else {
            e = outcome_flag(out, fact, "closed-twice", day_of(in));
        }
    }
    if (e != ERR_OK || close == NULL)
        return e;
    const Knockbox__Close *body = close->record->close;
    if (tubs && body->has_nothing_kept && body->nothing_kept)
        return outcome_flag(out, close, "nothing-kept-but-tubs", day_of(in));
    return ERR_OK;
}
