/* program.c - starts programs, reads what they say, waits for events. */
#include "tests/system/program.h"

#include <criterion/criterion.h>
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

extern char **environ;

static void
moment(void)
{
    struct timespec t = {.tv_nsec = 20000000};
    nanosleep(&t, NULL);
}

void
place_make(char place[PLACE])
{
    snprintf(place, PLACE, "/tmp/knockbox-system-XXXXXX");
    cr_assert(mkdtemp(place) != NULL);
}

void
path_in(const char *place, const char *name, char out[PLACE * 2])
{
    cr_assert(snprintf(out, PLACE * 2, "%.120s/%.100s", place, name) < PLACE * 2);
}

void
place_done(const char *place)
{
    char command[PLACE + 16];
    snprintf(command, sizeof command, "rm -rf '%s'", place);
    cr_assert(system(command) == 0);
}

/* ---------------------------------------------------------------- to the end */

static pid_t
spawn(const char *program, char *const argv[], int out, int err)
{
    char path[512];
    pid_t pid = -1;
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, 0, "/dev/null", O_RDONLY, 0);
    posix_spawn_file_actions_adddup2(&actions, out, 1);
    posix_spawn_file_actions_adddup2(&actions, err, 2);
    snprintf(path, sizeof path, "%s/%s", TEST_BIN, program);
    int code = posix_spawn(&pid, path, &actions, NULL, argv, environ);
    posix_spawn_file_actions_destroy(&actions);
    cr_assert(code == 0, "%s: %s", path, strerror(code));
    return pid;
}

static int
status_of(pid_t pid)
{
    int status = 0;
    while (waitpid(pid, &status, 0) < 0)
        cr_assert(errno == EINTR);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
}

static void
read_both(int out, int err, struct said *said)
{
    struct pollfd fds[2] = {{.fd = out, .events = POLLIN}, {.fd = err, .events = POLLIN}};
    char *texts[2] = {said->out, said->err};
    size_t used[2] = {0, 0};
    int open_ends = 2;
    while (open_ends > 0 && poll(fds, 2, PATIENCE_MS * 2) > 0)
        for (int i = 0; i < 2; i++) {
            char spare[4096];
            if (fds[i].fd < 0 || fds[i].revents == 0)
                continue;
            ssize_t n = read(fds[i].fd, spare, sizeof spare);
            if (n <= 0) {
                fds[i].fd = -1;
                open_ends--;
                continue;
            }
            size_t room = TEXT_MOST - 1 - used[i];
            size_t keep = (size_t)n < room ? (size_t)n : room;
            memcpy(texts[i] + used[i], spare, keep);
            used[i] += keep;
        }
    said->out[used[0]] = said->err[used[1]] = '\0';
}

struct said
run_program(const char *program, ...)
{
    static struct said said;
    char *argv[32] = {(char *)program};
    int out[2], err[2], n = 1;
    va_list args;
    va_start(args, program);
    while ((argv[n] = va_arg(args, char *)) != NULL)
        cr_assert(++n < 31);
    va_end(args);
    cr_assert(pipe2(out, O_CLOEXEC) == 0 && pipe2(err, O_CLOEXEC) == 0);
    pid_t pid = spawn(program, argv, out[1], err[1]);
    close(out[1]);
    close(err[1]);
    read_both(out[0], err[0], &said);
    close(out[0]);
    close(err[0]);
    said.status = status_of(pid);
    return said;
}

/* ---------------------------------------------------------------- daemons */

bool
log_says(const struct daemon *d, const char *text)
{
    static char content[TEXT_MOST];
    FILE *file = fopen(d->log, "r");
    if (file == NULL)
        return false;
    size_t n = fread(content, 1, sizeof content - 1, file);
    content[n] = '\0';
    fclose(file);
    return strstr(content, text) != NULL;
}

static bool
still_runs(const struct daemon *d)
{
    siginfo_t info = {0};
    return waitid(P_PID, (id_t)d->pid, &info, WEXITED | WNOHANG | WNOWAIT) == 0 && info.si_pid == 0;
}

void
wait_for_log(const struct daemon *d, const char *text)
{
    for (int waited = 0; waited < PATIENCE_MS; waited += 20) {
        if (log_says(d, text))
            return;
        cr_assert(still_runs(d), "the daemon ended before it said \"%s\": see %s", text, d->log);
        moment();
    }
    cr_assert_fail("no \"%s\" in %s", text, d->log);
}

