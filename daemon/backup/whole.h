/* whole.h - a large file that is there whole or not at all: written beside, flushed, renamed.
 */
#ifndef DAEMON_BACKUP_WHOLE_H
#define DAEMON_BACKUP_WHOLE_H

#include "daemon/base/folder.h"
#include "proto/err.h"

/* `part` is open for writing and reading, mode 0600, locked against a second writer. */
struct whole {
    int fd; /* -1: none */
    char path[PATH_SIZE], part[PATH_SIZE + 8];
};

/* Opens PATH.part, empty; what a writer left that was killed is taken over. ERR_BUSY: another
 * process writes it now. */
enum err whole_open(const char *path, struct whole *out, struct err_text *why);
/* Flushes, gives it its name, flushes the folder. Closes in any case; on an error the file under the
 * name is as it was. */
enum err whole_commit(struct whole *whole, struct err_text *why);
void whole_drop(struct whole *whole); /* removes PATH.part; fine after a commit */

#endif
