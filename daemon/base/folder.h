/* folder.h - files that are there whole or not at all, and who may read them.
 *
 * Every path is DIR/NAME; both are read. New files go through a temporary name, a sync, a rename
 * and a sync of the folder, so a power cut leaves the old file or the new one.
 */
#ifndef DAEMON_BASE_FOLDER_H
#define DAEMON_BASE_FOLDER_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>
#include "proto/err.h"

enum {
    PATH_SIZE = 1024,
    FILE_MOST = 1 << 20
};

/* DIR/NAME into `out`. ERR_INPUT: too long. */
enum err path_join(const char *dir, const char *name, char out[PATH_SIZE], struct err_text *why);

/* The folder that holds `path`: "." when there is no slash. */
void path_parent(const char *path, char out[PATH_SIZE]);

/* Makes the folder when it is not there, with exactly this mode, and syncs the one above.
 * ERR_IO; also when something else has the name. */
enum err folder_make(const char *path, mode_t mode, struct err_text *why);
/* Is it this user's own? What is made in it must be the user's who runs the daemon later.
 * ERR_DENIED: it is not, and `why` says as whom to say it again. ERR_OK also when it is not there. */
enum err folder_check_owner(const char *path, struct err_text *why);
enum err folder_sync(const char *path, struct err_text *why);

/* Writes DIR/NAME whole with this mode, in place of what was there. */
enum err file_write(const char *dir, const char *name, const void *bytes, size_t len, mode_t mode,
                    struct err_text *why);

/* The same, but nothing is written when the file is so already: that works on a full disk. */
enum err file_keep(const char *dir, const char *name, const void *bytes, size_t len, mode_t mode,
                   struct err_text *why);

/* Reads a file of at most FILE_MOST bytes; *out_text is yours (free), with a NUL behind it.
 * ERR_NOT_FOUND; ERR_INPUT: larger, or not a plain file. */
enum err file_read(const char *path, char **out_text, size_t *out_len, struct err_text *why);

/* DIR/FROM becomes DIR/TO, in place of what was there; durable. */
enum err file_rename(const char *dir, const char *from, const char *to, struct err_text *why);

bool file_there(const char *dir, const char *name);

/* Removes DIR/NAME (missing is fine) and syncs the folder. */
enum err file_remove(const char *dir, const char *name, struct err_text *why);

/* A file with a secret: a plain file of this user, readable by nobody else.
 * ERR_DENIED: it is not, and `why` says which command mends it. */
enum err file_check_secret(const char *path, struct err_text *why);

#endif
