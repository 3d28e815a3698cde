/* local.c - a person's path on one machine: the running service's socket, and whole client processes.
 *
 *   bench_local DIR KNOCKBOX [TIMES]
 *
 * DIR: the folder of a running café; KNOCKBOX: the client. Prints metric lines. Records written:
 * closes of one day after the other, backwards, and notes.
 */
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "proto/local.h"
#include "proto/sync.pb-c.h"
#include "tests/bench/records.h"

extern char **environ;

static void
fail(const char *what)
{
    perror(what);
    exit(1);
}

static int
connect_to(const char *dir)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    if (snprintf(address.sun_path, sizeof address.sun_path, "%s/%s", dir, LOCAL_SOCKET) >=
        (int)sizeof address.sun_path)
        fail("path too long");
    int fd = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0);
    if (fd < 0 || connect(fd, (struct sockaddr *)&address, sizeof address) != 0)
        fail(address.sun_path);
    return fd;
}

/* One question and its whole answer; false when the answer is an error. */
static int
ask(int fd, const char *word, const char *line)
{
    static uint8_t bytes[LOCAL_PACKET_MOST];
    static uint32_t number;
    Knockbox__Wire wire = KNOCKBOX__WIRE__INIT;
    Knockbox__Request request = KNOCKBOX__REQUEST__INIT;
    ProtobufCBinaryData lines = {line != NULL ? strlen(line) : 0, (uint8_t *)(uintptr_t)line};
    request.has_version = request.has_number = 1;
    request.version = 1;
    request.number = ++number;
    request.word = (char *)(uintptr_t)word;
    Knockbox__Arg mode = KNOCKBOX__ARG__INIT, brief = KNOCKBOX__ARG__INIT,
                  *args[] = {&mode, &brief};
    mode.name = (char *)"mode";
    mode.value = (char *)"log";
    brief.name = (char *)"brief"; /* as `knockbox close` asks at a terminal */
    brief.value = (char *)"1";
    if (line != NULL) {
        request.n_args = 2;
        request.args = args;
        request.n_lines = 1;
        request.lines = &lines;
    }
    wire.what_case = KNOCKBOX__WIRE__WHAT_REQUEST;
    wire.request = &request;
    size_t len = knockbox__wire__pack(&wire, bytes);
    if (send(fd, bytes, len, 0) < 0)
        fail("send");
    for (;;) {
        ssize_t n = recv(fd, bytes, sizeof bytes, 0);
        Knockbox__Wire *answer = n > 0 ? knockbox__wire__unpack(NULL, (size_t)n, bytes) : NULL;
        if (answer == NULL || answer->what_case != KNOCKBOX__WIRE__WHAT_REPLY)
            fail("answer");
        int more = answer->reply->has_more && answer->reply->more;
        int good = !answer->reply->has_code || answer->reply->code == 0;
        if (!good)
            (void)fprintf(stderr, "bench_local: %s\n", answer->reply->text);
        knockbox__wire__free_unpacked(answer, NULL);
        if (!more)
            return good;
    }
}

static void
close_in_service(const char *dir, size_t times)
{
    double *took = calloc(times, sizeof *took);
    int fd = connect_to(dir);
    if (took == NULL)
        fail("memory");
    for (size_t i = 0; i < times; i++) {
        char line[256], day[16];
        time_t back = time(NULL) - (time_t)(i + 1) * 24 * 3600; /* a day is closed once */
        (void)strftime(day, sizeof day, "%Y-%m-%d", gmtime(&back));
        (void)snprintf(
            line, sizeof line,
            "{\"kind\":\"close\",\"day\":\"%s\",\"pucks\":120,\"uncaptured_g\":410,"
            "\"uncaptured_method\":\"weighed\",\"stream\":\"general-bin\",\"by\":\"RK\"}",
            day);
        double start = bench_now();
        if (!ask(fd, "write", line))
            exit(1);
        took[i] = (bench_now() - start) * 1e6;
    }
    bench_print("product.close.p50", bench_part(took, times, 0.5), "us");
    bench_print("product.close.p99", bench_part(took, times, 0.99), "us");
    (void)close(fd);
    free(took);
}

/* One client process from start to end, in microseconds. */
static double
run(char *const args[])
{
    pid_t pid;
    int status;
    posix_spawn_file_actions_t quiet;
    (void)posix_spawn_file_actions_init(&quiet);
    (void)posix_spawn_file_actions_addopen(&quiet, 1, "/dev/null", 1, 0);
    double start = bench_now();
    if (posix_spawn(&pid, args[0], &quiet, NULL, args, environ) != 0)
        fail(args[0]);
    if (waitpid(pid, &status, 0) != pid || status != 0) {
        (void)fprintf(stderr, "bench_local: %s %s ended with %d\n", args[0], args[1],
                      WEXITSTATUS(status));
        exit(1);
    }
    double took = (bench_now() - start) * 1e6;
    (void)posix_spawn_file_actions_destroy(&quiet);
    return took;
}

static void
processes(const char *dir, const char *client, size_t times)
{
    char *name = (char *)(uintptr_t)client, *at = (char *)(uintptr_t)dir;
    char *note[] = {name, (char *)"log", (char *)"note", (char *)"text=bench", (char *)"--at",
                    at,   NULL};
    char *status[] = {name, (char *)"status", (char *)"--at", at, NULL};
    double *noted = calloc(times, sizeof *noted), *asked = calloc(times, sizeof *asked);
    if (noted == NULL || asked == NULL)
        fail("memory");
    for (size_t i = 0; i < times; i++) {
        noted[i] = run(note);
        (void)run(
            status); /* takes the note into the books; a question alone does not pay for that */
        asked[i] = run(status);
    }
    bench_print("product.cli.record.p10", bench_part(noted, times, 0.1), "us");
    bench_print("product.cli.status.p10", bench_part(asked, times, 0.1), "us");
    free(noted);
    free(asked);
}

int
main(int argc, char **argv)
{
    if (argc < 3) {
        (void)fputs("usage: bench_local DIR KNOCKBOX [TIMES]\n", stderr);
        return 2;
    }
    size_t times = argc > 3 ? strtoull(argv[3], NULL, 10) : 200;
    close_in_service(argv[1], times * 2);
    processes(argv[1], argv[2], times);
    return 0;
}
