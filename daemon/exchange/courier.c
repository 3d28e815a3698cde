/* courier.c - one conversation with knockbox-send.
 *
 * It says, a line each: "file N" (so many have arrived), and at its end "sent", "later WORDS" or
 * "never WORDS". A last line that does not come counts as "later".
 */
#include "daemon/exchange/courier.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "daemon/base/diag.h"

enum {
    CPU_S = 60,
    FILES = 64,
    SCRATCH_MOST = 64 << 20, /* of a spreadsheet in the making */
    WORDS = 512,
    ENV_MOST = 3
};

struct courier {
    struct loop *loop;
    struct courier_handler handler;
    pid_t pid;
    int fd;
    uint8_t *job;
    size_t len, sent;
    int64_t deadline_ms;
    char line[WORDS]; /* what came of the line so far */
    size_t used;
    bool too_long; /* of a line: the rest is passed over */
    bool has_end;
    enum courier_end end;
    char said[WORDS];
};

static int64_t
now_ms(void)
{
    struct timespec t;
    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* ---------------------------------------------------------------- starting */

/* Beside this program, or where make install puts it. */
const char *
courier_program(const char *given, char *out, size_t size)
{
    char self[2048];
    ssize_t n = readlink("/proc/self/exe", self, sizeof self - 1);
    self[n > 0 ? n : 0] = '\0';
    char *slash = strrchr(self, '/');
    if (slash != NULL)
        *slash = '\0';
    if (given != NULL)
        (void)snprintf(out, size, "%s", given);
    else
        (void)snprintf(out, size, "%s/knockbox-send", self);
    if (given == NULL && access(out, X_OK) != 0)
        (void)snprintf(out, size, "%s/../libexec/knockbox/knockbox-send", self);
    return out;
}

static void
limit(pid_t pid, int what, uint64_t most)
{
    struct rlimit l = {(rlim_t)most, (rlim_t)most};
    (void)prlimit(pid, (__rlimit_resource_t)what, &l, NULL); /* without it the wall clock holds */
}

static void
set_limits(pid_t pid)
{
    limit(pid, RLIMIT_CPU, CPU_S);
    limit(pid, RLIMIT_CORE, 0);
    limit(pid, RLIMIT_NOFILE, FILES);
#ifndef __SANITIZE_ADDRESS__ /* its shadow memory is larger than any limit */
    limit(pid, RLIMIT_FSIZE, SCRATCH_MOST);
    limit(pid, RLIMIT_AS, (uint64_t)1024 << 20);
#endif
}

/* Nothing of ours: no proxy, no home, no settings of a library. A sanitized build keeps where its
 * reports go. */
static void
fill_environment(char text[PATH_MAX], char *env[ENV_MOST])
{
    size_t n = 0;
    env[n++] = (char *)(uintptr_t) "LC_ALL=C";
#if defined(__SANITIZE_ADDRESS__)
    const char *options = getenv("ASAN_OPTIONS");
    if (options != NULL) {
        (void)snprintf(text, PATH_MAX, "ASAN_OPTIONS=%s", options);
        env[n++] = text;
    }
#else
    (void)text;
#endif
    env[n] = NULL;
}

static int
spawn(struct courier *courier, const char *program, int end)
{
    char *const argv[] = {(char *)(uintptr_t) "knockbox-send", NULL};
    char text[PATH_MAX], *env[ENV_MOST];
    posix_spawn_file_actions_t actions;
    posix_spawnattr_t attr;
    sigset_t none;
    fill_environment(text, env);
    int rc = posix_spawn_file_actions_init(&actions);
    if (rc != 0)
        return rc;
    (void)posix_spawnattr_init(&attr);
    (void)sigemptyset(&none); /* the loop blocks what ends us: not in there */
    (void)posix_spawnattr_setsigmask(&attr, &none);
    (void)posix_spawnattr_setflags(&attr, POSIX_SPAWN_SETSIGMASK);
    rc = posix_spawn_file_actions_adddup2(&actions, end, 0);
    if (rc == 0)
        rc = posix_spawn_file_actions_adddup2(&actions, end, 1);
    if (rc == 0)
        rc = posix_spawn_file_actions_addopen(&actions, 2, "/dev/null", O_WRONLY, 0);
    if (rc == 0)
        rc = posix_spawn(&courier->pid, program, &actions, &attr, argv, env);
    (void)posix_spawnattr_destroy(&attr);
    (void)posix_spawn_file_actions_destroy(&actions);
    return rc;
}

static enum err
run_program(struct courier *courier, const char *given, struct err_text *why)
{
    char program[PATH_MAX];
    int ends[2];
    (void)courier_program(given, program, sizeof program);
    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends) != 0)
        return err_set(ERR_IO, why, "no socket for knockbox-send: %s", strerror(errno));
    int rc = spawn(courier, program, ends[1]);
    (void)close(ends[1]);
    if (rc != 0) {
        (void)close(ends[0]);
        courier->pid = 0;
        return err_set(ERR_IO, why, "%.300s: %s", program, strerror(rc));
    }
    courier->fd = ends[0];
    (void)fcntl(courier->fd, F_SETFL, O_NONBLOCK);
    set_limits(courier->pid);
    return ERR_OK;
}

/* ---------------------------------------------------------------- ending */

