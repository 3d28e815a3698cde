/* child.c - one conversation with knockbox-solve. */
#include "daemon/plan/child.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <poll.h>
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

#include "daemon/plan/greedy.h"
#include "daemon/plan/plan_file.h"
#include "daemon/plan/problem_file.h"

enum {
    CPU_S = 300,      /* for each effort */
    WALL_PER_CPU = 6, /* on a busy machine it gets a part of one core */
    CPU_MOST_S = 36000,
    MEMORY_MIB = 1024,
    REPLY_MOST = 256 * 1024 * 1024
};

struct child {
    const struct problem *p;
    const struct plan *first;
    bool first_stays; /* unless something better comes */
    pid_t pid;        /* 0: not running */
    int fd;           /* -1: closed */
    char *request;
    size_t request_len, sent;
    char *reply; /* what came so far */
    size_t reply_len, reply_room;
    int64_t deadline_ms;
    char remark[200];
};

static int64_t
now_ms(void)
{
    struct timespec t;
    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* ---- starting ---- */

static void
find_program(const char *given, char *out, size_t size)
{
    char self[4096];
    ssize_t n = readlink("/proc/self/exe", self, sizeof self - 1);
    (void)snprintf(out, size, "%s", given != NULL ? given : "knockbox-solve");
    if (given != NULL || n < 0)
        return;
    self[n] = '\0';
    char *slash = strrchr(self, '/');
    if (slash != NULL)
        *slash = '\0';
    (void)snprintf(out, size, "%s/knockbox-solve", self);
    if (access(out, X_OK) != 0)
        (void)snprintf(out, size, "%s/../libexec/knockbox/knockbox-solve", self);
}

/* One long text: sizes on a line, then problem, tubs and first plan. */
static enum err
write_request(struct child *c, int effort, struct err_text *why)
{
    char *part[3] = {NULL, NULL, NULL};
    size_t len[3] = {0, 0, 0};
    FILE *f[3];
    bool ok = true;
    for (int i = 0; i < 3; i++) {
        f[i] = open_memstream(&part[i], &len[i]);
        ok = ok && f[i] != NULL;
    }
    if (ok) {
        problem_print(c->p, "tubs.csv", f[0]);
        problem_print_tubs(c->p, f[1]);
        plan_print(c->first, c->p, f[2]);
    }
    for (int i = 0; i < 3; i++)
        ok = f[i] != NULL && fclose(f[i]) == 0 && ok;
    FILE *all = ok ? open_memstream(&c->request, &c->request_len) : NULL;
    if (all != NULL) {
        (void)fprintf(all, "knockbox-solve 1 %d %zu %zu %zu\n", effort, len[0], len[1], len[2]);
        for (int i = 0; i < 3; i++)
            (void)fwrite(part[i], 1, len[i], all);
        ok = fclose(all) == 0;
    }
    for (int i = 0; i < 3; i++)
        free(part[i]);
    return ok && all != NULL ? ERR_OK : err_set(ERR_MEM, why, "no memory to ask the optimiser");
}

static void
limit(pid_t pid, int what, int64_t most)
{
    struct rlimit l = {(rlim_t)most, (rlim_t)most};
    (void)prlimit(pid, (__rlimit_resource_t)what, &l, NULL); /* without it the wall limit holds */
}

static int64_t
cpu_limit(const struct child_options *o)
{
    int64_t usual = (int64_t)CPU_S * (o->effort > 1 ? o->effort : 1);
    return o->cpu_s > 0 ? o->cpu_s : usual < CPU_MOST_S ? usual : CPU_MOST_S;
}

/* With a sanitizer the shadow memory is larger than any limit. */
#if defined(__SANITIZE_ADDRESS__)
#define SHADOW_MEMORY 1
#elif defined(__has_feature)
#if __has_feature(address_sanitizer)
#define SHADOW_MEMORY 1
#endif
#endif

static void
set_limits(const struct child *c, const struct child_options *o)
{
    limit(c->pid, RLIMIT_CPU, cpu_limit(o));
    limit(c->pid, RLIMIT_CORE, 0);
#ifndef SHADOW_MEMORY
    limit(c->pid, RLIMIT_AS, (int64_t)(o->memory_mib > 0 ? o->memory_mib : MEMORY_MIB) << 20);
#endif
}

/* The child's end of the socket is its standard input and output. It has no locale and no other
 * setting of ours, so that it does the same everywhere. */
static int
spawn(struct child *c, const char *program, int end)
{
    char *const argv[] = {(char *)program, NULL};
    char *const envp[] = {"LC_ALL=C", "OMP_NUM_THREADS=1", "OPENBLAS_NUM_THREADS=1", NULL};
    posix_spawn_file_actions_t actions;
    int rc = posix_spawn_file_actions_init(&actions);
    if (rc != 0)
        return rc;
    rc = posix_spawn_file_actions_adddup2(&actions, end, 0);
    if (rc == 0)
        rc = posix_spawn_file_actions_adddup2(&actions, end, 1);
    if (rc == 0)
        rc = posix_spawn_file_actions_addopen(&actions, 2, "/dev/null", O_WRONLY, 0);
    if (rc == 0)
        rc = posix_spawn(&c->pid, program, &actions, NULL, argv, envp);
    (void)posix_spawn_file_actions_destroy(&actions); /* cannot fail */
    return rc;
}

static void
run_program(struct child *c, const struct child_options *o)
{
    char program[4200];
    int ends[2];
    find_program(o->program, program, sizeof program);
    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends) != 0) {
        (void)snprintf(c->remark, sizeof c->remark, "no socket for the optimiser: %s",
                       strerror(errno));
        return;
    }
    int rc = spawn(c, program, ends[1]);
    (void)close(ends[1]); /* the child's */
    if (rc != 0) {
        (void)snprintf(c->remark, sizeof c->remark, "%.120s: %s", program, strerror(rc));
        (void)close(ends[0]);
        c->pid = 0;
        return;
    }
    c->fd = ends[0];
    (void)fcntl(c->fd, F_SETFL, O_NONBLOCK);
    set_limits(c, o);
    int64_t wall_s = o->wall_s > 0 ? o->wall_s : cpu_limit(o) * WALL_PER_CPU;
    c->deadline_ms = now_ms() + wall_s * 1000;
}

