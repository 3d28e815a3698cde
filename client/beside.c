/* beside.c - see beside.h. */
#include "client/beside.h"

#include <errno.h>
#include <spawn.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

const char *
beside(const char *name, char path[PATH_MAX])
{
    static const char *const places[] = {"", "/../libexec/knockbox"};
    char own[PATH_MAX];
    ssize_t len = readlink("/proc/self/exe", own, sizeof own - 1);
    own[len > 0 ? len : 0] = '\0';
    char *slash = strrchr(own, '/');
    for (size_t i = 0; i < sizeof places / sizeof places[0] && slash != NULL; i++) {
        int n = snprintf(path, PATH_MAX, "%.*s%s/%s", (int)(slash - own), own, places[i], name);
        if (n > 0 && n < PATH_MAX && access(path, X_OK) == 0)
            return path;
    }
    return name;
}

static int
start(const char *name, int in, int out, pid_t *out_pid)
{
    char path[PATH_MAX];
    char *argv[] = {(char *)(uintptr_t)name, NULL};
    posix_spawn_file_actions_t actions;
    if (posix_spawn_file_actions_init(&actions) != 0)
        return ENOMEM;
    int code = posix_spawn_file_actions_adddup2(&actions, in, STDIN_FILENO);
    if (code == 0)
        code = posix_spawn_file_actions_adddup2(&actions, out, STDOUT_FILENO);
    if (code == 0)
        code = posix_spawnp(out_pid, beside(name, path), &actions, NULL, argv, environ);
    (void)posix_spawn_file_actions_destroy(&actions);
    return code;
}

enum err
beside_run(const char *name, int in, int out, struct err_text *why)
{
    pid_t pid = 0;
    int status = 0;
    int code = start(name, in, out, &pid);
    if (code != 0)
        return err_set(ERR_IO, why, "%s cannot be started: %s", name, strerror(code));
    while (waitpid(pid, &status, 0) < 0)
        if (errno != EINTR)
            return err_set(ERR_IO, why, "%s: %s", name, strerror(errno));
    return WIFEXITED(status) && WEXITSTATUS(status) == 0
               ? ERR_OK
               : err_set(ERR_IO, why, "%s failed, nothing is written", name);
}
