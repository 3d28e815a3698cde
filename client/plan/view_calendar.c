/* view_calendar.c - starts knockbox-calendar: the plan goes in by a file in memory and comes out by
 * another, so neither side can wait for the other.
 */
#include <errno.h>
#include <spawn.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>
#include "client/beside.h"
#include "client/plan/view_print.h"

static const char program[] = "knockbox-calendar";

static int
start(int in, int out, pid_t *out_pid)
{
    char path[PATH_MAX], name[] = "knockbox-calendar";
    char *argv[] = {name, NULL};
    posix_spawn_file_actions_t actions;
    if (posix_spawn_file_actions_init(&actions) != 0)
        return ENOMEM;
    int code = posix_spawn_file_actions_adddup2(&actions, in, STDIN_FILENO);
    if (code == 0)
        code = posix_spawn_file_actions_adddup2(&actions, out, STDOUT_FILENO);
    if (code == 0)
        code = posix_spawnp(out_pid, beside(program, path), &actions, NULL, argv, environ);
    (void)posix_spawn_file_actions_destroy(&actions);
    return code;
}

static enum err
wait_for(pid_t pid, struct err_text *why)
{
    int status = 0;
    while (waitpid(pid, &status, 0) < 0)
        if (errno != EINTR)
            return err_set(ERR_PEER, why, "%s: %s", program, strerror(errno));
    return WIFEXITED(status) && WEXITSTATUS(status) == 0
               ? ERR_OK
               : err_set(ERR_PEER, why, "%s made no calendar", program);
}

static enum err
copy_out(int from, FILE *f, struct err_text *why)
{
    char piece[4096];
    ssize_t n;
    if (lseek(from, 0, SEEK_SET) != 0)
        return err_set(ERR_IO, why, "the calendar: %s", strerror(errno));
    while ((n = read(from, piece, sizeof piece)) > 0)
        (void)fwrite(piece, 1, (size_t)n, f);
    return n == 0 ? ERR_OK : err_set(ERR_IO, why, "the calendar: %s", strerror(errno));
}

static enum err
run(int in, int out, const json_t *view, FILE *f, struct err_text *why)
{
    pid_t pid = 0;
    if (json_dumpfd(view, in, JSON_COMPACT) != 0 || lseek(in, 0, SEEK_SET) != 0)
        return err_set(ERR_IO, why, "the plan for %s: %s", program, strerror(errno));
    int code = start(in, out, &pid);
    if (code != 0)
        return err_set(ERR_PEER, why, "%s cannot be started: %s", program, strerror(code));
    enum err e = wait_for(pid, why);
    return e == ERR_OK ? copy_out(out, f, why) : e;
}

enum err
view_print_calendar(const json_t *view, FILE *f, struct err_text *why)
{
    int in = memfd_create("plan", MFD_CLOEXEC), out = memfd_create("calendar", MFD_CLOEXEC);
    enum err e = in >= 0 && out >= 0 ? run(in, out, view, f, why)
                                     : err_set(ERR_IO, why, "the calendar: %s", strerror(errno));
    if (in >= 0)
        (void)close(in);
    if (out >= 0)
        (void)close(out);
    return e;
}
