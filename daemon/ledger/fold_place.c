/* fold_place.c - the readings of one place on one day: how many, which outside the limits (Q2).
 */
#include <stdio.h>
#include "daemon/ledger/fold.h"
#include "daemon/record/record.h"
#include "proto/decimal.h"
#include "proto/when.h"

/* `limit` NULL: no such limit. Compared digit for digit, never rounded. */
static bool
outside(const char *temp_c, const char *limit, int bad_order)
{
    struct decimal temp, edge;
    if (limit == NULL || decimal_parse(temp_c, &temp, NULL) != ERR_OK ||
        decimal_parse(limit, &edge, NULL) != ERR_OK)
        return false;
    return decimal_compare(&temp, &edge) == bad_order;
}

static bool
stated(const char *text)
{
    return text != NULL && text[0] != '\0';
}

static enum err
post_failed(const struct fact *fact, struct outcome *out)
{
    char id[ID_TEXT], key[256];
    const Knockbox__Reading *body = fact->record->reading;
    bool open = !stated(body->action) || !stated(body->disposition);
    (void)snprintf(key, sizeof key, "%s|%s|%d|%s", id_print(fact->id, id), body->temp_c, open,
                   body->place);
    enum err e = outcome_post(out, MEASURE_READING_FAILED, fact->month, fact->site, key, 1);
    if (e == ERR_OK && open)
        e = outcome_flag(out, fact, "failed-reading-open", body->place);
    return e;
}

static enum err
fold_reading(const struct fold_input *in, const struct fact *fact, struct outcome *out)
{
    char key[128], day[DAY_TEXT];
    const Knockbox__Reading *body = fact->record->reading;
    (void)snprintf(key, sizeof key, "%s|%s", body->place, day_print(fact->day, day));
    enum err e = outcome_post(out, MEASURE_READING, fact->month, fact->site, key, 1);
    if (e != ERR_OK)
        return e;
    const Knockbox__Place *place = (const Knockbox__Place *)catalogue_get(
        in->catalogue, KNOCKBOX__RECORD__BODY_PLACE, body->place, fact->day);
    if (place == NULL)
        return outcome_flag(out, fact, "unknown-place", body->place);
    if (outside(body->temp_c, place->max_c, 1) || outside(body->temp_c, place->min_c, -1))
        return post_failed(fact, out);
    return ERR_OK;
}

enum err
fold_place(const struct fold_input *in, struct outcome *out, struct err_text *why)
{
    (void)why;
    enum err e = ERR_OK;
    for (size_t i = 0; i < in->n && e == ERR_OK; i++)
        e = fold_reading(in, &in->facts[i], out);
    return e;
}