enum err
child_start(const struct problem *p, const struct plan *first, const struct child_options *options,
            struct child **out_child, struct err_text *why)
{
    struct child *c = calloc(1, sizeof *c);
    if (c == NULL)
        return err_set(ERR_MEM, why, "no memory for the optimiser");
    c->p = p;
    c->first = first;
    c->first_stays = options->start == first;
    c->fd = -1;
    enum err e = write_request(c, options->soon ? 0 : options->effort, why);
    if (e != ERR_OK) {
        free(c->request);
        free(c);
        return e;
    }
    run_program(c, options);
    *out_child = c;
    return ERR_OK;
}

int
child_fd(const struct child *child)
{
    return child->fd;
}

/* ---- talking ---- */

static void
hang_up(struct child *c)
{
    (void)close(c->fd); /* nothing more is wanted of it */
    c->fd = -1;
}

static void
send_some(struct child *c)
{
    ssize_t n = send(c->fd, c->request + c->sent, c->request_len - c->sent, MSG_NOSIGNAL);
    if (n > 0)
        c->sent += (size_t)n;
    else if (n < 0 && errno != EAGAIN && errno != EINTR)
        c->sent = c->request_len; /* it does not listen; what it says still counts */
    if (c->sent == c->request_len)
        (void)shutdown(c->fd, SHUT_WR); /* that was all */
}

static bool
make_room(struct child *c)
{
    if (c->reply_room - c->reply_len >= 65536)
        return true;
    size_t room = c->reply_room == 0 ? 262144 : c->reply_room * 2;
    char *more = room > REPLY_MOST ? NULL : realloc(c->reply, room);
    if (more == NULL)
        return false;
    c->reply = more;
    c->reply_room = room;
    return true;
}

static void
hear_some(struct child *c)
{
    if (!make_room(c)) {
        (void)snprintf(c->remark, sizeof c->remark, "the optimiser talks without end");
        hang_up(c);
        return;
    }
    ssize_t n = recv(c->fd, c->reply + c->reply_len, c->reply_room - c->reply_len, 0);
    if (n > 0)
        c->reply_len += (size_t)n;
    else if (n == 0 || (errno != EAGAIN && errno != EINTR))
        hang_up(c);
}

