/* loop.c - zmq_poll over sockets, timerfd, eventfd and signalfd. */
#include "daemon/base/loop.h"

#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/signalfd.h>
#include <sys/timerfd.h>
#include <unistd.h>
#include <zmq.h>

struct source {
    loop_fn *fn; /* NULL: removed, swept before the next wait */
    void *owner;
    bool timer; /* reads as a number: of times, or that something is due */
};

/* items[i] belongs to sources[i], both [0..n). */
struct loop {
    zmq_pollitem_t items[LOOP_SOURCES];
    struct source sources[LOOP_SOURCES];
    int n;
    int signals;
    bool stopped;
    loop_fn *reload, *round;
    void *reload_owner, *round_owner;
};

static void
take_signal(void *owner)
{
    struct loop *loop = owner;
    struct signalfd_siginfo info;
    while (read(loop->signals, &info, sizeof info) == (ssize_t)sizeof info) {
        if (info.ssi_signo != SIGHUP)
            loop->stopped = true;
        else if (loop->reload != NULL)
            loop->reload(loop->reload_owner);
    }
}

enum err
loop_new(struct loop **out_loop, struct err_text *why)
{
    struct loop *loop = calloc(1, sizeof *loop);
    if (loop == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    sigset_t mask;
    (void)sigemptyset(&mask);
    (void)sigaddset(&mask, SIGTERM);
    (void)sigaddset(&mask, SIGINT);
    (void)sigaddset(&mask, SIGHUP);
    loop->signals = signalfd(-1, &mask, SFD_CLOEXEC | SFD_NONBLOCK);
    if (loop->signals < 0) {
        free(loop);
        return err_set(ERR_IO, why, "cannot take in signals: %s", strerror(errno));
    }
    (void)sigprocmask(SIG_BLOCK, &mask, NULL);
    enum err e = loop_add(loop, NULL, loop->signals, take_signal, loop, why);
    *out_loop = loop; /* a fresh loop has room for its first source */
    return e;
}

void
loop_free(struct loop *loop)
{
    if (loop == NULL)
        return;
    for (int i = 0; i < loop->n; i++)
        if (loop->sources[i].timer)
            (void)close(loop->items[i].fd);
    (void)close(loop->signals);
    free(loop);
}

enum err
loop_add(struct loop *loop, void *zmq_socket, int fd, loop_fn *fn, void *owner,
         struct err_text *why)
{
    if (loop->n == LOOP_SOURCES)
        return err_set(ERR_MEM, why, "more than %d open sockets", LOOP_SOURCES);
    loop->items[loop->n] = (zmq_pollitem_t){
        .socket = zmq_socket, .fd = zmq_socket != NULL ? 0 : fd, .events = ZMQ_POLLIN};
    loop->sources[loop->n] = (struct source){.fn = fn, .owner = owner};
    loop->n++;
    return ERR_OK;
}

static int
find(const struct loop *loop, const void *zmq_socket, int fd)
{
    for (int i = 0; i < loop->n; i++) {
        bool same = zmq_socket != NULL ? loop->items[i].socket == zmq_socket
                                       : loop->items[i].socket == NULL && loop->items[i].fd == fd;
        if (same && loop->sources[i].fn != NULL)
            return i;
    }
    return -1;
}

void
loop_remove(struct loop *loop, const void *zmq_socket, int fd)
{
    int i = find(loop, zmq_socket, fd);
    if (i >= 0)
        loop->sources[i].fn = NULL;
}

void
loop_want_write(struct loop *loop, int fd, bool want)
{
    int i = find(loop, NULL, fd);
    if (i >= 0)
        loop->items[i].events = (short)(want ? ZMQ_POLLOUT : ZMQ_POLLIN);
}

void
loop_pause(struct loop *loop, int fd, bool pause)
{
    int i = find(loop, NULL, fd);
    if (i >= 0)
        loop->items[i].events = (short)(pause ? 0 : ZMQ_POLLIN);
}

/* A descriptor of ours that reads as a number of eight bytes; closed with the loop. */
static enum err
add_own(struct loop *loop, int fd, loop_fn *fn, void *owner, int *out_fd, struct err_text *why)
{
    if (fd < 0)
        return err_set(ERR_IO, why, "cannot make a timer: %s", strerror(errno));
    enum err e = loop_add(loop, NULL, fd, fn, owner, why);
    if (e != ERR_OK) {
        (void)close(fd);
        return e;
    }
    loop->sources[loop->n - 1].timer = true;
    *out_fd = fd;
    return ERR_OK;
}

enum err
loop_timer(struct loop *loop, loop_fn *fn, void *owner, int *out_timer, struct err_text *why)
{
    int fd = timerfd_create(CLOCK_MONOTONIC, TFD_CLOEXEC | TFD_NONBLOCK);
    return add_own(loop, fd, fn, owner, out_timer, why);
}

enum err
loop_later(struct loop *loop, loop_fn *fn, void *owner, int *out_later, struct err_text *why)
{
    int fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    return add_own(loop, fd, fn, owner, out_later, why);
}

void
loop_later_set(int later)
{
    uint64_t one = 1;
    (void)(write(later, &one, sizeof one) == sizeof one); /* full only when it is set anyway */
}

void
loop_timer_set(int timer, uint64_t us, bool once)
{
    struct itimerspec t = {0};
    t.it_value.tv_sec = (time_t)(us / 1000000);
    t.it_value.tv_nsec = (long)(us % 1000000) * 1000;
    if (!once)
        t.it_interval = t.it_value;
    (void)timerfd_settime(timer, 0, &t, NULL); /* a valid timer and time cannot fail */
}

void
loop_on_reload(struct loop *loop, loop_fn *fn, void *owner)
{
    loop->reload = fn;
    loop->reload_owner = owner;
}

void
loop_on_round(struct loop *loop, loop_fn *fn, void *owner)
{
    loop->round = fn;
    loop->round_owner = owner;
}

static void
sweep(struct loop *loop)
{
    int kept = 0;
    for (int i = 0; i < loop->n; i++) {
        if (loop->sources[i].fn == NULL)
            continue;
        loop->items[kept] = loop->items[i];
        loop->sources[kept++] = loop->sources[i];
    }
    loop->n = kept;
}

static void
call_ready(struct loop *loop)
{
    int n = loop->n; /* what callbacks add waits for the next round */
    for (int i = 0; i < n && !loop->stopped; i++) {
        struct source *source = &loop->sources[i];
        if (loop->items[i].revents == 0 || source->fn == NULL)
            continue;
        if (source->timer) {
            uint64_t times = 0;
            if (read(loop->items[i].fd, &times, sizeof times) < 0)
                continue; /* set anew meanwhile */
        }
        source->fn(source->owner);
    }
}

enum err
loop_run(struct loop *loop, struct err_text *why)
{
    while (!loop->stopped) {
        sweep(loop);
        int ready = zmq_poll(loop->items, loop->n, -1);
        if (ready < 0 && errno != EINTR)
            return err_set(ERR_IO, why, "waiting for sockets failed: %s", zmq_strerror(errno));
        if (ready > 0)
            call_ready(loop);
        if (loop->round != NULL && !loop->stopped)
            loop->round(loop->round_owner);
    }
    return ERR_OK;
}

void
loop_stop(struct loop *loop)
{
    loop->stopped = true;
}

void
loop_again(struct loop *loop)
{
    loop->stopped = false;
}
