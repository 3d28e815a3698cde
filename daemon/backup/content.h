/* content.h - does what a backup holds fit together? One judge for who writes, reads and restores.
 *
 * Rows come in the order of enum part_kind. Every value has its check, every record its arrival
 * number, its place in its log and its chain hash, every log ends where its head says.
 */
#ifndef DAEMON_BACKUP_CONTENT_H
#define DAEMON_BACKUP_CONTENT_H

#include "daemon/backup/part.h"
#include "daemon/store/row.h"
#include "daemon/store/store.h"

extern const char backup_magic[PART_MAGIC];
#define ABOUT_MADE "made_ms"
#define ABOUT_BY "made_by"
#define ABOUT_RECORDS "records"

struct content_log {
    struct log_mark head; /* as it stands in the backup */
    struct chain_end end; /* followed so far */
};

struct content {
    const char *name;  /* lent: of the file or folder, for the words */
    enum part_kind at; /* kind of the last row; 0: none yet */
    int64_t made_ms;
    char made_by[64];
    uint64_t said_records; /* as `about` says */
    char site[SITE_SIZE];
    uint8_t generation[MARK_SIZE];
    bool has_generation;
    uint64_t format, reads_from; /* of the store; 0: not seen */
    struct content_log *logs;    /* n_logs, by number - 1 */
    uint32_t n_logs, room;
    uint64_t records, notes, outbox;
    int64_t held_ms;   /* latest of a record, 0: none */
    struct row record; /* the last one; its pointers are lent with its row */
};

void content_init(struct content *content, const char *name);
void content_done(struct content *content);

/* Takes the next row. ERR_DAMAGED: it does not fit. ERR_FORMAT: the store is of a newer release. */
enum err content_row(struct content *content, const struct part_row *row, struct err_text *why);
/* All rows were taken: is it all there? */
enum err content_end(const struct content *content, struct err_text *why);

#endif
