/* door.c - accepts people of this machine, takes their frames, sends replies without waiting. */
#include "daemon/sync/door.h"

#include <errno.h>
#include <fcntl.h>
#include <grp.h>
#include <poll.h>
#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#include "daemon/base/diag.h"
#include "daemon/base/folder.h"
#include "daemon/record/kind.h"
#include "daemon/sync/turn.h"
#include "proto/codec.h"

enum {
    GROUPS_MOST = 64,
    PEER_GROUPS_MOST = 256,
    BACKLOG = 64
};

struct waiting { /* a reply that the caller has not read yet */
    struct waiting *next;
    size_t len;
    uint8_t bytes[];
};

struct door_peer {
    struct door *door;
    int fd;
    uint32_t uid;
    bool gone;   /* closed; freed when nothing of ours is on the stack */
    bool paused; /* not its turn yet */
    struct door_caller caller;
    struct waiting *first, *last;
    size_t queued;
    int patience_ms; /* left for this request */
};

/* What `role.group` says. */
struct door_groups {
    struct door_group list[GROUPS_MOST];
    size_t n;
};

struct user_turn {
    uint32_t uid;
    struct turn turn;
    uint64_t session; /* of the line that was answered last, */
    uint64_t end_us;  /* and when */
};

struct door {
    struct loop *loop;
    int fd;
    int rest, turn; /* timers */
    unsigned share_pct;
    struct user_turn turns[DOOR_TURNS];
    size_t n_turns;
    char path[PATH_SIZE];
    uint32_t self;
    struct door_handler handler;
    struct door_groups groups;
    struct door_peer *peers[DOOR_PEERS];
    size_t n_peers;
    uint64_t sessions;
    size_t queued; /* of all peers */
    struct arena arena;
    uint8_t in[LOCAL_PACKET_MOST + 1], out[LOCAL_PACKET_MOST];
};

unsigned
door_roles(uint32_t uid, uint32_t self, const uint32_t *gids, size_t n_gids,
           const struct door_group *groups, size_t n_groups)
{
    unsigned roles = 0;
    if (uid == 0 || uid == self)
        return ROLE_BIT_ALL;
    for (size_t i = 0; i < n_gids; i++)
        for (size_t k = 0; k < n_groups; k++)
            if (gids[i] == groups[k].gid)
                roles |= groups[k].role;
    return roles;
}

/* ---------------------------------------------------------------- replies */

static void
drop_peer(struct door_peer *peer)
{
    struct door *door = peer->door;
    if (peer->gone)
        return;
    peer->gone = true;
    loop_remove(door->loop, NULL, peer->fd);
    (void)close(peer->fd);
    if (door->handler.hangup != NULL)
        door->handler.hangup(door->handler.owner, peer->caller.session);
}

static void
free_peer(struct door_peer *peer)
{
    peer->door->queued -= peer->queued;
    while (peer->first != NULL) {
        struct waiting *next = peer->first->next;
        free(peer->first);
        peer->first = next;
    }
    free(peer);
}

static void
forget_gone(struct door *door)
{
    size_t kept = 0;
    for (size_t i = 0; i < door->n_peers; i++) {
        if (door->peers[i]->gone)
            free_peer(door->peers[i]);
        else
            door->peers[kept++] = door->peers[i];
    }
    if (kept < door->n_peers) /* a descriptor is free again: who waits is let in */
        loop_pause(door->loop, door->fd, false);
    door->n_peers = kept;
}

/* Sends what waits, as far as the socket takes it. */
static void
send_waiting(struct door_peer *peer)
{
    while (peer->first != NULL && !peer->gone) {
        struct waiting *first = peer->first;
        ssize_t n = send(peer->fd, first->bytes, first->len, MSG_DONTWAIT | MSG_NOSIGNAL);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0 && (errno == EAGAIN || errno == EWOULDBLOCK))
            break;
        if (n < 0) {
            drop_peer(peer);
            return;
        }
        peer->first = first->next;
        peer->queued -= first->len;
        peer->door->queued -= first->len;
        free(first);
    }
    if (peer->first == NULL)
        peer->last = NULL;
    loop_want_write(peer->door->loop, peer->fd, peer->first != NULL);
}

