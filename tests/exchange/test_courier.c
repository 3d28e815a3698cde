/* test_courier.c - a helper that hangs, dies, talks nonsense or does its work; the loop goes on.
 *
 * Common practice, no source. The helpers here are scripts. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/exchange/courier.h"

struct run {
    struct loop *loop;
    struct courier *courier;
    unsigned turns;
    uint32_t files;
    bool over;
    enum courier_end end;
    char said[512];
};

static void
take_file(void *owner, uint32_t files_done)
{
    ((struct run *)owner)->files = files_done;
}

static void
take_end(void *owner, enum courier_end end, const char *said)
{
    struct run *run = owner;
    run->over = true;
    run->courier = NULL;
    run->end = end;
    snprintf(run->said, sizeof run->said, "%s", said);
    loop_stop(run->loop);
}

static void
turn(void *owner)
{
    struct run *run = owner;
    run->turns++;
    if (run->courier != NULL)
        courier_watch(run->courier);
}

/* Runs a shell script as the helper, with a job of `len` bytes. */
static struct run
carry(const char *script, size_t len, int64_t wall_ms)
{
    struct run run = {.end = COURIER_NEVER};
    struct err_text why = {.s = ""};
    char path[] = "/tmp/knockbox-courier-XXXXXX";
    int timer = 0, fd = mkstemp(path);
    cr_assert(fd >= 0);
    dprintf(fd, "#!/bin/sh\n%s\n", script);
    fchmod(fd, 0700);
    close(fd);
    uint8_t *job = calloc(1, len + 1);
    struct courier_options options = {path, wall_ms, {take_file, take_end, &run}};
    cr_assert(loop_new(&run.loop, &why) == ERR_OK);
    cr_assert(loop_timer(run.loop, turn, &run, &timer, &why) == ERR_OK);
    loop_timer_set(timer, 20000, false);
    cr_assert(courier_start(run.loop, &job, len, &options, &run.courier, &why) == ERR_OK, "%s",
              why.s);
    cr_expect(job == NULL);
    cr_assert(loop_run(run.loop, &why) == ERR_OK);
    cr_expect(run.over);
    loop_free(run.loop);
    unlink(path);
    return run;
}

Test(courier, hands_a_large_job_over_and_hears_of_each_file, .timeout = 30)
{
    struct run run = carry("n=$(wc -c); echo file 1; echo file 2; [ $n -eq 5000000 ] && echo sent",
                           5000000, 20000);
    cr_expect(run.end == COURIER_SENT, "%s", run.said);
    cr_expect(eq(u32, run.files, 2));
    cr_expect(eq(str, run.said, ""));
}

Test(courier, a_helper_that_hangs_is_stopped_and_the_loop_goes_on_meanwhile, .timeout = 30)
{
    struct run run = carry("exec sleep 60", 10, 500);
    cr_expect(run.end == COURIER_LATER);
    cr_expect(strstr(run.said, "took too long") != NULL, "%s", run.said);
    cr_expect(run.turns >= 10, "%u", run.turns);
}

Test(courier, a_helper_that_does_not_read_is_stopped_too, .timeout = 30)
{
    struct run run = carry("exec sleep 60", 5000000, 500);
    cr_expect(run.end == COURIER_LATER);
}

Test(courier, a_helper_that_dies_is_tried_again, .timeout = 30)
{
    struct run run = carry("cat >/dev/null; kill -11 $$", 10, 20000);
    cr_expect(run.end == COURIER_LATER);
    cr_expect(strstr(run.said, "signal 11") != NULL, "%s", run.said);
    run = carry("exit 0", 10, 20000);
    cr_expect(run.end == COURIER_LATER);
    cr_expect(strstr(run.said, "without a word") != NULL, "%s", run.said);
}

Test(courier, nonsense_is_passed_over_and_words_come_out_clean, .timeout = 30)
{
    struct run run =
        carry("cat >/dev/null; head -c 100000 /dev/zero | tr '\\0' x; echo; echo file 999;"
              "echo file -1; echo sentence; printf 'never a\\033[31mb\\n'; echo sent",
              10, 20000);
    cr_expect(run.end == COURIER_NEVER); /* the first end counts */
    cr_expect(eq(u32, run.files, 0));
    cr_expect(strncmp(run.said, "a", 1) == 0 && strchr(run.said, '\033') == NULL, "%s", run.said);
}

Test(courier, has_nothing_of_ours_in_its_environment_and_arguments, .timeout = 30)
{
    setenv("KNOCKBOX_TEST", "open-sesame", 1);
    struct run run = carry(
        "cat >/dev/null; env | grep -q -e sesame -e HOME= || [ $# -ne 0 ] || echo sent", 10, 20000);
    cr_expect(run.end == COURIER_SENT, "%s", run.said);
}
