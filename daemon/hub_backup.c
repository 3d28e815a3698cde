/* hub_backup.c - knockbox-hub backup, verify-backup, restore. */
#include "daemon/hub_backup.h"

#include <ctype.h>
#include <dirent.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "daemon/backup/backup.h"
#include "daemon/base/config.h"
#include "daemon/base/diag.h"
#include "daemon/base/folder.h"
#include "daemon/base/process.h"
#include "daemon/exchange/setup.h"
#include "daemon/sync/backed.h"
#include "daemon/sync/keys.h"

enum {
    SECRETS_MOST = 256,
    NAME_SIZE = 160,
    KEEP_MOST = 10000
};

/* ---------------------------------------------------------------- what is said */

static void
instant_text(int64_t ms, char out[32])
{
    time_t seconds = (time_t)(ms / 1000);
    struct tm tm;
    memset(&tm, 0, sizeof tm);
    (void)gmtime_r(&seconds, &tm);
    (void)strftime(out, 32, "%Y-%m-%dT%H:%M:%SZ", &tm);
}

static void
print_hex(const uint8_t *bytes, size_t n)
{
    for (size_t i = 0; i < n; i++)
        (void)printf("%02x", bytes[i]);
}

/* Text of the file, safe for a terminal. */
static void
print_clean(const char *text)
{
    char line[DIAG_LINE];
    (void)diag_clean(text, line, sizeof line);
    (void)fputs(line, stdout);
}

static void
print_logs(const struct content *content)
{
    for (uint32_t i = 0; i < content->n_logs; i++) {
        const struct log_mark *log = &content->logs[i].head;
        const struct chain_end *end = &content->logs[i].end;
        if (end->seq == 0)
            continue;
        (void)printf("site ");
        print_clean(log->site);
        (void)printf(" epoch %" PRIu32 " records 1 to %" PRIu64 " head ", log->epoch, end->seq);
        print_hex(end->hash, HASH_SIZE);
        (void)printf("\n");
    }
}

static void
print_backup(const struct backup *backup)
{
    char made[32], held[32] = "none";
    const struct content *content = &backup->content;
    instant_text(content->made_ms, made);
    if (content->records > 0)
        instant_text(content->held_ms, held);
    (void)printf("hub ");
    print_clean(content->site);
    (void)printf("\nmade %s by ", made);
    print_clean(content->made_by);
    (void)printf("\nrecords %" PRIu64 ", the latest held %s\n", content->records, held);
    print_logs(content);
    (void)printf("files ");
    print_clean(backup->files);
    (void)printf("\nbytes %" PRIu64 "\nchecksum ", backup->bytes);
    print_hex(backup->check, PART_CHECK);
    (void)printf("\n");
}

/* ---------------------------------------------------------------- names in a folder of backups */

static bool
is_folder(const char *path)
{
    struct stat st;
    return stat(path, &st) == 0 && S_ISDIR(st.st_mode);
}

/* knockbox-SITE-20260303T214000Z.backup: in order of name is in order of time. */
static void
name_of(const char *site, int64_t now_ms, char out[NAME_SIZE])
{
    char safe[65];
    size_t n = 0;
    for (; site[n] != '\0' && n < sizeof safe - 1; n++)
        safe[n] = isalnum((unsigned char)site[n]) != 0 ? site[n] : '-';
    safe[n] = '\0';
    time_t seconds = (time_t)(now_ms / 1000);
    struct tm tm;
    memset(&tm, 0, sizeof tm);
    (void)gmtime_r(&seconds, &tm);
    int len = snprintf(out, NAME_SIZE, "knockbox-%s-", safe);
    (void)strftime(out + len, NAME_SIZE - (size_t)len, "%Y%m%dT%H%M%SZ.backup", &tm);
}

/* Is it such a name, of the same site as `like`? */
static bool
is_alike(const char *name, const char *like)
{
    size_t len = strlen(like), tail = strlen("20260303T214000Z.backup");
    if (strlen(name) != len || strncmp(name, like, len - tail) != 0)
        return false;
    for (size_t i = len - tail; i < len; i++) {
        bool digits = isdigit((unsigned char)like[i]) != 0;
        if (digits ? isdigit((unsigned char)name[i]) == 0 : name[i] != like[i])
            return false;
    }
    return true;
}

