/* test_backup.c - the drill with the real programs: a backup while records flow, the hub lost, put
 * back, and made whole by its café.
 *
 * Source: docs/operations.md, "Keep a copy"; goals "hub lost, yesterday's backup restored" and
 * "process killed at any instant" of this project, no published source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "tests/system/program.h"

enum {
    KILLS = 20
};

/* The restored hub listens where the lost one did, as its operator sees to. */
static void
listen_at(const char *hub, const char *endpoint)
{
    IN(hub, "hub.conf", conf);
    FILE *file = fopen(conf, "w");
    cr_assert(file != NULL);
    fprintf(file, "site.name kitchen\nlisten %s\n", endpoint);
    fclose(file);
}

static char *
report_of(const char *hub)
{
    struct said said = run_program("knockbox", "report", "2026-03", "--json", "--at", hub, NULL);
    cr_assert(said.status == 0, "%s", said.err);
    cr_assert(strlen(said.out) > 100);
    return strdup(said.out);
}

/* Tubs first..last from a process of its own. */
static pid_t
log_tubs_beside(const char *cafe, int first, int last)
{
    pid_t pid = fork();
    cr_assert(pid >= 0);
    if (pid != 0)
        return pid;
    char tub[16];
    int failed = 0;
    for (int i = first; i <= last; i++) {
        snprintf(tub, sizeof tub, "Q%03d", i);
        failed |= log_tub(cafe, tub);
    }
    _exit(failed != 0);
}

static bool
ended(pid_t pid, int *status)
{
    return waitpid(pid, status, WNOHANG) == pid;
}

Test(drill, a_hub_restored_from_last_nights_backup_reports_the_same_bytes, .timeout = 150)
{
    char place[PLACE], endpoint[PLACE];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "cafe", cafe);
    IN(place, "new", new);
    IN(place, "hub.backup", file);
    IN(place, "hub.keys", keys);
    struct daemon h = start_hub(hub);
    struct daemon c = start_cafe(hub, cafe, "quayside");
    endpoint_of(hub, endpoint);
    cr_assert(log_tub(cafe, "Q001") == 0);
    wait_for_answer(hub, "export", "\"Q001\"");

    /* backups while records flow: each is whole, whatever it caught */
    int status = 0, backups = 0;
    pid_t writer = log_tubs_beside(cafe, 2, 30);
    while (!ended(writer, &status)) {
        struct said said = run_program("knockbox-hub", "backup", hub, file, "--keys", keys, NULL);
        cr_assert(said.status == 0, "%s", said.err);
        said = run_program("knockbox-hub", "verify-backup", file, NULL);
        cr_assert(said.status == 0, "%s", said.err);
        backups++;
    }
    cr_assert(eq(int, status, 0));
    cr_expect(backups > 0);

    /* the hub that runs declares the last one; the café hears it with its next record */
    wait_for_answer(hub, "export", "\"Q030\"");
    cr_assert(run_program("knockbox-hub", "backup", hub, file, "--keys", keys, NULL).status == 0);
    wait_for_answer(hub, "status", "\"in_backup\":30");
    cr_assert(log_tub(cafe, "Q031") == 0); /* which no backup has */
    wait_for_answer(cafe, "status", "\"in_backup\":30");

    /* then the hub is lost */
    wait_for_answer(hub, "export", "\"Q031\"");
    char *before = report_of(hub);
    kill_daemon(&h);
    cr_assert(log_tub(cafe, "Q032") == 0); /* while there is no hub */

    struct said said = run_program("knockbox-hub", "restore", file, new, "--keys", keys, NULL);
    cr_assert(said.status == 0, "%s", said.err);
    listen_at(new, endpoint);
    struct daemon n = start_daemon("knockbox-hub", new);
    wait_for_answer(new, "export", "\"Q032\"");
    wait_for_log(&c, "the hub's store is another one than before");
    cr_expect(answer_has(new, "export", "\"Q031\""));
    cr_expect(eq(int, end_daemon(&n), 0));
    cr_expect(eq(int, run_program("knockbox-hub", "verify", new, NULL).status, 0));

    /* the lost one, had it lived on, would say the same */
    listen_at(hub, endpoint);
    h = start_daemon("knockbox-hub", hub);
    wait_for_answer(hub, "export", "\"Q032\"");
    free(before);
    before = report_of(hub);
    kill_daemon(&h);
    n = start_daemon("knockbox-hub", new);
    char *after = report_of(new);
    cr_expect(strcmp(before, after) == 0, "%s\n%s", before, after);
    cr_expect(strstr(after, "\"captured_kg\"") != NULL);
    free(before);
    free(after);
    cr_expect(eq(int, end_daemon(&n), 0));
    cr_expect(eq(int, end_daemon(&c), 0));
    place_done(place);
}

