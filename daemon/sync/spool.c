/* spool.c - codes, bans and the list of keys as files. */
#include "daemon/sync/spool.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <time.h>
#include <unistd.h>

#include "daemon/base/folder.h"
#include "daemon/record/kind.h"

enum {
    LINE_SIZE = 256,
    LOCK_PATIENCE_MS = 2000
};

enum err
spool_make(const char *dir, struct err_text *why)
{
    char path[PATH_SIZE];
    enum err e = path_join(dir, SPOOL_CODES, path, why);
    return e == ERR_OK ? folder_make(path, 0700, why) : e;
}

/* ---------------------------------------------------------------- codes */

typedef enum err code_visit(void *owner, const char *dir, const char *name, struct err_text *why);

/* Every file of codes/ whose name is a key. */
static enum err
each_code(const char *dir, code_visit *visit, void *owner, struct err_text *why)
{
    char path[PATH_SIZE];
    uint8_t key[KEY_SIZE];
    enum err e = path_join(dir, SPOOL_CODES, path, why);
    if (e != ERR_OK)
        return e;
    DIR *folder = opendir(path);
    if (folder == NULL)
        return errno == ENOENT ? ERR_OK
                               : err_set(ERR_IO, why, "cannot read %s: %s", path, strerror(errno));
    struct dirent *file = NULL;
    while (e == ERR_OK && (file = readdir(folder)) != NULL)
        if (key_parse(file->d_name, key))
            e = visit(owner, path, file->d_name, why);
    (void)closedir(folder);
    return e;
}

static enum err
count_one(void *owner, const char *dir, const char *name, struct err_text *why)
{
    size_t *n = owner;
    (void)dir;
    (void)name;
    (void)why;
    (*n)++;
    return ERR_OK;
}

enum err
spool_issue(const char *dir, const struct key_entry *entry, struct join_code *code,
            const struct clock *clock, struct err_text *why)
{
    char path[PATH_SIZE], name[KEY_TEXT], text[LINE_SIZE * 2];
    struct key_pair pair;
    size_t waiting = 0;
    enum err e = spool_make(dir, why);
    if (e == ERR_OK)
        e = each_code(dir, count_one, &waiting, why);
    if (e == ERR_OK && waiting >= SPOOL_CODES_MOST)
        e = err_set(ERR_BUSY, why,
                    "%d one-time codes wait already: use them or wait until they end",
                    SPOOL_CODES_MOST);
    if (e == ERR_OK)
        e = path_join(dir, SPOOL_CODES, path, why);
    if (e != ERR_OK)
        return e;
    clock->random(clock->owner, code->secret, SECRET_SIZE);
    code_pair(code->secret, &pair);
    (void)key_print(pair.public_key, name);
    keys_wipe(&pair, sizeof pair);
    int n = snprintf(text, sizeof text, "%" PRId64 " %s %s %s\n", entry->expires_ms, entry->role,
                     entry->site, entry->person[0] != '\0' ? entry->person : "-");
    return file_write(path, name, text, (size_t)n, 0600, why);
}

/* "EXPIRES ROLE SITE PERSON" */
static bool
parse_entry(const char *line, struct key_entry *out)
{
    enum role role = ROLE_BIT_READER;
    int at = 0;
    if (sscanf(line, "%15s %64s %n", out->role, out->site, &at) < 2 || at == 0)
        return false;
    (void)snprintf(out->person, sizeof out->person, "%.64s", line + at);
    out->person[strcspn(out->person, "\n")] = '\0';
    if (strcmp(out->person, "-") == 0)
        out->person[0] = '\0';
    out->expires_ms = INT64_MAX;
    out->what = KEY_SITE;
    if (strcmp(out->role, "site") == 0)
        return true;
    out->what = KEY_PERSON;
    if (!role_parse(out->role, &role))
        return false;
    out->roles = (unsigned)role;
    return true;
}

struct scan {
    struct keyring *ring;
    int64_t now_ms;
};

