/* fuzz_backup.c - a backup file of unknown origin: refused or read, in bounded memory.
 *
 * The bytes are taken twice: as a file, where the checksums stop nearly everything, and as the rows
 * that stand in one (kind 1, length of the key 2, of the value 4, key, value), where they do not.
 * corpus/backup/rows holds those of tests/golden/v1/hub.backup. */
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "daemon/backup/backup_int.h"
#include "tests/fuzz/fuzz.h"

static void
as_file(const uint8_t *data, size_t size)
{
    struct err_text why = {.s = ""};
    struct backup backup;
    int fd = memfd_create("backup", MFD_CLOEXEC);
    if (fd < 0 || write(fd, data, size) != (ssize_t)size || lseek(fd, 0, SEEK_SET) != 0)
        abort();
    enum err e = backup_scan(fd, "a backup", NULL, NULL, &backup, &why);
    if (e != ERR_OK && why.s[0] == '\0')
        abort(); /* refused without a word */
    backup_done(&backup);
    (void)close(fd);
}

static void
as_rows(const uint8_t *data, size_t size)
{
    struct err_text why = {.s = ""};
    struct content content;
    enum err e = ERR_OK;
    content_init(&content, "rows");
    for (size_t at = 0; e == ERR_OK && size - at >= 7;) {
        size_t key = (size_t)get_number(data + at + 1, 2), value = get_number(data + at + 3, 4);
        if (key > PART_KEY_MOST || key > size - at - 7 || value > size - at - 7 - key)
            break;
        struct part_row row = {.kind = data[at],
                               .key = data + at + 7,
                               .key_len = key,
                               .value = data + at + 7 + key,
                               .value_len = value};
        e = content_row(&content, &row, &why);
        at += 7 + key + value;
    }
    if (e == ERR_OK)
        e = content_end(&content, &why);
    if (e != ERR_OK && why.s[0] == '\0')
        abort();
    content_done(&content);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    as_file(data, size);
    as_rows(data, size);
    return 0;
}