void
child_step(struct child *child, int timeout_ms, bool *out_over)
{
    struct child *c = child;
    *out_over = c->fd < 0;
    if (*out_over)
        return;
    int64_t left = c->deadline_ms - now_ms();
    if (left <= 0) {
        (void)snprintf(c->remark, sizeof c->remark, "the optimiser took too long and was stopped");
        hang_up(c);
        *out_over = true;
        return;
    }
    struct pollfd poll_fd = {c->fd, POLLIN, 0};
    if (c->sent < c->request_len)
        poll_fd.events |= POLLOUT;
    if (poll(&poll_fd, 1, left < timeout_ms ? (int)left : timeout_ms) <= 0)
        return;
    if ((poll_fd.revents & POLLOUT) != 0)
        send_some(c);
    if ((poll_fd.revents & (POLLIN | POLLHUP | POLLERR)) != 0)
        hear_some(c);
    *out_over = c->fd < 0;
}

/* ---- what it said ---- */

/* One message: "plan WORTH BOUND LENGTH\n" and a plan of that length. */
struct message {
    check_units worth, bound;
    const char *plan;
    size_t len;
};

static bool
read_units(const char **at, check_units *out)
{
    const char *s = *at;
    bool minus = *s == '-';
    int digits = 0;
    *out = 0;
    for (s += minus; *s >= '0' && *s <= '9' && digits < 36; s++, digits++)
        *out = *out * 10 + (*s - '0');
    *out = minus ? -*out : *out;
    *at = s + (*s == ' ');
    return digits > 0 && *s == ' ';
}

/* Reads the message at *at and moves on; false: no whole message is there. */
static bool
next_message(const char **at, const char *end, struct message *out)
{
    const char *line_end = memchr(*at, '\n', (size_t)(end - *at));
    char line[160];
    if (line_end == NULL || line_end - *at >= (ptrdiff_t)sizeof line)
        return false;
    memcpy(line, *at, (size_t)(line_end - *at));
    line[line_end - *at] = '\0';
    const char *s = line + 5;
    if (strncmp(line, "plan ", 5) != 0 || !read_units(&s, &out->worth) ||
        !read_units(&s, &out->bound))
        return false;
    char *rest = NULL;
    uintmax_t len = strtoumax(s, &rest, 10);
    if (rest == s || *rest != '\0' || len > (uintmax_t)(end - line_end - 1))
        return false;
    out->plan = line_end + 1;
    out->len = (size_t)len;
    *at = out->plan + len;
    return true;
}

/* The last whole message; *out_ended: it said that this was all. */
static bool
last_message(const struct child *c, struct message *out, bool *out_ended)
{
    const char *at = c->reply;
    const char *end = c->reply + c->reply_len;
    bool any = false;
    while (at != NULL && next_message(&at, end, out))
        any = true;
    *out_ended = at != NULL && any && end - at == 4 && memcmp(at, "end\n", 4) == 0;
    return any;
}

/* Takes the plan when it is one, keeps the rules and is worth what was said. */
static enum err
take_plan(struct child *c, const struct message *m, struct child_result *r, struct err_text *why)
{
    struct plan *plan = NULL;
    struct check_result checked;
    struct err_text said = {.s = ""};
    enum err e = plan_parse(m->plan, m->len, c->p, &plan, &said);
    if (e == ERR_MEM)
        return err_set(e, why, "%s", said.s);
    if (e != ERR_OK) {
        (void)snprintf(c->remark, sizeof c->remark, "the optimiser's plan cannot be read: %.100s",
                       said.s);
        return ERR_OK;
    }
    e = check_plan(c->p, plan, &checked, why);
    if (e == ERR_OK && (checked.broken_n > 0 || checked.worth < r->worth)) {
        (void)snprintf(c->remark, sizeof c->remark, "the optimiser's plan %s: %.100s",
                       checked.broken_n > 0 ? "breaks a rule" : "is no better",
                       checked.broken_n > 0 ? checked.broken[0].text : "nothing gained");
        plan_free(plan);
        return ERR_OK;
    }
    if (e != ERR_OK) {
        plan_free(plan);
        return e;
    }
    bool stays = c->first_stays && checked.worth == r->worth;
    plan_free(stays ? plan : r->plan);
    if (!stays)
        r->plan = plan;
    r->worth = checked.worth;
    r->bound = m->bound;
    r->bound_known = m->bound >= checked.worth;
    r->how = CHILD_CUT_SHORT;
    return ERR_OK;
}

/* Why the constructive plan breaks a rule: because every plan of this problem does (what is
 * straining needs more than there is), or because of a mistake of ours. */
