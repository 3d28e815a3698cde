/* confine_files.c - the Landlock rules: where files are written and programs started from. */
#include "daemon/base/confine_int.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/landlock.h>
#include <stdint.h>
#include <sys/prctl.h>
#include <sys/syscall.h>
#include <unistd.h>

#ifndef LANDLOCK_ACCESS_FS_TRUNCATE /* since version 3 of the interface */
#define LANDLOCK_ACCESS_FS_TRUNCATE (UINT64_C(1) << 14)
#endif

enum {
    TRUNCATE_SINCE = 3
};

static const uint64_t writing = LANDLOCK_ACCESS_FS_WRITE_FILE | LANDLOCK_ACCESS_FS_REMOVE_DIR |
                                LANDLOCK_ACCESS_FS_REMOVE_FILE | LANDLOCK_ACCESS_FS_MAKE_CHAR |
                                LANDLOCK_ACCESS_FS_MAKE_DIR | LANDLOCK_ACCESS_FS_MAKE_REG |
                                LANDLOCK_ACCESS_FS_MAKE_SOCK | LANDLOCK_ACCESS_FS_MAKE_FIFO |
                                LANDLOCK_ACCESS_FS_MAKE_BLOCK | LANDLOCK_ACCESS_FS_MAKE_SYM;

/* What a program of this system needs of it to start: its loader. */
static const char *const loaders[] = {"/lib", "/lib64", "/usr/lib", "/usr/lib64"};

/* true: the rule is there, or there is no such path. */
static bool
allow(int rules, const char *path, uint64_t access)
{
    if (path == NULL)
        return true;
    struct landlock_path_beneath_attr beneath = {access, open(path, O_PATH | O_CLOEXEC)};
    if (beneath.parent_fd < 0)
        return errno == ENOENT || errno == ENOTDIR; /* else: it may be there, and would be closed */
    bool done = syscall(SYS_landlock_add_rule, rules, LANDLOCK_RULE_PATH_BENEATH, &beneath, 0) == 0;
    (void)close(beneath.parent_fd);
    return done;
}

static bool
allow_program(int rules, const char *program)
{
    bool done = allow(rules, program, LANDLOCK_ACCESS_FS_EXECUTE);
    for (size_t i = 0; program != NULL && done && i < sizeof loaders / sizeof loaders[0]; i++)
        done = allow(rules, loaders[i], LANDLOCK_ACCESS_FS_EXECUTE);
    return done;
}

enum confine_result
confine_files(const struct confine_options *options)
{
    long version = syscall(SYS_landlock_create_ruleset, NULL, 0, LANDLOCK_CREATE_RULESET_VERSION);
    if (version < 1)
        return CONFINE_LACKING;
    uint64_t write = writing | (version >= TRUNCATE_SINCE ? LANDLOCK_ACCESS_FS_TRUNCATE : 0);
    struct landlock_ruleset_attr handled = {.handled_access_fs =
                                                write | LANDLOCK_ACCESS_FS_EXECUTE};
    int rules =
        (int)syscall(SYS_landlock_create_ruleset, &handled, sizeof handled.handled_access_fs, 0);
    if (rules < 0)
        return CONFINE_REFUSED;
    bool done = allow(rules, "/dev/null", LANDLOCK_ACCESS_FS_WRITE_FILE) &&
                allow_program(rules, options->program);
    for (size_t i = 0; done && i < CONFINE_FOLDERS; i++)
        done = allow(rules, options->folders[i], write);
    done = done && prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0 &&
           syscall(SYS_landlock_restrict_self, rules, 0) == 0;
    (void)close(rules);
    return done ? CONFINE_DONE : CONFINE_REFUSED;
}
