/* part.h - a file in parts: rows packed with zlib, each part with a checksum that hangs on the one
 * before, an end part last. So a cut, a flipped bit, a part that is missing or in another place is
 * found, and the check of the end part stands for the whole file. docs/store-format.md, "A backup".
 */
#ifndef DAEMON_BACKUP_PART_H
#define DAEMON_BACKUP_PART_H

#include <stddef.h>
#include <stdint.h>
#include "proto/err.h"

enum {
    PART_FORMAT = 1,
    PART_MAGIC = 16,
    PART_CHECK = 32,
    PART_FULL = 256 << 10, /* bytes of rows after which a part is closed */
    PART_MOST = 64 << 20,  /* and with one large row at most this */
    PART_KEY_MOST = 511
};

/* What the rows of a part are; they stand in the file in this order. */
enum part_kind {
    PART_ABOUT = 'a', /* name -> text */
    PART_META = 'm',  /* these five: rows of the store's tables as they stand there */
    PART_LOGS = 'l',
    PART_NOTES = 'n',
    PART_RECORDS = 'r',
    PART_OUTBOX = 'o',
    PART_FILES = 'f', /* name -> bytes of a file of the folder */
    PART_END = 'z'    /* no rows */
};

struct part_row {
    enum part_kind kind;
    const uint8_t *key, *value;
    size_t key_len, value_len;
};

/* ---- writing */

struct part_sink;
/* Writes to `fd` from its start. `name` (lent) is the file's name for the words, `magic` says what kind of file it is. */
enum err part_sink_new(int fd, const char *name, const char magic[PART_MAGIC],
                       struct part_sink **out_sink, struct err_text *why);
/* ERR_FULL, ERR_IO; ERR_INPUT: a row that is too large. */
enum err part_put(struct part_sink *sink, const struct part_row *row, struct err_text *why);
/* The end part; all is handed to the system, not flushed yet. */
enum err part_finish(struct part_sink *sink, uint8_t out_check[PART_CHECK], struct err_text *why);
void part_sink_free(struct part_sink *sink); /* NULL is fine; wipes what was in it */

/* ---- reading */

struct part_source;
/* ERR_FORMAT: another kind of file, or of a newer release. */
enum err part_source_new(int fd, const char *name, const char magic[PART_MAGIC],
                         struct part_source **out_source, struct err_text *why);
/* The next row, lent until the next call. ERR_NOT_FOUND: that was the last, and the end is as it
 * was written. ERR_DAMAGED: cut, changed, or something follows. No byte of a part is looked into
 * before its checksum fits. */
enum err part_next(struct part_source *source, struct part_row *out_row, struct err_text *why);
const uint8_t *part_check(const struct part_source *source); /* after the end: of the whole */
uint64_t part_bytes(const struct part_source *source);       /* read so far */
void part_source_free(struct part_source *source);           /* NULL is fine; wipes */

#endif
