/* test_door.c - the local door: who gets which role, and that nobody costs the others anything.
 *
 * Sources: unix(7) for SO_PEERCRED and SOCK_SEQPACKET; the rest is own design, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <fcntl.h>
#include <grp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <unistd.h>

#include "daemon/record/kind.h"
#include "daemon/sync/door.h"
#include "proto/codec.h"

static const struct door_group groups[] = {
    {ROLE_BIT_BARISTA, 100}, {ROLE_BIT_KITCHEN, 200}, {ROLE_BIT_OFFICE, 200}};

static const struct {
    const char *name;
    uint32_t uid, gids[3];
    size_t n;
    unsigned roles;
} rows[] = {
    {"root", 0, {0}, 1, ROLE_BIT_ALL},
    {"the daemon's own user", 500, {500}, 1, ROLE_BIT_ALL},
    {"a barista", 1000, {1000, 100}, 2, ROLE_BIT_BARISTA},
    {"two roles by one group", 1000, {200}, 1, ROLE_BIT_KITCHEN | ROLE_BIT_OFFICE},
    {"all groups", 1000, {100, 200}, 2, ROLE_BIT_BARISTA | ROLE_BIT_KITCHEN | ROLE_BIT_OFFICE},
    {"nobody", 65534, {65534}, 1, 0},
    {"a group that gives nothing", 1000, {0}, 1, 0},
};

Test(door, gives_roles_by_user_and_groups)
{
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_expect(door_roles(rows[i].uid, 500, rows[i].gids, rows[i].n, groups, 3) == rows[i].roles,
                  "%s", rows[i].name);
}

/* ---------------------------------------------------------------- a door with a small service */

struct scene {
    char dir[64], path[128];
    struct loop *loop;
    struct door *door;
    struct config *config;
    unsigned requests, hangups, replies_a_request, refused_sends;
    size_t reply_size;
    int timer;
    unsigned roles;
};

static void
answer(void *owner, const struct door_caller *caller, const Knockbox__Request *request,
       door_send *send, void *send_owner)
{
    struct scene *s = owner;
    uint8_t *data = calloc(1, s->reply_size + 1);
    s->requests++;
    s->roles = caller->roles;
    for (unsigned i = 0; i < s->replies_a_request; i++) {
        Knockbox__Reply reply = KNOCKBOX__REPLY__INIT;
        reply.has_number = reply.has_code = true;
        reply.number = request->number;
        reply.has_data = true;
        reply.data = (ProtobufCBinaryData){s->reply_size, data};
        reply.has_more = reply.more = i + 1 < s->replies_a_request;
        if (send(send_owner, &reply) != ERR_OK) {
            s->refused_sends++;
            break;
        }
    }
    free(data);
}

static void
hung_up(void *owner, uint64_t session)
{
    struct scene *s = owner;
    (void)session;
    s->hangups++;
}

static void
stop(void *owner)
{
    loop_stop(((struct scene *)owner)->loop);
}

static void
begin(struct scene *s)
{
    struct door_handler handler = {answer, hung_up, s};
    struct err_text why = {.s = ""};
    memset(s, 0, sizeof *s);
    s->replies_a_request = 1;
    s->reply_size = 10;
    strcpy(s->dir, "/tmp/knockbox-door-XXXXXX");
    cr_assert(mkdtemp(s->dir) != NULL);
    snprintf(s->path, sizeof s->path, "%s/run/knockbox.sock", s->dir);
    cr_assert(config_parse("c", "", 0, &config_hub, &s->config, NULL) == ERR_OK);
    cr_assert(loop_new(&s->loop, NULL) == ERR_OK);
    cr_assert(door_open(s->loop, s->path, s->config, &handler, &s->door, &why) == ERR_OK, "%s",
              why.s);
    cr_assert(loop_timer(s->loop, stop, s, &s->timer, NULL) == ERR_OK);
}

static void
end(struct scene *s)
{
    char folder[128];
    door_close(s->door);
    loop_free(s->loop);
    config_free(s->config);
    cr_expect(access(s->path, F_OK) != 0);
    snprintf(folder, sizeof folder, "%s/run", s->dir);
    rmdir(folder);
    rmdir(s->dir);
}

/* The loop for a while; timers, not sleeping, end it. */
static void
turn(struct scene *s, unsigned ms)
{
    loop_timer_set(s->timer, (uint64_t)ms * 1000, true);
    cr_assert(loop_run(s->loop, NULL) == ERR_OK);
    loop_again(s->loop);
}

