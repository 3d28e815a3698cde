/* spawn_link.c - knockbox-link, started for tcp://. */
#include "client/spawn_link.h"

#include <errno.h>
#include <spawn.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>
#include "client/beside.h"

enum {
    LINK_FD = 3
};

static int
start(const char *where, const char *key, int theirs, pid_t *out_pid)
{
    char path[PATH_MAX];
    const char *program = beside("knockbox-link", path);
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
