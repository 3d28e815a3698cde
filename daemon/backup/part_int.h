/* part_int.h - what the writer and the reader of parts share; nobody else includes it.
 *
 * File: magic 16, format 4, oldest format whose programs may read it 4, then parts.
 * Part: kind 1, number 4 (0, 1, 2 ...), length of the rows 4, length packed 4, check 32, bytes.
 * check = BLAKE2b-256(check before ‖ the 13 bytes before it ‖ packed bytes); before the first part
 * stands BLAKE2b-256(the 24 bytes of the file's head). Row: key length 2, value length 4, key, value.
 * Numbers are big-endian.
 */
#ifndef DAEMON_BACKUP_PART_INT_H
#define DAEMON_BACKUP_PART_INT_H

#include "daemon/backup/part.h"

enum {
    FILE_HEAD = PART_MAGIC + 8,
    AT_NUMBER = 1,
    AT_PLAIN = 5,
    AT_PACKED = 9,
    AT_CHECK = 13,
    PART_HEAD = AT_CHECK + PART_CHECK,
    ROW_LENGTHS = 6
};

void part_check_of_head(const uint8_t head[FILE_HEAD], uint8_t out[PART_CHECK]);
/* `head` without its check. */
void part_check_of(const uint8_t before[PART_CHECK], const uint8_t head[AT_CHECK],
                   const uint8_t *packed, size_t len, uint8_t out[PART_CHECK]);

#endif