static int
call(struct scene *s)
{
    struct sockaddr_un to = {.sun_family = AF_UNIX};
    int fd = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    snprintf(to.sun_path, sizeof to.sun_path, "%s", s->path);
    cr_assert(connect(fd, (struct sockaddr *)&to, sizeof to) == 0);
    return fd;
}

static void
ask(int fd, uint32_t number)
{
    uint8_t bytes[256];
    size_t len = 0;
    Knockbox__Wire wire = KNOCKBOX__WIRE__INIT;
    Knockbox__Request request = KNOCKBOX__REQUEST__INIT;
    request.has_version = request.has_number = true;
    request.version = 1;
    request.number = number;
    request.word = "status";
    wire.what_case = KNOCKBOX__WIRE__WHAT_REQUEST;
    wire.request = &request;
    cr_assert(codec_encode(&wire.base, bytes, sizeof bytes, &len, NULL) == ERR_OK);
    cr_assert(send(fd, bytes, len, MSG_NOSIGNAL) == (ssize_t)len);
}

static ssize_t
hear(int fd)
{
    static uint8_t bytes[LOCAL_PACKET_MOST];
    return recv(fd, bytes, sizeof bytes, MSG_DONTWAIT);
}

Test(door, answers_and_has_the_right_modes)
{
    struct scene s;
    struct stat st;
    char folder[128];
    begin(&s);
    cr_assert(stat(s.path, &st) == 0);
    cr_expect(eq(u32, st.st_mode & 07777, 0660));
    snprintf(folder, sizeof folder, "%s/run", s.dir);
    cr_assert(stat(folder, &st) == 0);
    cr_expect(eq(u32, st.st_mode & 07777, 0750));
    int fd = call(&s);
    ask(fd, 7);
    turn(&s, 20);
    cr_expect(eq(u32, s.requests, 1));
    cr_expect(eq(u32, s.roles, ROLE_BIT_ALL));
    cr_expect(hear(fd) > 0);
    close(fd);
    turn(&s, 20);
    cr_expect(eq(u32, s.hangups, 1));
    end(&s);
}

Test(door, lets_go_of_who_sends_rubbish)
{
    struct scene s;
    begin(&s);
    int fd = call(&s);
    cr_assert(send(fd, "rubbish", 7, MSG_NOSIGNAL) == 7);
    turn(&s, 20);
    cr_expect(eq(u32, s.requests, 0));
    cr_expect(hear(fd) > 0); /* it is told */
    cr_expect(hear(fd) == 0);
    close(fd);
    fd = call(&s); /* others are served */
    ask(fd, 1);
    turn(&s, 20);
    cr_expect(eq(u32, s.requests, 1));
    close(fd);
    end(&s);
}

Test(door, serves_others_while_one_reads_nothing)
{
    struct scene s;
    begin(&s);
    s.replies_a_request = 30;
    s.reply_size = 100000; /* 3 MB wait for the slow one */
    int slow = call(&s);
    ask(slow, 1);
    turn(&s, 20);
    s.replies_a_request = 1;
    s.reply_size = 10;
    int quick = call(&s);
    ask(quick, 2);
    turn(&s, 20);
    cr_expect(hear(quick) > 0);
    unsigned got = 0;
    for (int i = 0; i < 200 && got < 30; i++) {
        while (hear(slow) > 0)
            got++;
        turn(&s, 5);
    }
    cr_expect(eq(u32, got, 30)); /* it gets all when it reads at last */
    close(slow);
    close(quick);
    end(&s);
}

Test(door, lets_go_of_who_never_reads, .timeout = 20)
{
    struct scene s;
    begin(&s);
    s.replies_a_request = 400;
    s.reply_size = 100000; /* 40 MB: more than the queue takes */
    int slow = call(&s);
    ask(slow, 1);
    turn(&s, 20);
    cr_expect(eq(u32, s.refused_sends, 1));
    cr_expect(eq(u32, s.hangups, 1));
    close(slow);
    end(&s);
}

Test(door, holds_a_limit_of_connections)
{
    struct scene s;
    int fds[DOOR_PEERS + 20];
    begin(&s);
    for (int i = 0; i < DOOR_PEERS + 20; i++) {
        fds[i] = call(&s);
        turn(&s, 1);
    }
    unsigned closed = 0;
    for (int i = 0; i < DOOR_PEERS + 20; i++)
        closed += hear(fds[i]) == 0;
    cr_expect(eq(u32, closed, 20));
    for (int i = 0; i < DOOR_PEERS + 20; i++)
        close(fds[i]);
    turn(&s, 20);
    int fd = call(&s);
    ask(fd, 1);
    turn(&s, 20);
    cr_expect(hear(fd) > 0);
    close(fd);
    end(&s);
}

/* ---------------------------------------------------------------- settings read again */