static enum err
tell_broken(const struct problem *p, const struct check_broken *broken, struct err_text *why)
{
    struct check_result nothing;
    struct plan *empty = plan_new();
    enum err e = empty == NULL ? err_set(ERR_MEM, why, "no memory for a plan")
                               : check_plan(p, empty, &nothing, why);
    plan_free(empty);
    if (e != ERR_OK)
        return e;
    for (int i = 0; i < nothing.broken_n && i < CHECK_BROKEN_KEPT; i++)
        if (strcmp(nothing.broken[i].rule, broken->rule) == 0)
            return err_set(ERR_INPUT, why,
                           "no plan can keep the rules, for what is straining now breaks one: %s",
                           broken->text);
    return err_set(ERR_DAMAGED, why, "the constructive plan breaks rule %s: %s", broken->rule,
                   broken->text);
}

/* The constructive plan, until something better is there. */
static enum err
begin_result(const struct problem *p, const struct plan *first, struct child_result *r,
             struct err_text *why)
{
    struct check_result checked;
    memset(r, 0, sizeof *r);
    enum err e = check_plan(p, first, &checked, why);
    if (e != ERR_OK)
        return e;
    if (checked.broken_n > 0)
        return tell_broken(p, &checked.broken[0], why);
    r->worth = checked.worth;
    r->how = CHILD_FAILED;
    return plan_copy(first, &r->plan, why);
}

static void
end_process(struct child *c)
{
    int status = 0;
    if (c->fd >= 0)
        hang_up(c);
    if (c->pid <= 0)
        return;
    (void)kill(c->pid, SIGKILL); /* ours, and not waited for yet: the number is still its own */
    while (waitpid(c->pid, &status, 0) < 0 && errno == EINTR)
        ;
    c->pid = 0;
}

static enum err
judge(struct child *c, struct child_result *r, struct err_text *why)
{
    struct message m = {0};
    bool ended = false;
    bool any = last_message(c, &m, &ended);
    enum err e = any ? take_plan(c, &m, r, why) : ERR_OK;
    if (e == ERR_OK && ended && r->how == CHILD_CUT_SHORT)
        r->how = CHILD_DONE;
    if (e != ERR_OK || r->how == CHILD_DONE)
        return e;
    (void)snprintf(r->remark, sizeof r->remark, "%s",
                   c->remark[0] != '\0' ? c->remark : "the optimiser died before its end");
    return ERR_OK;
}

enum err
child_finish(struct child *child, struct child_result *out_result, struct err_text *why)
{
    struct child_result r;
    end_process(child);
    enum err e = begin_result(child->p, child->first, &r, why);
    if (e == ERR_OK)
        e = judge(child, &r, why);
    free(child->request);
    free(child->reply);
    free(child);
    if (e != ERR_OK) {
        plan_free(r.plan);
        return e;
    }
    *out_result = r;
    return ERR_OK;
}

static enum err
run(const struct problem *p, const struct plan *first, const struct child_options *options,
    struct child_result *out_result, struct err_text *why)
{
    struct child *c = NULL;
    bool over = false;
    enum err e = child_start(p, first, options, &c, why);
    if (e != ERR_OK)
        return e;
    while (!over)
        child_step(c, 1000, &over);
    return child_finish(c, out_result, why);
}

/* The better of two plans; the start when they are worth the same. Both are the caller's. */
static enum err
choose_first(const struct problem *p, const struct plan *made, const struct plan *start,
             const struct plan **out_first, struct err_text *why)
{
    struct check_result a, b;
    *out_first = made;
    if (start == NULL)
        return ERR_OK;
    enum err e = check_plan(p, made, &a, why);
    if (e == ERR_OK)
        e = check_plan(p, start, &b, why);
    if (e == ERR_OK && b.broken_n == 0 && (a.broken_n > 0 || b.worth >= a.worth))
        *out_first = start;
    return e;
}

static enum err
only_first(const struct problem *p, const struct plan *first, struct child_result *out_result,
           struct err_text *why)
{
    enum err e = begin_result(p, first, out_result, why);
    if (e != ERR_OK)
        return e;
    out_result->how = CHILD_NOT_RUN;
    (void)snprintf(out_result->remark, sizeof out_result->remark,
                   "the constructive plan, as asked");
    return ERR_OK;
}

enum err
child_best_plan(const struct problem *p, const struct child_options *options,
                struct child_result *out_result, struct err_text *why)
{
    struct plan *made = NULL;
    const struct plan *first = NULL;
    enum err e = greedy_plan(p, &made, why);
    if (e == ERR_OK)
        e = choose_first(p, made, options->start, &first, why);
    if (e == ERR_OK)
        e = options->effort > 0 ? run(p, first, options, out_result, why)
                                : only_first(p, first, out_result, why);
    plan_free(made);
    return e;
}