static void
wipe_job(struct courier *courier)
{
    if (courier->job != NULL)
        explicit_bzero(courier->job, courier->len);
    free(courier->job);
    courier->job = NULL;
}

static int
end_process(struct courier *courier)
{
    int status = 0;
    if (courier->fd >= 0) {
        loop_remove(courier->loop, NULL, courier->fd);
        (void)close(courier->fd);
        courier->fd = -1;
    }
    if (courier->pid <= 0)
        return 0;
    if (!courier->has_end)
        (void)kill(courier->pid, SIGKILL); /* ours, not waited for yet: the number is its own */
    for (int tries = 0; tries < 50 && waitpid(courier->pid, &status, WNOHANG) == 0; tries++) {
        struct timespec moment = {.tv_nsec = 1000000};
        if (tries == 20)
            (void)kill(courier->pid, SIGKILL);
        (void)nanosleep(&moment, NULL);
    }
    courier->pid = 0;
    return status;
}

void
courier_stop(struct courier *courier)
{
    if (courier == NULL)
        return;
    (void)end_process(courier);
    wipe_job(courier);
    free(courier);
}

static void
finish(struct courier *courier)
{
    int status = end_process(courier);
    if (!courier->has_end) {
        courier->end = COURIER_LATER;
        if (courier->said[0] == '\0' && WIFSIGNALED(status))
            (void)snprintf(courier->said, WORDS, "knockbox-send was ended by signal %d",
                           WTERMSIG(status));
        else if (courier->said[0] == '\0')
            (void)snprintf(courier->said, WORDS, "knockbox-send ended without a word");
    }
    courier->handler.ended(courier->handler.owner, courier->end, courier->said);
    courier_stop(courier);
}

void
courier_watch(struct courier *courier)
{
    if (now_ms() < courier->deadline_ms || courier->has_end)
        return;
    (void)snprintf(courier->said, WORDS, "it took too long and was stopped");
    finish(courier);
}

/* ---------------------------------------------------------------- talking */

static const struct {
    const char *word;
    enum courier_end end;
} ends[] = {{"sent", COURIER_SENT}, {"later", COURIER_LATER}, {"never", COURIER_NEVER}};

static void
take_line(struct courier *courier)
{
    unsigned long files = 0;
    char more = 0;
    const char *line = courier->line;
    if (courier->has_end)
        return;
    if (sscanf(line, "file %lu%c", &files, &more) == 1 && files <= 255) {
        courier->handler.file_arrived(courier->handler.owner, (uint32_t)files);
        return;
    }
    size_t len = strcspn(line, " ");
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++)
        if (strlen(ends[i].word) == len && memcmp(ends[i].word, line, len) == 0) {
            courier->has_end = true;
            courier->end = ends[i].end;
            (void)diag_clean(line + len + (line[len] == ' '), courier->said, WORDS);
        }
}

static void
take_byte(struct courier *courier, char byte)
{
    if (byte == '\n') {
        courier->line[courier->used] = '\0';
        if (!courier->too_long)
            take_line(courier);
        courier->used = 0;
        courier->too_long = false;
    } else if (courier->used + 1 < WORDS) {
        courier->line[courier->used++] = byte;
    } else {
        courier->too_long = true;
    }
}

/* false: it is over. */
static bool
hear_some(struct courier *courier)
{
    char bytes[1024];
    ssize_t n = recv(courier->fd, bytes, sizeof bytes, 0);
    if (n < 0)
        return errno == EAGAIN || errno == EINTR;
    for (ssize_t i = 0; i < n; i++)
        take_byte(courier, bytes[i]);
    return n > 0;
}

static void
send_some(struct courier *courier)
{
    size_t left = courier->len - courier->sent;
    ssize_t n = send(courier->fd, courier->job + courier->sent, left, MSG_NOSIGNAL);
    if (n > 0)
        courier->sent += (size_t)n;
    else if (n < 0 && errno != EAGAIN && errno != EINTR)
        courier->sent = courier->len; /* it does not listen; what it says still counts */
    if (courier->sent < courier->len)
        return;
    (void)shutdown(courier->fd, SHUT_WR); /* that was all */
    wipe_job(courier);
    loop_want_write(courier->loop, courier->fd, false);
}

static void
step(void *owner)
{
    struct courier *courier = owner;
    if (courier->job != NULL)
        send_some(courier);
    else if (!hear_some(courier))
        finish(courier);
}

enum err
courier_start(struct loop *loop, uint8_t **job, size_t len, const struct courier_options *options,
              struct courier **out_courier, struct err_text *why)
{
    struct courier *courier = calloc(1, sizeof *courier);
    enum err e = courier != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    if (e != ERR_OK) {
        explicit_bzero(*job, len);
        free(*job);
        *job = NULL;
        return e;
    }
    *courier = (struct courier){.loop = loop,
                                .handler = options->handler,
                                .fd = -1,
                                .job = *job,
                                .len = len,
                                .deadline_ms = now_ms() + options->wall_ms};
    *job = NULL;
    e = run_program(courier, options->program, why);
    if (e == ERR_OK)
        e = loop_add(loop, NULL, courier->fd, step, courier, why);
    if (e != ERR_OK) {
        courier_stop(courier);
        return e;
    }
    loop_want_write(loop, courier->fd, true);
    *out_courier = courier;
    return ERR_OK;
}