static enum err
read_code(void *owner, const char *dir, const char *name, struct err_text *why)
{
    struct scan *scan = owner;
    struct key_entry entry = {.what = KEY_CODE};
    char path[PATH_SIZE];
    char *text = NULL, *end = NULL;
    size_t len = 0;
    enum err e = path_join(dir, name, path, why);
    if (e == ERR_OK)
        e = file_read(path, &text, &len, why);
    if (e != ERR_OK)
        return e == ERR_NOT_FOUND ? ERR_OK : e; /* used meanwhile */
    int64_t expires = strtoll(text, &end, 10);
    bool fine = end != text && *end == ' ' && parse_entry(end + 1, &entry);
    free(text);
    if (!fine || expires <= scan->now_ms)
        return file_remove(dir, name, why);
    (void)key_parse(name, entry.key); /* each_code() has looked */
    entry.what = KEY_CODE;
    entry.expires_ms = expires;
    return keyring_put(scan->ring, &entry, why);
}

/* Codes in the ring whose file is gone. */
static void
drop_missing(const char *dir, struct keyring *ring)
{
    struct key_entry entry;
    char path[PATH_SIZE], name[KEY_TEXT];
    if (path_join(dir, SPOOL_CODES, path, NULL) != ERR_OK)
        return;
    for (size_t i = 0; keyring_nth(ring, i, &entry);)
        if (entry.what == KEY_CODE && !file_there(path, key_print(entry.key, name)))
            keyring_remove(ring, entry.key);
        else
            i++;
}

enum err
spool_read_codes(const char *dir, struct keyring *ring, const struct clock *clock,
                 struct err_text *why)
{
    struct scan scan = {ring, clock->now_ms(clock->owner)};
    drop_missing(dir, ring);
    return each_code(dir, read_code, &scan, why);
}

enum err
spool_use_code(const char *dir, const uint8_t key[KEY_SIZE], struct err_text *why)
{
    char path[PATH_SIZE], name[KEY_TEXT];
    enum err e = path_join(dir, SPOOL_CODES, path, why);
    return e == ERR_OK ? file_remove(path, key_print(key, name), why) : e;
}

/* ---------------------------------------------------------------- bans */

/* A file of DIR, or "" when it is not there. *out_text is yours. */
static enum err
read_text(const char *dir, const char *name, char **out_text, struct err_text *why)
{
    char path[PATH_SIZE];
    size_t len = 0;
    enum err e = path_join(dir, name, path, why);
    if (e == ERR_OK)
        e = file_read(path, out_text, &len, why);
    if (e != ERR_NOT_FOUND)
        return e;
    *out_text = calloc(1, 1);
    return *out_text != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
}

/* Hub and operator may both add a ban: one after the other, or one of the two is lost. *out_fd is
 * closed by the caller, which ends the lock. */
static enum err
lock_bans(const char *dir, int *out_fd, struct err_text *why)
{
    char path[PATH_SIZE];
    enum err e = path_join(dir, SPOOL_REVOKED ".lock", path, why);
    if (e != ERR_OK)
        return e;
    *out_fd = open(path, O_RDWR | O_CREAT | O_NOFOLLOW | O_CLOEXEC, 0600);
    for (int waited = 0; *out_fd >= 0 && waited < LOCK_PATIENCE_MS; waited += 10) {
        struct timespec moment = {.tv_nsec = 10000000};
        if (flock(*out_fd, LOCK_EX | LOCK_NB) == 0)
            return ERR_OK;
        (void)nanosleep(&moment, NULL);
    }
    if (*out_fd < 0)
        return err_set(ERR_IO, why, "cannot open %.300s: %s", path, strerror(errno));
    (void)close(*out_fd);
    return err_set(ERR_BUSY, why, "another process holds %.300s: end it", path);
}

