/* test_spool.c - what operator and hub leave each other in files. Common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "daemon/base/folder.h"
#include "daemon/sync/spool.h"

enum {
    WRITERS = 4,
    BANS = 25
};

static void
remove_all(const char *dir)
{
    char path[PATH_SIZE];
    struct dirent *file = NULL;
    DIR *folder = opendir(dir);
    while (folder != NULL && (file = readdir(folder)) != NULL) {
        snprintf(path, sizeof path, "%s/%s", dir, file->d_name);
        if (strcmp(file->d_name, "codes") == 0)
            remove_all(path);
        else
            unlink(path);
    }
    if (folder != NULL)
        closedir(folder);
    rmdir(dir);
}

static enum err
count(void *owner, const uint8_t key[KEY_SIZE], struct err_text *why)
{
    (void)key;
    (void)why;
    (*(int *)owner)++;
    return ERR_OK;
}

/* A hub that bans and an operator who revokes at the same time. */
Test(spool, no_ban_is_lost_when_several_write_at_once, .timeout = 50)
{
    char dir[] = "/tmp/knockbox-test-XXXXXX";
    int n = 0;
    cr_assert(mkdtemp(dir) != NULL);
    for (uint8_t w = 0; w < WRITERS; w++) {
        if (fork() != 0)
            continue;
        for (uint8_t i = 0; i < BANS; i++) {
            uint8_t key[KEY_SIZE] = {w, i};
            if (spool_revoke(dir, key, NULL) != ERR_OK)
                _exit(1);
        }
        _exit(0);
    }
    for (int w = 0; w < WRITERS; w++) {
        int status = 1;
        cr_assert(wait(&status) > 0);
        cr_expect(eq(int, status, 0));
    }
    cr_expect(eq(int, spool_read_revoked(dir, count, &n, NULL), ERR_OK));
    cr_expect(eq(int, n, WRITERS *BANS));
    remove_all(dir);
}

Test(spool, a_code_holds_until_its_time_and_once, .timeout = 20)
{
    char dir[] = "/tmp/knockbox-test-XXXXXX";
    struct clock clock = clock_system();
    struct keyring *ring = NULL;
    struct key_entry entry = {.site = "quayside", .role = "site"}, found;
    struct join_code code = {.endpoint = "tcp://127.0.0.1:7749"};
    struct key_pair pair;
    int64_t now = clock.now_ms(clock.owner);
    cr_assert(mkdtemp(dir) != NULL);
    cr_assert(keyring_new(&ring, NULL) == ERR_OK);
    entry.expires_ms = now + 60000;
    cr_assert(spool_issue(dir, &entry, &code, &clock, NULL) == ERR_OK);
    cr_assert(spool_read_codes(dir, ring, &clock, NULL) == ERR_OK);
    code_pair(code.secret, &pair);
    cr_expect(keyring_find(ring, pair.public_key, now, &found));
    cr_expect(eq(int, found.what, KEY_CODE));
    cr_expect(not(keyring_find(ring, pair.public_key, now + 60000, &found)));
    cr_assert(spool_use_code(dir, pair.public_key, NULL) == ERR_OK);
    cr_assert(spool_read_codes(dir, ring, &clock, NULL) == ERR_OK);
    cr_expect(not(keyring_find(ring, pair.public_key, now, &found)));
    keyring_free(ring);
    remove_all(dir);
}

Test(spool, at_most_64_codes_wait, .timeout = 20)
{
    char dir[] = "/tmp/knockbox-test-XXXXXX";
    struct clock clock = clock_system();
    struct key_entry entry = {.site = "quayside", .role = "site"};
    struct join_code code = {.endpoint = "tcp://127.0.0.1:7749"};
    entry.expires_ms = clock.now_ms(clock.owner) + 60000;
    cr_assert(mkdtemp(dir) != NULL);
    for (int i = 0; i < SPOOL_CODES_MOST; i++)
        cr_assert(spool_issue(dir, &entry, &code, &clock, NULL) == ERR_OK);
    cr_expect(eq(int, spool_issue(dir, &entry, &code, &clock, NULL), ERR_BUSY));
    remove_all(dir);
}
