/* wire.c - the way to the daemon over the local socket. */
#include "client/wire.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>
#include "client/spawn_link.h"
#include "proto/local.h"

enum {
    SAY_MS = 1500, /* of waiting, then it is said */
    ANSWER_WAIT_MS = 120 * 1000
};

struct wire {
    int fd;
    pid_t link;                /* knockbox-link, 0: none */
    bool says;                 /* that it waits: once */
    struct progress *progress; /* or NULL */
    char where[256];
    struct arena arena;
    uint8_t packet[LOCAL_PACKET_MOST];
};

/* Room for the address: a folder may be deeper than a socket's name is long, so it is opened first
 * and named by its descriptor. */
static enum err
connect_local(const char *folder, int *out_fd, struct err_text *why)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    int dir = open(folder, O_PATH | O_DIRECTORY | O_CLOEXEC);
    if (dir < 0)
        return err_set(errno == EACCES ? ERR_DENIED : ERR_PEER, why, "%s: %s", folder,
                       errno == ENOENT ? "no such folder (--at names a daemon's folder)"
                                       : strerror(errno));
    (void)snprintf(address.sun_path, sizeof address.sun_path, "/proc/self/fd/%d/" LOCAL_SOCKET,
                   dir);
    int fd = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0);
    int failed = fd < 0 || connect(fd, (struct sockaddr *)&address, sizeof address) != 0;
    int code = errno;
    (void)close(dir);
    if (!failed) {
        *out_fd = fd;
        return ERR_OK;
    }
    if (fd >= 0)
        (void)close(fd);
    if (code == EACCES)
        return err_set(ERR_DENIED, why,
                       "the daemon in %s is not for this account: ask the "
                       "operator to add it to the daemon's group",
                       folder);
    return err_set(ERR_PEER, why,
                   "no answer from the daemon in %s (is it running? knockbox-cafe run %s)", folder,
                   folder);
}

static const char *
default_where(void)
{
    const char *at = getenv("KNOCKBOX_AT");
    return at != NULL && at[0] != '\0' ? at : LOCAL_SYSTEM_FOLDER;
}

enum err
wire_open(const struct given *given, struct wire **out_wire, struct err_text *why)
{
    const char *where = given->at != NULL ? given->at : default_where();
    struct wire *wire = malloc(sizeof *wire);
    if (wire == NULL)
        return err_set(ERR_MEM, why, "no memory to ask the daemon");
    wire->fd = -1;
    wire->link = 0;
    wire->progress = NULL;
    wire->arena = (struct arena){NULL, 0, 0};
    wire->says = !given->quiet && given->output != OUTPUT_JSON; /* there stderr is one object */
    (void)snprintf(wire->where, sizeof wire->where, "%s", where);
    enum err e = arena_init(&wire->arena, ARENA_FRAME, why);
    if (e == ERR_OK)
        e = strncmp(where, "tcp://", 6) == 0
                ? spawn_link(where, given->key, &wire->fd, &wire->link, why)
                : connect_local(where, &wire->fd, why);
    if (e != ERR_OK) {
        wire_close(wire);
        return e;
    }
    *out_wire = wire;
    return ERR_OK;
}

void
wire_close(struct wire *wire)
{
    if (wire == NULL)
        return;
    if (wire->fd >= 0)
        (void)close(wire->fd);
    if (wire->link > 0)
        (void)end_link(wire->link);
    arena_done(&wire->arena);
    free(wire);
}

void
wire_beside(struct wire *wire, struct progress *progress)
{
    wire->progress = progress;
}

const char *
wire_where(const struct wire *wire)
{
    return wire->where;
}

/* knockbox-link has said itself what was wrong; its exit status says which kind of wrong. */
static enum err
link_failed(struct wire *wire, struct err_text *why)
{
    int status = end_link(wire->link);
    wire->link = 0;
    if (status == err_exit_status(ERR_DENIED))
        return err_set(ERR_DENIED, why, "the hub at %s does not let this key in", wire->where);
    if (status == err_exit_status(ERR_USAGE))
        return err_set(ERR_USAGE, why, "give your key with --key FILE");
    return err_set(ERR_PEER, why, "no answer from the hub at %s", wire->where);
}

static enum err
gone(struct wire *wire, struct err_text *why)
{
    if (wire->link > 0)
        return link_failed(wire, why);
    return err_set(ERR_PEER, why, "the daemon in %s went away before it answered", wire->where);
}

static void
say_waiting(struct wire *wire)
{
    if (!wire->says)
        return;
    if (wire->progress != NULL)
        progress_end(wire->progress); /* it comes again */
    (void)fprintf(stderr,
                  wire->link > 0
                      ? "knockbox: waiting for the hub at %s\n"
                      : "knockbox: waiting for the daemon in %s (a slow disk, or much to do)\n",
                  wire->where);
    wire->says = false;
}

/* Until there is something to read, or room to write (`events`). */
static enum err
wait_for(struct wire *wire, short events, struct err_text *why)
{
    static const int parts_ms[] = {SAY_MS, ANSWER_WAIT_MS - SAY_MS};
    struct pollfd wait = {.fd = wire->fd, .events = events};
    int n = 0;
    for (int i = 0; i < 2 && n == 0; i++) {
        if (i > 0)
            say_waiting(wire);
        do
            n = poll(&wait, 1, parts_ms[i]);
        while (n < 0 && errno == EINTR);
    }
    if (n == 0)
        return err_set(ERR_PEER, why, "the daemon in %s does not answer (waited %d s)", wire->where,
                       ANSWER_WAIT_MS / 1000);
    return n > 0 ? ERR_OK : gone(wire, why);
}

enum err
wire_send(struct wire *wire, const Knockbox__Request *request, struct err_text *why)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    size_t len = 0;
    message.what_case = KNOCKBOX__WIRE__WHAT_REQUEST;
    message.request = (Knockbox__Request *)(uintptr_t)request; /* only packed */
    enum err e = codec_encode(&message.base, wire->packet, sizeof wire->packet, &len, why);
    if (e == ERR_OK)
        e = wait_for(wire, POLLOUT, why);
    if (e != ERR_OK)
        return e;
    while (send(wire->fd, wire->packet, len, MSG_NOSIGNAL) < 0)
        if (errno != EINTR)
            return errno == EMSGSIZE
                       ? err_set(ERR_INPUT, why, "the request is too large for the local socket")
                       : gone(wire, why);
    return ERR_OK;
}

enum err
wire_receive(struct wire *wire, const Knockbox__Reply **out_reply, struct err_text *why)
{
    ProtobufCMessage *message = NULL;
    enum err e = wait_for(wire, POLLIN, why);
    if (e != ERR_OK)
        return e;
    ssize_t len = recv(wire->fd, wire->packet, sizeof wire->packet, 0);
    if (len <= 0)
        return gone(wire, why);
    arena_reset(&wire->arena);
    e = codec_decode(&knockbox__wire__descriptor, wire->packet, (size_t)len, &wire->arena, &message,
                     why);
    if (e != ERR_OK)
        return err_set(ERR_PEER, why, "the daemon in %s speaks another language", wire->where);
    const Knockbox__Wire *packet = (const Knockbox__Wire *)message;
    if (packet->what_case == KNOCKBOX__WIRE__WHAT_REFUSE)
        return err_set(ERR_PEER, why, "%s", packet->refuse->text);
    if (packet->what_case != KNOCKBOX__WIRE__WHAT_REPLY)
        return err_set(ERR_PEER, why, "the daemon in %s speaks another language", wire->where);
    *out_reply = packet->reply;
    return ERR_OK;
}
