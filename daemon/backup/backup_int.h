/* backup_int.h - what writing, reading and restoring share; nobody else includes it.
 */
#ifndef DAEMON_BACKUP_BACKUP_INT_H
#define DAEMON_BACKUP_BACKUP_INT_H

#include "daemon/backup/backup.h"

/* The files of a hub's folder that are no secret and not made anew: rows of PART_FILES. */
enum {
    BACKUP_FILES = 3
};
extern const char *const backup_files[BACKUP_FILES]; /* the first is the mark of a hub */

/* Sees each row after the judge; ERR_NOT_FOUND must not be answered. */
typedef enum err backup_visit(void *owner, const struct content *content,
                              const struct part_row *row, struct err_text *why);
/* Reads `fd` from where it stands. */
enum err backup_scan(int fd, const char *name, backup_visit *visit, void *owner, struct backup *out,
                     struct err_text *why);

#endif
