/* backed.h - how far each log stands in a backup: what the hub declares to its sites.
 *
 * `knockbox-hub backup` writes DIR/backed-up when a backup is whole on the disk; the running hub
 * reads it. Lines: `made MS`, `generation HEX` (of the store that was backed up: the marks hold for
 * no other), then `SEQ EPOCH MARK SITE` for each log.
 */
#ifndef DAEMON_SYNC_BACKED_H
#define DAEMON_SYNC_BACKED_H

#include "daemon/store/store.h"

#define BACKED_FILE "backed-up"

struct backed {
    int64_t made_ms; /* 0: no backup is known */
    uint8_t generation[MARK_SIZE];
    struct log_mark *marks; /* site, epoch, mark and seq; n of them */
    size_t n;
};

enum err backed_write(const char *dir, const struct backed *backed, struct err_text *why);
/* *out is yours: backed_done(). Without a file it is empty. ERR_DAMAGED: a line makes no sense. */
enum err backed_read(const char *dir, struct backed *out, struct err_text *why);
void backed_done(struct backed *backed);

/* Records of this log that stand in the backup: 1 .. the answer; 0: none. */
uint64_t backed_seq(const struct backed *backed, const char *site, const struct log_mark *log);
/* Records of all logs of the site that do. */
uint64_t backed_count(const struct backed *backed, const char *site);

#endif