static int
by_name(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Those of `dir` that are alike, by name; *out_names is yours. */
static enum err
list_alike(const char *dir, const char *like, char ***out_names, size_t *out_n,
           struct err_text *why)
{
    DIR *folder = opendir(dir);
    char **names = NULL;
    size_t n = 0;
    struct dirent *file = NULL;
    enum err e = folder != NULL ? ERR_OK : err_set(ERR_IO, why, "cannot read %.300s", dir);
    while (e == ERR_OK && (file = readdir(folder)) != NULL) {
        if (!is_alike(file->d_name, like))
            continue;
        char **more = realloc(names, (n + 1) * sizeof *more);
        char *name = more != NULL ? strdup(file->d_name) : NULL;
        names = more != NULL ? more : names;
        if (name != NULL)
            names[n++] = name;
        else
            e = err_set(ERR_MEM, why, "out of memory");
    }
    if (folder != NULL)
        (void)closedir(folder);
    if (n > 1)
        qsort(names, n, sizeof *names, by_name);
    *out_names = names;
    *out_n = n;
    return e;
}

/* Removes the oldest, so that `keep` are left; the new one is the last by name, or stays as well. */
static enum err
keep_newest(const char *dir, const char *fresh, size_t keep, struct err_text *why)
{
    char **names = NULL;
    size_t n = 0;
    enum err e = list_alike(dir, fresh, &names, &n, why);
    for (size_t i = 0; e == ERR_OK && i + keep < n; i++)
        if (strcmp(names[i], fresh) != 0)
            e = file_remove(dir, names[i], why);
    for (size_t i = 0; i < n; i++)
        free(names[i]);
    free(names);
    return e;
}

static enum err
read_keep(const char *text, size_t *out_keep, struct err_text *why)
{
    char *end = NULL;
    unsigned long keep = text != NULL ? strtoul(text, &end, 10) : 0;
    *out_keep = keep;
    if (text == NULL ||
        (isdigit((unsigned char)text[0]) != 0 && *end == '\0' && keep >= 1 && keep <= KEEP_MOST))
        return ERR_OK;
    return err_input(why, "--keep", text, "1 to 10000 backups to keep");
}

/* ---------------------------------------------------------------- backup */

/* hub.key, and what delivery.conf names. Pointers are lent by `setup`. */
static size_t
secret_names(const struct setup *setup, const char *names[SECRETS_MOST])
{
    static const char *const keys[] = {"credentials", "key", "ca", "known_hosts"};
    size_t n = 0;
    const struct target *target = NULL;
    names[n++] = HUB_KEY_FILE;
    for (size_t i = 0; (target = setup_target_at(setup, i)) != NULL; i++)
        for (size_t k = 0; k < sizeof keys / sizeof keys[0] && n < SECRETS_MOST; k++) {
            const char *name = config_text(target->config, keys[k]);
            bool known = name[0] == '\0';
            for (size_t j = 0; j < n && !known; j++)
                known = strcmp(names[j], name) == 0;
            if (!known)
                names[n++] = name;
        }
    return n;
}

static enum err
write_secrets(const char *dir, const char *file, struct err_text *why)
{
    const char *names[SECRETS_MOST];
    struct setup *setup = NULL;
    size_t n = 0;
    if (file == NULL)
        return ERR_OK;
    enum err e = setup_load(dir, &setup, why);
    if (e == ERR_OK)
        e = secrets_write(dir, names, secret_names(setup, names), file, &n, why);
    setup_free(setup);
    if (e == ERR_OK)
        (void)fprintf(stderr, "knockbox-hub: %zu secret files are in %s: keep it apart\n", n, file);
    return e;
}

/* Run as root: the hub's own user must be able to read it. */
static void
give_to_owner(const char *dir, const char *name)
{
    char path[PATH_SIZE];
    struct stat st;
    if (geteuid() == 0 && stat(dir, &st) == 0 && path_join(dir, name, path, NULL) == ERR_OK)
        (void)!lchown(path, st.st_uid, st.st_gid); /* a courtesy */
}

/* The hub that runs declares it from now on. A backup is one without it, too. */
static void
declare(const char *dir, const struct backup *backup)
{
    const struct content *content = &backup->content;
    struct err_text why = {.s = ""};
    struct backed backed = {.made_ms = content->made_ms};
    backed.marks = calloc(content->n_logs + 1, sizeof *backed.marks);
    enum err e = backed.marks != NULL ? ERR_OK : err_set(ERR_MEM, &why, "out of memory");
    memcpy(backed.generation, content->generation, MARK_SIZE);
    for (uint32_t i = 0; e == ERR_OK && i < content->n_logs; i++) {
        if (content->logs[i].end.seq == 0)
            continue;
        backed.marks[backed.n] = content->logs[i].head;
        backed.marks[backed.n++].seq = content->logs[i].end.seq;
    }
    if (e == ERR_OK)
        e = backed_write(dir, &backed, &why);
    if (e == ERR_OK)
        give_to_owner(dir, BACKED_FILE);
    if (e != ERR_OK)
        (void)fprintf(stderr, "knockbox-hub: the backup is whole, but `status` cannot tell: %s\n",
                      why.s);
    backed_done(&backed);
}

enum err
hub_backup(const char *const *words, const char *const *values, struct err_text *why)
{
    const char *dir = words[0], *to = words[1];
    char file[PATH_SIZE], name[NAME_SIZE] = "";
    struct config *config = NULL;
    struct backup backup;
    struct clock clock = clock_system();
    size_t keep = 0;
    memset(&backup, 0, sizeof backup);
    process_harden();
    enum err e = read_keep(values[1], &keep, why);
    if (e == ERR_OK && keep != 0 && !is_folder(to))
        e = err_set(ERR_USAGE, why, "--keep goes with a folder to write to");
    if (e == ERR_OK)
        e = config_load(dir, &config_hub, &config, why);
    if (e == ERR_NOT_FOUND)
        e = err_set(e, why, "%.300s has no hub", dir);
    if (e == ERR_OK && is_folder(to)) {
        name_of(config_text(config, "site.name"), clock.now_ms(clock.owner), name);
        e = path_join(to, name, file, why);
    } else if (e == ERR_OK && (size_t)snprintf(file, sizeof file, "%s", to) >= sizeof file) {
        e = err_set(ERR_INPUT, why, "%.200s...: the path is too long", to);
    }
    if (e == ERR_OK)
        e = write_secrets(dir, values[0], why);
    if (e == ERR_OK)
        e = backup_write(dir, file, &clock, &backup, why);
    if (e == ERR_OK) {
        (void)printf("%s\n", file);
        print_backup(&backup);
        declare(dir, &backup);
    }
    if (e == ERR_OK && keep != 0)
        e = keep_newest(to, name, keep, why);
    backup_done(&backup);
    config_free(config);
    return e;
}

enum err
hub_verify_backup(const char *const *words, const char *const *values, struct err_text *why)
{
    struct backup backup;
    (void)values;
    process_harden();
    enum err e = backup_read(words[0], &backup, why);
    if (e == ERR_OK)
        print_backup(&backup);
    backup_done(&backup);
    return e;
}

/* ---------------------------------------------------------------- restore */

/* The keys that were kept apart, or a new pair that no café knows. `owner`: their file, or NULL. */
static enum err
put_keys(void *owner, const char *dir, struct err_text *why)
{
    struct key_file file;
    memset(&file, 0, sizeof file);
    if (owner != NULL)
        return secrets_restore(owner, dir, why);
    enum err e = key_pair_new(&file.own, why);
    if (e == ERR_OK)
        e = key_file_write(dir, HUB_KEY_FILE, &file, why);
    keys_wipe(&file, sizeof file);
    return e;
}

static void
say_restored(const struct backup *backup, bool has_keys)
{
    char made[32];
    instant_text(backup->content.made_ms, made);
    (void)printf("restored %" PRIu64 " records of %s\n", backup->content.records, made);
    (void)fprintf(
        stderr,
        "knockbox-hub: cafés send again what it lacks, as soon as it runs. What was "
        "enrolled, renewed, revoked or written at the hub itself since then is not in it: revoke "
        "again, or put the file `revoked` of the old folder in its place\n");
    if (!has_keys)
        (void)fprintf(stderr, "knockbox-hub: it has a new key, which no café knows: without "
                              "--keys each café and desk is enrolled anew\n");
}

enum err
hub_restore(const char *const *words, const char *const *values, struct err_text *why)
{
    struct backup backup;
    struct clock clock = clock_system();
    char *keys = values[0] != NULL ? strdup(values[0]) : NULL;
    memset(&backup, 0, sizeof backup);
    process_harden();
    enum err e =
        values[0] == NULL || keys != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    if (e == ERR_OK && keys != NULL)
        e = secrets_restore(keys, NULL, why); /* whole, before anything is made */
    if (e == ERR_OK)
        e = backup_restore(words[0], words[1], &clock, put_keys, keys, &backup, why);
    if (e == ERR_OK)
        say_restored(&backup, keys != NULL);
    backup_done(&backup);
    free(keys);
    return e;
}
