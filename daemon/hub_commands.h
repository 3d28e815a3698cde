/* hub_commands.h - the hub's commands around its folder and its keys, as rows of its table call them.
 */
#ifndef DAEMON_HUB_COMMANDS_H
#define DAEMON_HUB_COMMANDS_H

#include "daemon/base/config.h"
#include "daemon/hub_backup.h"
#include "proto/err.h"

/* The settings of the folder. *out_config is yours. ERR_NOT_FOUND: there is no hub. */
enum err hub_load(const char *dir, struct config **out_config, struct err_text *why);

/* words: DIR; values: --site CODE, --listen tcp://HOST:PORT */
enum err hub_init(const char *const *words, const char *const *values, struct err_text *why);
/* words: DIR SITE; values: --person NAME, --role ROLE */
enum err hub_enrol(const char *const *words, const char *const *values, struct err_text *why);
/* words: DIR */
enum err hub_list_keys(const char *const *words, const char *const *values, struct err_text *why);
/* words: DIR SITE|NAME|KEY */
enum err hub_revoke(const char *const *words, const char *const *values, struct err_text *why);

#endif