static int
mono_ms(void)
{
    struct timespec t = {0};
    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (int)((int64_t)t.tv_sec % 1000000 * 1000 + t.tv_nsec / 1000000);
}

/* The queues are full: a caller for whom the others would wait too long is let go. */
static bool
make_room(struct door_peer *peer, size_t len)
{
    while (!peer->gone && peer->queued > 0 && peer->door->queued + len > DOOR_QUEUE_MOST) {
        struct pollfd wait = {.fd = peer->fd, .events = POLLOUT};
        int before = mono_ms();
        bool ready = peer->patience_ms > 0 && poll(&wait, 1, peer->patience_ms) > 0;
        peer->patience_ms -= mono_ms() - before;
        if (!ready) {
            diag_warning("door: %s reads its replies too slowly, letting it go", peer->caller.via);
            drop_peer(peer);
            return false;
        }
        send_waiting(peer);
    }
    return !peer->gone;
}

static enum err
queue_reply(struct door_peer *peer, const uint8_t *bytes, size_t len)
{
    if (!make_room(peer, len))
        return ERR_PEER;
    struct waiting *w = malloc(sizeof *w + len);
    if (w == NULL) {
        drop_peer(peer);
        return ERR_PEER;
    }
    w->next = NULL;
    w->len = len;
    memcpy(w->bytes, bytes, len);
    if (peer->last != NULL)
        peer->last->next = w;
    else
        peer->first = w;
    peer->last = w;
    peer->queued += len;
    peer->door->queued += len;
    send_waiting(peer);
    return peer->gone ? ERR_PEER : ERR_OK;
}

static enum err
send_reply(void *owner, const Knockbox__Reply *reply)
{
    struct door_peer *peer = owner;
    struct door *door = peer->door;
    Knockbox__Wire wire = KNOCKBOX__WIRE__INIT;
    size_t len = 0;
    struct err_text why;
    if (peer->gone)
        return ERR_PEER;
    wire.what_case = KNOCKBOX__WIRE__WHAT_REPLY;
    wire.reply = (Knockbox__Reply *)reply; /* only read */
    if (codec_encode(&wire.base, door->out, sizeof door->out, &len, &why) != ERR_OK) {
        diag_error("door: a reply was left out: %s", why.s);
        return ERR_OK;
    }
    return queue_reply(peer, door->out, len);
}

static void
refuse(struct door_peer *peer, uint32_t number, enum err code, const char *text)
{
    char words[512];
    Knockbox__Reply reply = KNOCKBOX__REPLY__INIT;
    (void)snprintf(words, sizeof words, "%.400s", text);
    reply.has_number = reply.has_code = true;
    reply.number = number;
    reply.code = (uint32_t)code;
    reply.text = words;
    (void)send_reply(peer, &reply);
}

/* ---------------------------------------------------------------- requests */

static uint64_t
now_us(void)
{
    struct timespec t = {0};
    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (uint64_t)t.tv_sec * 1000000 + (uint64_t)t.tv_nsec / 1000;
}

static bool
is_trusted(const struct door *door, uint32_t uid)
{
    return uid == 0 || uid == door->self;
}

/* The user's share; of too many users the one that owes least is forgotten. */
static struct user_turn *
turn_of(struct door *door, uint32_t uid)
{
    struct user_turn *found = NULL;
    for (size_t i = 0; i < door->n_turns; i++) {
        struct user_turn *one = &door->turns[i];
        if (one->uid == uid)
            return one;
        if (found == NULL || one->turn.left > found->turn.left)
            found = one;
    }
    if (door->n_turns < DOOR_TURNS)
        found = &door->turns[door->n_turns++];
    *found = (struct user_turn){.uid = uid};
    turn_init(&found->turn, now_us());
    return found;
}