static enum err
add_ban(const char *dir, const uint8_t key[KEY_SIZE], struct err_text *why)
{
    char name[KEY_TEXT];
    char *text = NULL, *more = NULL;
    enum err e = read_text(dir, SPOOL_REVOKED, &text, why);
    if (e != ERR_OK)
        return e;
    size_t len = strlen(text);
    if (strstr(text, key_print(key, name)) == NULL) {
        more = realloc(text, len + KEY_TEXT + 1);
        if (more != NULL) {
            text = more;
            len += (size_t)snprintf(text + len, KEY_TEXT + 1, "%s\n", name);
            e = len <= (size_t)SPOOL_REVOKED_MOST * KEY_TEXT
                    ? file_write(dir, SPOOL_REVOKED, text, len, 0600, why)
                    : err_set(ERR_FULL, why, "%d keys are revoked already", SPOOL_REVOKED_MOST);
        } else {
            e = err_set(ERR_MEM, why, "out of memory");
        }
    }
    free(text);
    return e;
}

enum err
spool_revoke(const char *dir, const uint8_t key[KEY_SIZE], struct err_text *why)
{
    int lock = -1;
    enum err e = lock_bans(dir, &lock, why);
    if (e != ERR_OK)
        return e;
    e = add_ban(dir, key, why);
    (void)close(lock);
    return e;
}

enum err
spool_read_revoked(const char *dir, spool_visit *visit, void *owner, struct err_text *why)
{
    char *text = NULL, *rest = NULL;
    uint8_t key[KEY_SIZE];
    enum err e = read_text(dir, SPOOL_REVOKED, &text, why);
    if (e != ERR_OK)
        return e;
    for (char *line = strtok_r(text, "\n", &rest); e == ERR_OK && line != NULL;
         line = strtok_r(NULL, "\n", &rest)) {
        if (key_parse(line, key))
            e = visit(owner, key, why);
        else
            e = err_set(ERR_DAMAGED, why, "%.200s/%s has a line that is no key", dir,
                        SPOOL_REVOKED);
    }
    free(text);
    return e;
}

/* ---------------------------------------------------------------- the list of keys */

enum err
spool_write_keys(const char *dir, struct keyring *ring, struct err_text *why)
{
    char *text = NULL;
    size_t len = 0;
    struct key_entry entry;
    char key[KEY_TEXT];
    FILE *out = open_memstream(&text, &len);
    if (out == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    for (size_t i = 0; keyring_nth(ring, i, &entry); i++)
        if (entry.what != KEY_CODE)
            (void)fprintf(out, "%s %s %s %s\n", key_print(entry.key, key), entry.role,
                          entry.site[0] != '\0' ? entry.site : "-",
                          entry.person[0] != '\0' ? entry.person : "-");
    enum err e = fclose(out) == 0 ? file_keep(dir, SPOOL_KEYS, text, len, 0600, why)
                                  : err_set(ERR_MEM, why, "out of memory");
    free(text);
    return e;
}

static bool
is_called(const struct key_entry *entry, const char *hex, const char *name)
{
    size_t len = strlen(name);
    if (len >= 8 && len < KEY_TEXT && strncmp(hex, name, len) == 0)
        return true;
    return entry->what == KEY_SITE ? strcmp(entry->site, name) == 0
                                   : strcmp(entry->person, name) == 0;
}

enum err
spool_find_keys(const char *dir, const char *name, struct key_entry *out, size_t most,
                size_t *out_n, struct err_text *why)
{
    char *text = NULL, *rest = NULL;
    size_t n = 0;
    enum err e = read_text(dir, SPOOL_KEYS, &text, why);
    if (e != ERR_OK)
        return e;
    for (char *line = strtok_r(text, "\n", &rest); line != NULL;
         line = strtok_r(NULL, "\n", &rest)) {
        struct key_entry entry = {.what = KEY_SITE};
        if (strlen(line) < KEY_TEXT || line[KEY_TEXT - 1] != ' ')
            continue;
        line[KEY_TEXT - 1] = '\0';
        if (!key_parse(line, entry.key) || !parse_entry(line + KEY_TEXT, &entry) ||
            !is_called(&entry, line, name))
            continue;
        if (n < most)
            out[n] = entry;
        n++;
    }
    free(text);
    *out_n = n;
    return ERR_OK;
}
