/* show.c - small things that several answers print. */
#include "daemon/serve/show.h"

#include <stdlib.h>
#include <string.h>
#include "daemon/base/zone.h"
#include "proto/when.h"

json_t *
show_text(const char *text)
{
    return text != NULL && text[0] != '\0' ? json_string(text) : json_null();
}

json_t *
show_instant(int64_t ms, int offset_min)
{
    char text[WHEN_TEXT];
    return ms >= 0 ? json_string(when_print(ms, offset_min, text)) : json_null();
}

json_t *
show_day(int32_t day)
{
    char text[DAY_TEXT];
    return json_string(day_print(day, text));
}

int64_t
show_now(const struct call *call)
{
    const struct clock *clock = &call->serve->options.clock;
    return clock->now_ms(clock->owner);
}

const Knockbox__Site *
show_site(const struct call *call, const char *site, int32_t day)
{
    return (const Knockbox__Site *)catalogue_get(ledger_catalogue(call->serve->options.ledger),
                                                 KNOCKBOX__RECORD__BODY_SITE_, site, day);
}

int
show_offset(const struct call *call, const char *site, int64_t at_ms)
{
    const struct serve_options *options = &call->serve->options;
    const Knockbox__Site *version = show_site(call, site, (int32_t)(at_ms / 86400000));
    const char *name = version != NULL ? version->zone : options->zone;
    const struct zone *zone = NULL;
    struct err_text ignored; /* an unknown zone prints as UTC */
    if (name == NULL || name[0] == '\0' || zone_find(name, &zone, &ignored) != ERR_OK)
        return 0;
    return zone_offset_min(zone, at_ms);
}

int32_t
show_today(const struct call *call, const char *site)
{
    int64_t now = show_now(call);
    return catalogue_business_day(ledger_catalogue(call->serve->options.ledger), site, now,
                                  show_offset(call, site, now));
}

enum err
show_logs(struct store_view *view, const char *site, struct log_mark **out_logs, size_t *out_n,
          struct err_text *why)
{
    size_t room = 64, n = 0;
    for (;;) {
        struct log_mark *logs = malloc(room * sizeof *logs);
        if (logs == NULL)
            return err_set(ERR_MEM, why, "no memory for the list of logs");
        enum err e = store_marks(view, site, logs, room, &n, why);
        if (e == ERR_OK && n <= room) {
            *out_logs = logs;
            *out_n = n;
            return ERR_OK;
        }
        free(logs);
        if (e != ERR_OK)
            return e;
        room = n;
    }
}

struct site_state *
show_states(const struct call *call, size_t *out_n)
{
    const struct serve_options *options = &call->serve->options;
    size_t room = 64;
    *out_n = 0;
    if (options->sites == NULL)
        return NULL;
    for (;;) {
        struct site_state *states = calloc(room, sizeof *states);
        if (states == NULL)
            return NULL;
        size_t n = options->sites(options->owner, states, room);
        if (n <= room) {
            *out_n = n;
            return states;
        }
        free(states);
        room = n;
    }
}

json_t *
show_link(const struct call *call)
{
    if (call->serve->options.is_hub)
        return json_pack("{s:b}", "online", 1);
    size_t n = 0;
    struct site_state *states = show_states(call, &n);
    struct site_state link = n > 0 ? states[0] : (struct site_state){.last_seen_ms = -1};
    int offset = show_offset(call, call->serve->options.site, show_now(call));
    free(states);
    return json_pack("{s:b, s:o, s:I}", "online", link.online, "last_seen",
                     show_instant(link.last_seen_ms, offset), "behind", (json_int_t)link.behind);
}