/* Of a user's many lines one is answered at a time, so that others are heard between. */
static bool
has_turn(struct door_peer *peer)
{
    struct door *door = peer->door;
    uint64_t now = now_us();
    if (is_trusted(door, peer->uid))
        return true;
    struct user_turn *one = turn_of(door, peer->uid);
    bool same = one->session == peer->caller.session;
    return (same || now - one->end_us > (uint64_t)DOOR_TURN_MS * 500) &&
           turn_wait_us(&one->turn, door->share_pct, now) == 0;
}

/* Called when it is time to look again. */
static void
let_ask(void *owner)
{
    struct door *door = owner;
    for (size_t i = 0; i < door->n_peers; i++) {
        if (door->peers[i]->paused && !door->peers[i]->gone)
            loop_pause(door->loop, door->peers[i]->fd, false);
        door->peers[i]->paused = false;
    }
}

static void
pause_peer(struct door_peer *peer)
{
    peer->paused = true;
    loop_pause(peer->door->loop, peer->fd, true);
    loop_timer_set(peer->door->turn, (uint64_t)DOOR_TURN_MS * 1000, true);
}

static void
hand_on(struct door_peer *peer, const Knockbox__Request *request)
{
    struct door *door = peer->door;
    uint64_t before = now_us();
    peer->patience_ms = DOOR_PATIENCE_MS;
    door->handler.request(door->handler.owner, &peer->caller, request, send_reply, peer);
    uint64_t after = now_us();
    if (is_trusted(door, peer->uid))
        return;
    struct user_turn *one = turn_of(door, peer->uid);
    one->session = peer->caller.session;
    one->end_us = after;
    turn_take(&one->turn, door->share_pct, after - before, after);
}

static void
take_frame(struct door_peer *peer, size_t len)
{
    struct door *door = peer->door;
    ProtobufCMessage *message = NULL;
    struct err_text why;
    arena_reset(&door->arena);
    enum err e =
        codec_decode(&knockbox__wire__descriptor, door->in, len, &door->arena, &message, &why);
    const Knockbox__Wire *wire = (const Knockbox__Wire *)message;
    if (e == ERR_OK && wire->what_case != KNOCKBOX__WIRE__WHAT_REQUEST)
        e = err_set(ERR_INPUT, &why, "expected a request");
    if (e != ERR_OK) {
        refuse(peer, 0, e, why.s);
        drop_peer(peer);
        return;
    }
    const Knockbox__Request *request = wire->request;
    if (peer->caller.roles == 0) {
        refuse(peer, request->number, ERR_DENIED,
               "your user has no role here: ask the operator for a group that role.group names");
        return;
    }
    hand_on(peer, request);
}

static void
read_peer(void *owner)
{
    struct door_peer *peer = owner;
    struct door *door = peer->door;
    if (peer->first != NULL)
        send_waiting(peer);
    /* Replies go out first: who reads nothing is not listened to. */
    if (peer->paused) {
        drop_peer(peer); /* only a caller that hung up is heard while it waits */
    } else if (!peer->gone && peer->first == NULL && !has_turn(peer)) {
        pause_peer(peer);
    } else if (!peer->gone && peer->first == NULL) {
        ssize_t n = recv(peer->fd, door->in, sizeof door->in, MSG_DONTWAIT | MSG_TRUNC);
        bool failed = n < 0 && errno != EAGAIN && errno != EINTR;
        if (n == 0 || failed || n > LOCAL_PACKET_MOST)
            drop_peer(peer);
        else if (n > 0)
            take_frame(peer, (size_t)n);
    }
    forget_gone(door);
}

/* ---------------------------------------------------------------- callers */

static size_t
peer_groups(int fd, gid_t first, uint32_t *out, size_t most)
{
    gid_t gids[PEER_GROUPS_MOST];
    socklen_t size = sizeof gids;
    size_t n = 0;
    out[n++] = first;
    if (getsockopt(fd, SOL_SOCKET, SO_PEERGROUPS, gids, &size) != 0)
        return n; /* more groups than we look at: the first one counts */
    for (size_t i = 0; i < size / sizeof gids[0] && n < most; i++)
        out[n++] = gids[i];
    return n;
}

