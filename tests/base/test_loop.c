/* test_loop.c - one thread, many sources: timers, signals, sockets that come and go.
 *
 * Source: own design, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <signal.h>
#include <unistd.h>

#include "daemon/base/loop.h"

struct play {
    struct loop *loop;
    int ticks, reads, rounds, reloads;
    int pipe[2];
};

static void
tick(void *owner)
{
    struct play *p = owner;
    if (++p->ticks == 3)
        loop_stop(p->loop);
}

static void
take_and_leave(void *owner)
{
    struct play *p = owner;
    char c;
    cr_assert(read(p->pipe[0], &c, 1) == 1);
    p->reads++;
    loop_remove(p->loop, NULL, p->pipe[0]); /* the second byte is never read */
}

static void
one_round(void *owner)
{
    ((struct play *)owner)->rounds++;
}

static void
reload(void *owner)
{
    ((struct play *)owner)->reloads++;
    kill(getpid(), SIGTERM);
}

Test(loop, calls_timers_and_sources_until_stopped)
{
    struct play p = {0};
    int timer = -1;
    cr_assert(loop_new(&p.loop, NULL) == ERR_OK);
    cr_assert(pipe(p.pipe) == 0);
    cr_assert(write(p.pipe[1], "ab", 2) == 2);
    cr_assert(loop_add(p.loop, NULL, p.pipe[0], take_and_leave, &p, NULL) == ERR_OK);
    cr_assert(loop_timer(p.loop, tick, &p, &timer, NULL) == ERR_OK);
    loop_on_round(p.loop, one_round, &p);
    loop_timer_set(timer, 500, false);
    cr_expect(loop_run(p.loop, NULL) == ERR_OK);
    cr_expect(eq(int, p.ticks, 3));
    cr_expect(eq(int, p.reads, 1));
    cr_expect(ge(int, p.rounds, 2));
    loop_free(p.loop);
    close(p.pipe[0]);
    close(p.pipe[1]);
}

Test(loop, a_sigterm_while_the_daemon_ends_already_does_not_kill_it)
{
    struct play p = {0};
    cr_assert(loop_new(&p.loop, NULL) == ERR_OK);
    kill(getpid(), SIGTERM);
    loop_free(p.loop);
    kill(getpid(), SIGTERM); /* still here */
}

Test(loop, ends_on_sigterm_and_reloads_on_sighup)
{
    struct play p = {0};
    cr_assert(loop_new(&p.loop, NULL) == ERR_OK);
    loop_on_reload(p.loop, reload, &p);
    kill(getpid(), SIGHUP);
    cr_expect(loop_run(p.loop, NULL) == ERR_OK);
    cr_expect(eq(int, p.reloads, 1));
    loop_free(p.loop);
}
