/* backup.h - a hub's folder in one file, and back. docs/decisions/0014-backup.md.
 *
 * backup_write() works beside a running hub: it reads one snapshot of the store and disturbs
 * nobody. Secrets (the hub's key, credentials of deliveries) go to a file of their own, and only
 * when asked for. A file is written under another name, read back, flushed and renamed, so at any
 * instant there is the old one or the new one.
 */
#ifndef DAEMON_BACKUP_BACKUP_H
#define DAEMON_BACKUP_BACKUP_H

#include "daemon/backup/content.h"
#include "daemon/base/clock.h"
#include "proto/err.h"

/* What a backup is, after it was read from end to end. */
struct backup {
    struct content content; /* end it with backup_done() */
    uint8_t check[PART_CHECK];
    uint64_t bytes;
    char files[256]; /* names of the files of the folder in it, with blanks between */
};
void backup_done(struct backup *backup);

/* Writes the hub of folder `dir` to `file`, in place of what was there; *out as backup_read() found
 * the new file. ERR_DAMAGED: the store is damaged, and `why` says where; ERR_BUSY: another one is
 * being written to that name; ERR_FULL, ERR_IO. On each of these `file` is as it was. */
enum err backup_write(const char *dir, const char *file, const struct clock *clock,
                      struct backup *out, struct err_text *why);

/* Reads all of it and checks every sum and chain; writes nothing. ERR_DAMAGED, ERR_FORMAT. */
enum err backup_read(const char *file, struct backup *out, struct err_text *why);

/* What else belongs into a restored folder before it counts: keys. */
typedef enum err backup_more(void *owner, const char *dir, struct err_text *why);

/* Makes the hub of `file` in `dir`, which must not be there or be empty (or hold what a restore
 * that was cut short left). The file is read to its end first; the store gets a new generation, its
 * own logs new epochs, and is verified; hub.conf comes last, so a half of it is no hub.
 * On an error `dir` is as it was. */
enum err backup_restore(const char *file, const char *dir, const struct clock *clock,
                        backup_more *more, void *owner, struct backup *out, struct err_text *why);

/* ---- secrets: a file of mode 0600, checksummed like a backup */

/* The files of `dir` with these names that are there. *out_n: how many were. */
enum err secrets_write(const char *dir, const char *const *names, size_t n, const char *file,
                       size_t *out_n, struct err_text *why);
/* Puts them into `dir`. Only plain names; ERR_DENIED: others may read `file`. With `dir` NULL it is
 * only read and checked. */
enum err secrets_restore(const char *file, const char *dir, struct err_text *why);

#endif
