/* carry.c - one person's line: a packet is a frame, a frame is a packet. */
#include "daemon/sync/carry.h"

#include <errno.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <zmq.h>

#include "daemon/sync/socket.h"
#include "proto/local.h"

enum {
    CONNECT_MS = 10000,
    STEP_MS = 250,
    FIRST_WAIT_MS = 10000
};

struct line {
    int fd;
    const char *endpoint;
    void *context, *socket, *monitor;
    struct arena arena;
    uint32_t number; /* of the last request */
    bool waits;      /* a request without its last reply */
    bool connected;
    bool held; /* in[0..held_len) was not taken by the socket yet */
    size_t held_len;
    int64_t since_ms; /* monotonic: when it last began to wait for a connection */
    uint8_t in[LOCAL_PACKET_MOST], out[WIRE_MOST];
};

static int64_t
mono_ms(void)
{
    struct timespec t = {0};
    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* ---------------------------------------------------------------- to the person */

static enum err
to_person(int fd, const uint8_t *bytes, size_t len)
{
    while (send(fd, bytes, len, MSG_NOSIGNAL) < 0)
        if (errno != EINTR)
            return ERR_PEER;
    return ERR_OK;
}

static void
send_error(int fd, uint32_t number, enum err code, const char *text)
{
    uint8_t bytes[1024];
    char words[500];
    size_t len = 0;
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Reply reply = KNOCKBOX__REPLY__INIT;
    (void)snprintf(words, sizeof words, "%s", text);
    reply.has_number = reply.has_code = true;
    reply.number = number;
    reply.code = (uint32_t)code;
    reply.text = words;
    message.what_case = KNOCKBOX__WIRE__WHAT_REPLY;
    message.reply = &reply;
    if (codec_encode(&message.base, bytes, sizeof bytes, &len, NULL) == ERR_OK)
        (void)to_person(fd, bytes, len); /* gone: nobody is left to hear it */
}

static enum err
give_up(struct line *line, enum err code, struct err_text *why, const char *text)
{
    if (line->waits)
        send_error(line->fd, line->number, code, text);
    line->waits = false;
    return err_set(code, why, "%s", text);
}

/* ---------------------------------------------------------------- the person's packets */

/* The request whose answers will be awaited. false: no request of ours. */
static bool
note_request(struct line *line, size_t len)
{
    const Knockbox__Wire *message = NULL;
    if (wire_unpack(line->in, len, &line->arena, &message, NULL) != ERR_OK ||
        message->what_case != KNOCKBOX__WIRE__WHAT_REQUEST)
        return false;
    line->number = message->request->number;
    line->waits = true;
    return true;
}

static void
push_held(struct line *line)
{
    if (line->held && line->connected &&
        zmq_send(line->socket, line->in, line->held_len, ZMQ_DONTWAIT) >= 0)
        line->held = false;
}

/* ERR_NOT_FOUND: the person has hung up. */
static enum err
take_packet(struct line *line, struct err_text *why)
{
    ssize_t n = recv(line->fd, line->in, sizeof line->in, MSG_DONTWAIT | MSG_TRUNC);
    if (n < 0 && (errno == EAGAIN || errno == EINTR))
        return ERR_OK;
    if (n <= 0)
        return ERR_NOT_FOUND;
    if ((size_t)n > sizeof line->in || !note_request(line, (size_t)n))
        return err_set(ERR_PEER, why, "the client sent what is no request");
    line->held = true;
    line->held_len = (size_t)n;
    if (!line->connected && line->since_ms == 0)
        line->since_ms = mono_ms();
    push_held(line);
    return ERR_OK;
}

/* ---------------------------------------------------------------- the hub's frames */

static enum err
take_frame(struct line *line, struct err_text *why)
{
    const Knockbox__Wire *message = NULL;
    int n = zmq_recv(line->socket, line->out, sizeof line->out, ZMQ_DONTWAIT);
    if (n < 0)
        return ERR_OK;
    if (wire_unpack(line->out, (size_t)n, &line->arena, &message, why) != ERR_OK)
        return give_up(line, ERR_PEER, why, "the hub's answer makes no sense");
    if (message->what_case == KNOCKBOX__WIRE__WHAT_REFUSE)
        return give_up(line, ERR_DENIED, why, message->refuse->text);
    if (message->what_case != KNOCKBOX__WIRE__WHAT_REPLY)
        return ERR_OK;
    line->waits = message->reply->has_more && message->reply->more;
    return to_person(line->fd, line->out, (size_t)n);
}

static enum err
take_event(struct line *line, struct err_text *why)
{
    uint8_t head[6];
    char address[256];
    uint16_t event = 0;
    uint32_t value = 0;
    int n = zmq_recv(line->monitor, head, sizeof head, ZMQ_DONTWAIT);
    if (n != (int)sizeof head)
        return ERR_OK;
    (void)zmq_recv(line->monitor, address, sizeof address, 0);
    memcpy(&event, head, sizeof event);
    memcpy(&value, head + sizeof event, sizeof value);
    switch (event) {
    case ZMQ_EVENT_HANDSHAKE_SUCCEEDED:
        line->connected = true;
        push_held(line);
        return ERR_OK;
    case ZMQ_EVENT_HANDSHAKE_FAILED_AUTH:
        return value == 300 ? ERR_OK
                            : give_up(line, ERR_DENIED, why,
                                      "the hub does not know this key: ask the operator");
    case ZMQ_EVENT_HANDSHAKE_FAILED_PROTOCOL:
        return give_up(line, ERR_PEER, why, "what answers there is no hub");
    case ZMQ_EVENT_DISCONNECTED:
        if (!line->connected)
            return ERR_OK;
        return give_up(line, ERR_PEER, why, "the line to the hub broke");
    default:
        return ERR_OK;
    }
}

static enum err
check_patience(struct line *line, struct err_text *why)
{
    char text[400];
    bool late = line->waits && !line->connected && line->since_ms != 0 &&
                mono_ms() - line->since_ms > CONNECT_MS;
    if (!late)
        return ERR_OK;
    (void)snprintf(text, sizeof text,
                   "no hub answers at %.150s: it does not run or is not reached from here, it does "
                   "not know our key, or its key is not the one we hold",
                   line->endpoint);
    return give_up(line, ERR_PEER, why, text);
}

static enum err
run(struct line *line, struct err_text *why)
{
    enum err e = ERR_OK;
    while (e == ERR_OK) {
        zmq_pollitem_t items[] = {
            {.socket = line->socket, .events = ZMQ_POLLIN},
            {.socket = line->monitor, .events = ZMQ_POLLIN},
            {.fd = line->fd, .events = (short)(line->held ? 0 : ZMQ_POLLIN)},
        };
        if (zmq_poll(items, 3, STEP_MS) < 0 && errno != EINTR)
            return err_set(ERR_IO, why, "waiting failed: %s", zmq_strerror(errno));
        push_held(line);
        if (items[1].revents != 0)
            e = take_event(line, why);
        if (e == ERR_OK && items[0].revents != 0)
            e = take_frame(line, why);
        if (e == ERR_OK && items[2].revents != 0)
            e = take_packet(line, why);
        if (e == ERR_OK)
            e = check_patience(line, why);
    }
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

static enum err
open_line(struct line *line, const struct key_file *key, struct err_text *why)
{
    int linger = 0;
    enum err e = arena_init(&line->arena, ARENA_FRAME, why);
    if (e == ERR_OK)
        e = socket_context(&line->context, why);
    if (e == ERR_OK)
        e = socket_client(line->context, &key->own, key->hub, &line->socket, why);
    if (e != ERR_OK)
        return e;
    line->monitor = zmq_socket(line->context, ZMQ_PAIR);
    bool fine = line->monitor != NULL &&
                zmq_socket_monitor(line->socket, "inproc://line", ZMQ_EVENT_ALL) == 0 &&
                zmq_setsockopt(line->monitor, ZMQ_LINGER, &linger, sizeof linger) == 0 &&
                zmq_connect(line->monitor, "inproc://line") == 0;
    if (!fine || zmq_connect(line->socket, line->endpoint) != 0)
        return err_set(ERR_INPUT, why, "%s: %s", line->endpoint, zmq_strerror(zmq_errno()));
    return ERR_OK;
}

static void
close_line(struct line *line)
{
    if (line->socket != NULL)
        (void)zmq_socket_monitor(line->socket, NULL, 0); /* before its reader goes */
    if (line->monitor != NULL)
        (void)zmq_close(line->monitor);
    if (line->socket != NULL)
        (void)zmq_close(line->socket);
    if (line->context != NULL)
        (void)zmq_ctx_term(line->context);
    arena_done(&line->arena);
}

enum err
carry(int fd, const char *endpoint, const struct key_file *key, struct err_text *why)
{
    struct line *line = calloc(1, sizeof *line);
    if (line == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    line->fd = fd;
    line->endpoint = endpoint;
    enum err e = open_line(line, key, why);
    if (e == ERR_OK)
        e = run(line, why);
    else
        carry_refuse(fd, e, why->s);
    close_line(line);
    free(line);
    return e;
}

void
carry_refuse(int fd, enum err code, const char *text)
{
    struct pollfd wait = {.fd = fd, .events = POLLIN};
    const Knockbox__Wire *message = NULL;
    struct arena arena;
    uint32_t number = 0;
    uint8_t *packet = malloc(LOCAL_PACKET_MOST);
    if (packet != NULL && arena_init(&arena, ARENA_FRAME, NULL) == ERR_OK) {
        ssize_t n = poll(&wait, 1, FIRST_WAIT_MS) > 0
                        ? recv(fd, packet, LOCAL_PACKET_MOST, MSG_DONTWAIT)
                        : -1;
        if (n > 0 && wire_unpack(packet, (size_t)n, &arena, &message, NULL) == ERR_OK &&
            message->what_case == KNOCKBOX__WIRE__WHAT_REQUEST)
            number = message->request->number;
        send_error(fd, number, code, text);
        arena_done(&arena);
    }
    free(packet);
}
