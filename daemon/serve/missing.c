/* missing.c - business days of a café that nobody has closed, of late. */
#include "daemon/serve/missing.h"

#include <stdio.h>
#include "daemon/ledger/subjects.h"
#include "daemon/serve/show.h"
#include "proto/when.h"

static bool
see_close(void *owner, const struct fact *fact)
{
    bool *closed = owner;
    *closed = *closed || fact->kind->number == KNOCKBOX__RECORD__BODY_CLOSE;
    return !*closed;
}

enum err
day_is_closed(const struct call *call, const char *site, int32_t day, bool *out_closed,
              struct err_text *why)
{
    char code[SUBJECT_CODE_MAX];
    *out_closed = false;
    enum err e =
        ledger_facts(call->serve->options.ledger, SUBJECT_DAY, subject_on_day(day, site, code),
                     INT64_MAX, see_close, out_closed, why);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

enum err
day_was_closed(const struct call *call, const char *site, int32_t day, bool *out_closed,
               struct err_text *why)
{
    char code[SUBJECT_CODE_MAX];
    *out_closed = false;
    enum err e = ledger_facts_so_far(call->serve->options.ledger, SUBJECT_DAY,
                                     subject_on_day(day, site, code), see_close, out_closed, why);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

/* The calendar's own word for the site, else the one for all sites, else open. */
static bool
is_open(const struct call *call, const char *site, int32_t day)
{
    const struct catalogue *catalogue = ledger_catalogue(call->serve->options.ledger);
    char key[SITE_SIZE + DAY_TEXT], text[DAY_TEXT];
    (void)snprintf(key, sizeof key, "%s|%s", site, day_print(day, text));
    const Knockbox__Calendar *entry = (const Knockbox__Calendar *)catalogue_get(
        catalogue, KNOCKBOX__RECORD__BODY_CALENDAR, key, day);
    (void)snprintf(key, sizeof key, "|%s", text);
    if (entry == NULL)
        entry = (const Knockbox__Calendar *)catalogue_get(
            catalogue, KNOCKBOX__RECORD__BODY_CALENDAR, key, day);
    return entry == NULL || entry->open;
}

enum err
missing_days(const struct call *call, const char *site, int32_t first, int32_t last,
             int32_t *out_days, size_t *out_n, struct err_text *why)
{
    enum err e = ERR_OK;
    *out_n = 0;
    for (int32_t day = first; day <= last && e == ERR_OK; day++) {
        const Knockbox__Site *version = show_site(call, site, day);
        bool closed = true;
        if (version == NULL || version->role != KNOCKBOX__ROLE__ROLE_CAFE ||
            !catalogue_inside(ledger_catalogue(call->serve->options.ledger), site, day) ||
            !is_open(call, site, day))
            continue;
        e = day_is_closed(call, site, day, &closed, why);
        if (e == ERR_FULL) /* the books wait for room: as far as they go */
            e = day_was_closed(call, site, day, &closed, why);
        if (!closed)
            out_days[(*out_n)++] = day;
    }
    return e;
}
