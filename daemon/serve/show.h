/* show.h - small things that several answers print.
 */
#ifndef DAEMON_SERVE_SHOW_H
#define DAEMON_SERVE_SHOW_H

#include <jansson.h>
#include <stdint.h>
#include "daemon/serve/call.h"

/* JSON text, or null for NULL and "". Yours. */
json_t *show_text(const char *text);
json_t *show_instant(int64_t ms, int offset_min); /* null below 0 */
json_t *show_day(int32_t day);

/* Offset of the zone of a site now, in minutes; 0 when nobody said. */
int show_offset(const struct call *call, const char *site, int64_t at_ms);
/* The business day at a site now. */
int32_t show_today(const struct call *call, const char *site);
int64_t show_now(const struct call *call);

/* The site's version in force on the day, NULL: not in the catalogue. */
const Knockbox__Site *show_site(const struct call *call, const char *site, int32_t day);

/* {"online", "last_seen", "behind"} of a café's way to the hub; at the hub {"online": true}. */
json_t *show_link(const struct call *call);

/* All logs of the view (of one site, or NULL: of every one), by site, epoch and mark. *out_logs is
 * yours (free), *out_n of them. ERR_MEM. */
enum err show_logs(struct store_view *view, const char *site, struct log_mark **out_logs,
                   size_t *out_n, struct err_text *why);

/* All states that sync tells, *out_n of them; yours (free). NULL: no memory, or none. */
struct site_state *show_states(const struct call *call, size_t *out_n);

#endif