enum {
    NOBODY = 65534
};

/* A request's code: 0, ERR_DENIED ... Waits for the reply. */
static uint32_t
code_of_reply(int fd)
{
    static uint8_t bytes[LOCAL_PACKET_MOST];
    struct arena arena;
    ProtobufCMessage *message = NULL;
    ssize_t n = recv(fd, bytes, sizeof bytes, 0);
    if (n <= 0 || arena_init(&arena, ARENA_FRAME, NULL) != ERR_OK ||
        codec_decode(&knockbox__wire__descriptor, bytes, (size_t)n, &arena, &message, NULL) !=
            ERR_OK)
        return 999;
    uint32_t code = ((Knockbox__Wire *)(void *)message)->reply->code;
    arena_done(&arena);
    return code;
}

/* A user without roles who asks twice on one connection: is denied, and, once its group has a role,
 * is answered. The tests' user must be root for this. */
static void
nobody_asks(struct scene *s, int go)
{
    struct sockaddr_un to = {.sun_family = AF_UNIX};
    gid_t group = NOBODY;
    char byte;
    int fd = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0);
    snprintf(to.sun_path, sizeof to.sun_path, "%s", s->path);
    if (setgroups(1, &group) != 0 || setgid(NOBODY) != 0 || setuid(NOBODY) != 0 ||
        connect(fd, (struct sockaddr *)&to, sizeof to) != 0)
        _exit(90);
    ask(fd, 1);
    if (code_of_reply(fd) != ERR_DENIED)
        _exit(91);
    if (write(go, "x", 1) != 1 || read(go, &byte, 1) != 1)
        _exit(92);
    ask(fd, 2);
    _exit(code_of_reply(fd) == ERR_OK ? 0 : 93);
}

static void
open_to_all(const struct scene *s)
{
    char folder[128];
    snprintf(folder, sizeof folder, "%s/run", s->dir);
    cr_assert(chmod(s->dir, 0755) == 0 && chmod(folder, 0755) == 0 && chmod(s->path, 0666) == 0);
}

static void
give_role(struct scene *s)
{
    struct config *config = NULL;
    struct err_text why = {.s = ""};
    char line[200];
    const struct group *group = getgrgid(NOBODY);
    cr_assert_not_null(group);
    int n = snprintf(line, sizeof line, "role.group barista %s\n", group->gr_name);
    cr_assert(config_parse("c", line, (size_t)n, &config_hub, &config, &why) == ERR_OK, "%s",
              why.s);
    cr_assert(door_reload(s->door, config, &why) == ERR_OK, "%s", why.s);
    config_free(config);
}

Test(door, reads_the_roles_again_for_who_is_there, .timeout = 30)
{
    struct scene s;
    int pair[2], status = 0;
    char byte = 0;
    if (geteuid() != 0)
        cr_skip_test("only root can be somebody else");
    begin(&s);
    open_to_all(&s);
    cr_assert(socketpair(AF_UNIX, SOCK_STREAM, 0, pair) == 0);
    pid_t child = fork();
    if (child == 0)
        nobody_asks(&s, pair[1]);
    close(pair[1]);
    for (int i = 0; i < 500 && recv(pair[0], &byte, 1, MSG_DONTWAIT) != 1; i++)
        turn(&s, 10);
    cr_assert(byte == 'x', "no answer to the first request");
    give_role(&s);
    cr_assert(write(pair[0], "x", 1) == 1);
    pid_t ended = 0;
    for (int i = 0; i < 500 && (ended = waitpid(child, &status, WNOHANG)) == 0; i++)
        turn(&s, 10);
    cr_assert(eq(int, ended, child));
    cr_expect(eq(int, WEXITSTATUS(status), 0));
    cr_expect(eq(u32, s.roles, ROLE_BIT_BARISTA));
    close(pair[0]);
    end(&s);
}

Test(door, keeps_its_roles_when_the_settings_are_bad)
{
    struct scene s;
    struct config *config = NULL;
    struct err_text why = {.s = ""};
    static const char line[] = "role.group barista no-such-group-here\n";
    begin(&s);
    cr_assert(config_parse("c", line, sizeof line - 1, &config_hub, &config, &why) == ERR_OK);
    cr_assert(door_reload(s.door, config, &why) == ERR_INPUT);
    cr_expect(strstr(why.s, "this machine has no group no-such-group-here") != NULL, "%s", why.s);
    int fd = call(&s);
    ask(fd, 1);
    turn(&s, 50);
    cr_expect(hear(fd) > 0);
    cr_expect(eq(u32, s.roles, ROLE_BIT_ALL));
    close(fd);
    config_free(config);
    end(&s);
}