struct daemon
start_daemon(const char *program, const char *dir)
{
    struct daemon d;
    char *argv[] = {(char *)program, "run", (char *)dir, NULL};
    snprintf(d.log, sizeof d.log, "%s.log", dir);
    int log = open(d.log, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    cr_assert(log >= 0);
    d.pid = spawn(program, argv, log, log);
    close(log);
    wait_for_log(&d, log_says(&d, "\nready") ? "\nready\n" : "ready\n");
    return d;
}

int
end_daemon(struct daemon *d)
{
    kill(d->pid, SIGTERM);
    int status = status_of(d->pid);
    d->pid = -1;
    return status;
}

void
kill_daemon(struct daemon *d)
{
    kill(d->pid, SIGKILL);
    (void)status_of(d->pid);
    d->pid = -1;
}

/* ---------------------------------------------------------------- the client */

bool
answer_has(const char *dir, const char *word, const char *text)
{
    struct said said = run_program("knockbox", word, "--at", dir, "--json", NULL);
    return strstr(said.out, text) != NULL;
}

void
wait_for_answer(const char *dir, const char *word, const char *text)
{
    for (int waited = 0; waited < PATIENCE_MS; waited += 50) {
        if (answer_has(dir, word, text))
            return;
        moment();
    }
    struct said said = run_program("knockbox", word, "--at", dir, "--json", NULL);
    cr_assert_fail("knockbox %s --at %s never said %s; last: %s %s", word, dir, text, said.out,
                   said.err);
}

struct daemon
start_hub(const char *dir)
{
    struct said said =
        run_program("knockbox-hub", "init", dir, "--listen", "tcp://127.0.0.1:0", NULL);
    cr_assert(said.status == 0, "%s", said.err);
    return start_daemon("knockbox-hub", dir);
}

void
endpoint_of(const char *hub, char out[PLACE])
{
    char path[PLACE * 2];
    snprintf(path, sizeof path, "%s/endpoint", hub);
    FILE *file = fopen(path, "r");
    cr_assert(file != NULL && fgets(out, PLACE, file) != NULL);
    fclose(file);
    out[strcspn(out, "\n")] = '\0';
}

void
join_cafe(const char *hub, const char *dir, const char *site)
{
    struct said said = run_program("knockbox-hub", "enrol", hub, site, NULL);
    cr_assert(said.status == 0, "%s", said.err);
    said.out[strcspn(said.out, "\n")] = '\0';
    char code[512];
    snprintf(code, sizeof code, "%.500s", said.out);
    said = run_program("knockbox-cafe", "join", dir, code, NULL);
    cr_assert(said.status == 0, "%s", said.err);
    char conf[PLACE * 3];
    snprintf(conf, sizeof conf, "%s/cafe.conf", dir);
    FILE *file = fopen(conf, "a");
    cr_assert(file != NULL);
    fputs("sync.retry 5s\n", file);
    fclose(file);
}

int
log_tub(const char *dir, const char *label)
{
    char tub[80];
    snprintf(tub, sizeof tub, "tub=%s", label);
    return run_program("knockbox", "log", "tub", tub, "coffee=house-dark", "origin=espresso",
                       "gross_g=5200", "tare_g=300", "method=weighed",
                       "first_knock=2026-03-03T18:00:00+00:00", "frozen=2026-03-03T20:00:00+00:00",
                       "place=quayside-freezer", "by=RK", "--at", dir, NULL)
        .status;
}

void
import_catalogue(const char *hub, const char *site)
{
    char path[PLACE * 2];
    snprintf(path, sizeof path, "%s.catalogue.jsonl", hub);
    FILE *file = fopen(path, "w");
    cr_assert(file != NULL);
    fprintf(
        file,
        "{\"kind\":\"site\",\"code\":\"kitchen\",\"role\":\"kitchen\",\"zone\":\"Europe/London\","
        "\"currency\":\"GBP\",\"joined\":\"2026-03-02\"}\n"
        "{\"kind\":\"site\",\"code\":\"%s\",\"role\":\"cafe\",\"zone\":\"Europe/London\","
        "\"currency\":\"GBP\",\"joined\":\"2026-03-02\"}\n"
        "{\"kind\":\"place\",\"code\":\"quayside-freezer\",\"for_site\":\"%s\","
        "\"class\":\"freezer\",\"max_c\":\"-15\"}\n"
        "{\"kind\":\"coffee\",\"code\":\"house-dark\",\"name\":\"House dark\"}\n",
        site, site);
    fclose(file);
    struct said said = run_program("knockbox", "import", path, "--at", hub, NULL);
    cr_assert(said.status == 0, "%s", said.err);
}

struct daemon
start_cafe(const char *hub, const char *dir, const char *site)
{
    import_catalogue(hub, site);
    join_cafe(hub, dir, site);
    struct daemon d = start_daemon("knockbox-cafe", dir);
    wait_for_answer(dir, "export", "\"house-dark\"");
    return d;
}