static void
name_caller(struct door_caller *caller, uint32_t uid)
{
    struct passwd entry, *found = NULL;
    char text[2048];
    if (getpwuid_r(uid, &entry, text, sizeof text, &found) == 0 && found != NULL)
        (void)snprintf(caller->via, sizeof caller->via, "uid %u (%.40s)", uid, found->pw_name);
    else
        (void)snprintf(caller->via, sizeof caller->via, "uid %u", uid);
}

static size_t
peers_of(const struct door *door, uint32_t uid)
{
    size_t n = 0;
    for (size_t i = 0; i < door->n_peers; i++)
        n += door->peers[i]->uid == uid;
    return n;
}

static bool
room_for(const struct door *door, uint32_t uid)
{
    return door->n_peers < DOOR_PEERS &&
           (is_trusted(door, uid) || peers_of(door, uid) < DOOR_PEERS_USER);
}

/* By the groups that the caller had when it came. */
static unsigned
roles_of(const struct door *door, int fd, const struct ucred *who)
{
    uint32_t gids[PEER_GROUPS_MOST + 1];
    size_t n = peer_groups(fd, who->gid, gids, PEER_GROUPS_MOST + 1);
    return door_roles(who->uid, door->self, gids, n, door->groups.list, door->groups.n);
}

static struct door_peer *
new_peer(struct door *door, int fd)
{
    struct ucred who = {0};
    socklen_t size = sizeof who;
    if (getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &who, &size) != 0 || !room_for(door, who.uid))
        return NULL;
    struct door_peer *peer = calloc(1, sizeof *peer);
    if (peer == NULL)
        return NULL;
    peer->door = door;
    peer->fd = fd;
    peer->uid = who.uid;
    peer->caller.roles = roles_of(door, fd, &who);
    peer->caller.session = ++door->sessions;
    name_caller(&peer->caller, who.uid);
    return peer;
}

static void
rested(void *owner)
{
    struct door *door = owner;
    loop_pause(door->loop, door->fd, false);
}

/* Without descriptors or memory the caller goes on waiting at the socket, which would wake us again
 * and again. */
static void
rest_if_short(struct door *door, int code)
{
    if (code != EMFILE && code != ENFILE && code != ENOMEM && code != ENOBUFS)
        return;
    loop_pause(door->loop, door->fd, true);
    loop_timer_set(door->rest, (uint64_t)DOOR_REST_MS * 1000, true);
}

static void
accept_peer(void *owner)
{
    struct door *door = owner;
    int fd = accept4(door->fd, NULL, NULL, SOCK_CLOEXEC | SOCK_NONBLOCK);
    if (fd < 0) {
        rest_if_short(door, errno); /* else the caller is gone again */
        return;
    }
    struct door_peer *peer = new_peer(door, fd);
    if (peer == NULL || loop_add(door->loop, NULL, fd, read_peer, peer, NULL) != ERR_OK) {
        free(peer);
        (void)close(fd);
        return;
    }
    door->peers[door->n_peers++] = peer;
}

/* ---------------------------------------------------------------- open and close */

static enum err
add_group(struct door_groups *groups, const char *line, struct err_text *why)
{
    char word[16], name[64], text[4096];
    struct group entry, *found = NULL;
    enum role role = ROLE_BIT_READER;
    if (sscanf(line, "%15s %63s", word, name) != 2 || !role_parse(word, &role))
        return err_input(why, "role.group", line, "ROLE GROUP");
    if (getgrnam_r(name, &entry, text, sizeof text, &found) != 0 || found == NULL)
        return err_set(ERR_INPUT, why, "role.group \"%s\": this machine has no group %s", line,
                       name);
    if (groups->n == GROUPS_MOST)
        return err_set(ERR_INPUT, why, "role.group: at most %d lines", GROUPS_MOST);
    groups->list[groups->n++] = (struct door_group){(unsigned)role, found->gr_gid};
    return ERR_OK;
}

