/* hub_backup.h - the hub's commands around backups, as rows of its table call them.
 */
#ifndef DAEMON_HUB_BACKUP_H
#define DAEMON_HUB_BACKUP_H

#include "proto/err.h"

#define HUB_KEY_FILE "hub.key"

/* words: DIR TO; values: --keys FILE, --keep N */
enum err hub_backup(const char *const *words, const char *const *values, struct err_text *why);
/* words: FILE */
enum err hub_verify_backup(const char *const *words, const char *const *values,
                           struct err_text *why);
/* words: FILE DIR; values: --keys FILE */
enum err hub_restore(const char *const *words, const char *const *values, struct err_text *why);

#endif