/* ---- killed at any moment */

static pid_t
backup_beside(const char *hub, const char *file)
{
    pid_t pid = fork();
    cr_assert(pid >= 0);
    if (pid != 0)
        return pid;
    int null = open("/dev/null", O_RDWR);
    (void)dup2(null, 1);
    (void)dup2(null, 2);
    execl(TEST_BIN "/knockbox-hub", "knockbox-hub", "backup", hub, file, (char *)NULL);
    _exit(127);
}

static void
sleep_us(long us)
{
    struct timespec t = {us / 1000000, us % 1000000 * 1000};
    (void)nanosleep(&t, NULL);
}

Test(drill, a_backup_killed_at_any_moment_leaves_the_old_one_or_the_new, .timeout = 120)
{
    char place[PLACE];
    struct stat st;
    const char *given = getenv("TEST_SEED");
    unsigned seed = given != NULL ? (unsigned)strtoul(given, NULL, 10) : (unsigned)getpid();
    fprintf(stderr, "TEST_SEED=%u\n", seed);
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "hub.backup", file);
    struct daemon h = start_hub(hub);
    import_catalogue(hub, "quayside");
    struct timespec from, to;
    (void)clock_gettime(CLOCK_MONOTONIC, &from);
    cr_assert(run_program("knockbox-hub", "backup", hub, file, NULL).status == 0);
    (void)clock_gettime(CLOCK_MONOTONIC, &to);
    long whole_us = (to.tv_sec - from.tv_sec) * 1000000 + (to.tv_nsec - from.tv_nsec) / 1000;
    for (int i = 0; i < KILLS; i++) {
        pid_t pid = backup_beside(hub, file);
        sleep_us((long)((double)rand_r(&seed) / RAND_MAX * (double)whole_us));
        kill(pid, SIGKILL);
        cr_assert(waitpid(pid, NULL, 0) == pid);
        struct said said = run_program("knockbox-hub", "verify-backup", file, NULL);
        cr_assert(said.status == 0, "after kill %d: %s", i, said.err);
    }
    cr_expect(answer_has(hub, "status", "kitchen")); /* the hub noticed nothing */
    cr_expect(eq(int, run_program("knockbox-hub", "backup", hub, file, NULL).status, 0));
    char part[PLACE * 3];
    snprintf(part, sizeof part, "%s.part", file);
    cr_expect(stat(part, &st) != 0, "what a killed one left is gone");
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

Test(drill, a_damaged_backup_is_refused_in_one_sentence_and_leaves_nothing, .timeout = 60)
{
    char place[PLACE];
    struct stat st;
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "new", new);
    IN(place, "hub.backup", file);
    cr_assert(run_program("knockbox-hub", "init", hub, NULL).status == 0);
    struct daemon h = start_daemon("knockbox-hub", hub);
    cr_assert(run_program("knockbox-hub", "backup", hub, file, NULL).status == 0);
    cr_expect(eq(int, end_daemon(&h), 0));
    cr_assert(run_program("knockbox-hub", "backup", hub, file, NULL).status ==
              0); /* and without it */
    cr_assert(stat(file, &st) == 0 && truncate(file, st.st_size - 1) == 0);
    struct said said = run_program("knockbox-hub", "restore", file, new, NULL);
    cr_expect(eq(int, said.status, 1));
    cr_expect(strstr(said.err, "is damaged at part") != NULL, "%s", said.err);
    cr_expect(strchr(said.err, '\n') == said.err + strlen(said.err) - 1, "%s", said.err);
    cr_expect(stat(new, &st) != 0);
    place_done(place);
}
