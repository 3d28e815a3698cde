/* setup_check.h - does a section of delivery.conf make sense? Inside of daemon/exchange.
 */
#ifndef DAEMON_EXCHANGE_SETUP_CHECK_H
#define DAEMON_EXCHANGE_SETUP_CHECK_H

#include "daemon/exchange/setup.h"

/* Each fills what the struct has beside name and config. ERR_INPUT, ERR_DENIED. */
enum err check_target(const struct setup *setup, struct target *target, struct err_text *why);
enum err check_schedule(const struct setup *setup, struct schedule *schedule, struct err_text *why);
enum err check_alerts(const struct setup *setup, const struct config *config, struct err_text *why);

/* LOCAL@DOMAIN in ASCII without blanks, quotes and brackets. */
bool is_address(const char *text);

#endif
