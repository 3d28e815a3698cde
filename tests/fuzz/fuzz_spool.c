/* fuzz_spool.c - the files that operator and hub leave each other: a code, the list of keys, the
 * list of bans. The first byte says which, the rest is the file. */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/sync/spool.h"
#include "tests/fuzz/fuzz.h"

#define CODE_NAME "0101010101010101010101010101010101010101010101010101010101010101"

static const char *const files[] = {SPOOL_CODES "/" CODE_NAME, SPOOL_KEYS, SPOOL_REVOKED};

static char dir[64];

static void
make_dir(void)
{
    const char *place = access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp";
    (void)snprintf(dir, sizeof dir, "%s/knockbox-fuzz-XXXXXX", place);
    if (mkdtemp(dir) == NULL || spool_make(dir, NULL) != ERR_OK)
        abort();
}

static void
remove_dir(void)
{
    char path[256];
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        (void)snprintf(path, sizeof path, "%s/%s", dir, files[i]);
        (void)unlink(path); /* may not be there */
    }
    (void)snprintf(path, sizeof path, "%s/%s", dir, SPOOL_CODES);
    (void)rmdir(path);
    (void)rmdir(dir);
}

static void
put_file(const char *name, const uint8_t *data, size_t size)
{
    char path[256];
    (void)snprintf(path, sizeof path, "%s/%s", dir, name);
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    if (fd < 0 || write(fd, data, size) != (ssize_t)size)
        abort();
    (void)close(fd);
}

static enum err
ban(void *owner, const uint8_t key[KEY_SIZE], struct err_text *why)
{
    return keyring_ban(owner, key, why);
}

/* Names and roles that came in are whole texts. */
static void
expect_entry(const struct key_entry *entry)
{
    if (memchr(entry->site, '\0', sizeof entry->site) == NULL ||
        memchr(entry->person, '\0', sizeof entry->person) == NULL ||
        memchr(entry->role, '\0', sizeof entry->role) == NULL)
        abort();
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct err_text why = {.s = ""};
    struct keyring *ring = NULL;
    struct key_entry found[4];
    struct clock clock = clock_system();
    size_t n = 0;
    if (size == 0 || keyring_new(&ring, &why) != ERR_OK)
        return 0;
    make_dir();
    put_file(files[data[0] % 3], data + 1, size - 1);
    (void)spool_read_codes(dir, ring, &clock, &why);
    for (size_t i = 0; keyring_nth(ring, i, &found[0]); i++)
        expect_entry(&found[0]);
    if (spool_find_keys(dir, "quayside", found, 4, &n, &why) == ERR_OK)
        for (size_t i = 0; i < n && i < 4; i++)
            expect_entry(&found[i]);
    (void)spool_read_revoked(dir, ban, ring, &why);
    keyring_free(ring);
    remove_dir();
    return 0;
}