static enum err
read_groups(struct door_groups *groups, const struct config *config, struct err_text *why)
{
    const char *line = NULL;
    groups->n = 0;
    for (size_t i = 0; (line = config_nth(config, "role.group", i)) != NULL; i++) {
        enum err e = add_group(groups, line, why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

/* Binds by the folder's descriptor: a folder may be deeper than a socket's name is long. */
static bool
bind_in(struct door *door, const char *folder, const char *name)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    int dir = open(folder, O_PATH | O_DIRECTORY | O_CLOEXEC);
    int n = snprintf(address.sun_path, sizeof address.sun_path, "/proc/self/fd/%d/%s", dir, name);
    bool fine = dir >= 0 && n > 0 && (size_t)n < sizeof address.sun_path &&
                bind(door->fd, (struct sockaddr *)&address, sizeof address) == 0;
    int code = errno;
    if (dir >= 0)
        (void)close(dir);
    errno = code;
    return fine;
}

static enum err
listen_on(struct door *door, struct err_text *why)
{
    char folder[PATH_SIZE];
    memcpy(folder, door->path, sizeof folder);
    char *slash = strrchr(folder, '/');
    if (slash == NULL || slash == folder)
        return err_input(why, "local.socket", door->path, "a path in a folder");
    *slash = '\0';
    enum err e = folder_make(folder, 0750, why);
    if (e != ERR_OK)
        return e;
    door->fd = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    (void)unlink(door->path); /* we hold the folder's lock: nobody listens there */
    bool fine = door->fd >= 0 && bind_in(door, folder, slash + 1) && chmod(door->path, 0660) == 0 &&
                listen(door->fd, BACKLOG) == 0;
    if (!fine)
        return err_set(ERR_IO, why, "cannot listen on %.300s: %s", door->path, strerror(errno));
    return loop_add(door->loop, NULL, door->fd, accept_peer, door, why);
}

enum err
door_open(struct loop *loop, const char *path, const struct config *config,
          const struct door_handler *handler, struct door **out_door, struct err_text *why)
{
    struct door *door = calloc(1, sizeof *door);
    if (door == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    door->loop = loop;
    door->fd = -1;
    door->self = geteuid();
    door->share_pct = (unsigned)config_number(config, "people.share");
    door->handler = *handler;
    enum err e = ERR_OK;
    (void)snprintf(door->path, sizeof door->path, "%s", path);
    if (e == ERR_OK)
        e = arena_init(&door->arena, ARENA_FRAME, why);
    if (e == ERR_OK)
        e = read_groups(&door->groups, config, why);
    if (e == ERR_OK)
        e = loop_timer(loop, rested, door, &door->rest, why);
    if (e == ERR_OK)
        e = loop_timer(loop, let_ask, door, &door->turn, why);
    if (e == ERR_OK)
        e = listen_on(door, why);
    if (e == ERR_OK)
        *out_door = door;
    else
        door_close(door);
    return e;
}

enum err
door_reload(struct door *door, const struct config *config, struct err_text *why)
{
    struct door_groups groups;
    enum err e = read_groups(&groups, config, why);
    if (e != ERR_OK)
        return e;
    door->groups = groups;
    for (size_t i = 0; i < door->n_peers; i++) {
        struct door_peer *peer = door->peers[i];
        struct ucred who = {0};
        socklen_t size = sizeof who;
        bool known = !peer->gone && getsockopt(peer->fd, SOL_SOCKET, SO_PEERCRED, &who, &size) == 0;
        peer->caller.roles = known ? roles_of(door, peer->fd, &who) : 0;
    }
    return ERR_OK;
}

void
door_close(struct door *door)
{
    if (door == NULL)
        return;
    for (size_t i = 0; i < door->n_peers; i++)
        drop_peer(door->peers[i]);
    forget_gone(door);
    if (door->rest > 0)
        loop_timer_set(door->rest, 0, true);
    if (door->turn > 0)
        loop_timer_set(door->turn, 0, true);
    if (door->fd >= 0) {
        loop_remove(door->loop, NULL, door->fd);
        (void)close(door->fd);
        (void)unlink(door->path);
    }
    arena_done(&door->arena);
    free(door);
}
