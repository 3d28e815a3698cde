/* spawn_link.c - knockbox-link, started for tcp://. */
#include "client/spawn_link.h"

#include <errno.h>
#include <limits.h>
#include <spawn.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

enum {
    LINK_FD = 3
};

/* /usr/bin/knockbox -> /usr/bin/knockbox-link; the bare name when that is not there. */
static const char *
find_link(char path[PATH_MAX])
{
    ssize_t len = readlink("/proc/self/exe", path, PATH_MAX - 8);
    if (len <= 0)
        return "knockbox-link";
    path[len] = '\0';
    char *slash = strrchr(path, '/');
    if (slash == NULL || (size_t)(slash - path) + sizeof "/knockbox-link" > PATH_MAX)
        return "knockbox-link";
    (void)strcpy(slash, "/knockbox-link");
    return access(path, X_OK) == 0 ? path : "knockbox-link";
}

static int
start(const char *where, const char *key, int theirs, pid_t *out_pid)
{
    char path[PATH_MAX];
    const char *program = find_link(path);
    char *argv[] = {(char *)(uintptr_t) "knockbox-link", (char *)(uintptr_t)where,
                    (char *)(uintptr_t)key, NULL};
    posix_spawn_file_actions_t actions;
    if (posix_spawn_file_actions_init(&actions) != 0)
        return ENOMEM;
    int code = posix_spawn_file_actions_adddup2(&actions, theirs, LINK_FD);
    if (code == 0)
        code = posix_spawnp(out_pid, program, &actions, NULL, argv, environ);
    (void)posix_spawn_file_actions_destroy(&actions);
    return code;
}

enum err
spawn_link(const char *where, const char *key, int *out_fd, pid_t *out_pid, struct err_text *why)
{
    int ends[2];
    if (socketpair(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0, ends) != 0)
        return err_set(ERR_IO, why, "no socket for knockbox-link: %s", strerror(errno));
    int code = start(where, key, ends[1], out_pid);
    (void)close(ends[1]);
    if (code != 0) {
        (void)close(ends[0]);
        return err_set(ERR_PEER, why, "knockbox-link cannot be started: %s", strerror(code));
    }
    *out_fd = ends[0];
    return ERR_OK;
}

int
end_link(pid_t pid)
{
    int status = 0;
    while (waitpid(pid, &status, 0) < 0)
        if (errno != EINTR)
            return -1;
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}
