/* socket.c - one place for the options of ZeroMQ sockets (limits page, Z1 to Z18). */
#include "daemon/sync/socket.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <zmq.h>

#include "daemon/base/config.h"
#include "daemon/base/diag.h"
#include "daemon/sync/zap.h"

enum {
    HIGH_WATER = 64,
    SOCKETS_MOST = 60000
};

static enum err
from_zmq(const char *what, struct err_text *why)
{
    return err_set(ERR_IO, why, "cannot %s: %s", what, zmq_strerror(zmq_errno()));
}

enum err
socket_context(void **out_context, struct err_text *why)
{
    void *context = zmq_ctx_new();
    if (context == NULL)
        return from_zmq("make a socket context", why);
    (void)zmq_ctx_set(context, ZMQ_MAX_SOCKETS, SOCKETS_MOST); /* Z12 */
    *out_context = context;
    return ERR_OK;
}

struct option {
    int name, value;
};

static const struct option shared_options[] = {
    {ZMQ_LINGER, 0}, /* Z16: the log has it all */
    {ZMQ_SNDHWM, HIGH_WATER},
    {ZMQ_RCVHWM, HIGH_WATER},
};

/* No ZMQ_HEARTBEAT on either side (Z15): what a dead line is, is told by missing answers, and who went
 * without a word is found by the kernel (seconds; MAXRT: ms). */
static const struct option server_options[] = {
    {ZMQ_ROUTER_MANDATORY, 1}, /* Z6 */
    {ZMQ_BACKLOG, 4096},
    /* Z13: strangers go, and cafés that wait in the backlog get their turn */
    {ZMQ_HANDSHAKE_IVL, 5000},
    /* Z15 */
    {ZMQ_TCP_KEEPALIVE, 1},
    {ZMQ_TCP_KEEPALIVE_IDLE, 30},
    {ZMQ_TCP_KEEPALIVE_INTVL, 10},
    {ZMQ_TCP_KEEPALIVE_CNT, 3},
    {ZMQ_TCP_MAXRT, 60000},
    {ZMQ_CURVE_SERVER, 1},
};

static const struct option client_options[] = {
    {ZMQ_IMMEDIATE, 1},         /* Z9 */
    {ZMQ_HANDSHAKE_IVL, 15000}, /* many at once wait for their turn in the hub's backlog */
    {ZMQ_RECONNECT_IVL, 1000},  /* Z2 */
    {ZMQ_RECONNECT_IVL_MAX, 60000},
    {ZMQ_CONNECT_TIMEOUT, 10000},
    {ZMQ_IPV6, 1}, /* both are tried */
};

static bool
set_options(void *socket, const struct option *options, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (zmq_setsockopt(socket, options[i].name, &options[i].value, sizeof(int)) != 0)
            return false;
    return true;
}

static bool
set_shared(void *socket)
{
    int64_t most = WIRE_MOST; /* Z10 */
    return set_options(socket, shared_options, sizeof shared_options / sizeof shared_options[0]) &&
           zmq_setsockopt(socket, ZMQ_MAXMSGSIZE, &most, sizeof most) == 0;
}

enum err
socket_server(void *context, const struct key_pair *pair, void **out_socket, struct err_text *why)
{
    void *socket = zmq_socket(context, ZMQ_ROUTER);
    if (socket == NULL)
        return from_zmq("make a socket", why);
    bool fine =
        set_shared(socket) &&
        set_options(socket, server_options, sizeof server_options / sizeof server_options[0]) &&
        zmq_setsockopt(socket, ZMQ_CURVE_SECRETKEY, pair->secret_key, KEY_SIZE) == 0 &&
        zmq_setsockopt(socket, ZMQ_ZAP_DOMAIN, ZAP_DOMAIN, strlen(ZAP_DOMAIN)) == 0;
    if (!fine) {
        enum err e = from_zmq("set up the listening socket", why);
        (void)zmq_close(socket);
        return e;
    }
    *out_socket = socket;
    return ERR_OK;
}

enum err
socket_client(void *context, const struct key_pair *pair, const uint8_t hub[KEY_SIZE],
              void **out_socket, struct err_text *why)
{
    void *socket = zmq_socket(context, ZMQ_DEALER);
    if (socket == NULL)
        return from_zmq("make a socket", why);
    bool fine =
        set_shared(socket) &&
        set_options(socket, client_options, sizeof client_options / sizeof client_options[0]) &&
        zmq_setsockopt(socket, ZMQ_CURVE_SERVERKEY, hub, KEY_SIZE) == 0 &&
        zmq_setsockopt(socket, ZMQ_CURVE_PUBLICKEY, pair->public_key, KEY_SIZE) == 0 &&
        zmq_setsockopt(socket, ZMQ_CURVE_SECRETKEY, pair->secret_key, KEY_SIZE) == 0;
    if (!fine) {
        enum err e = from_zmq("set up the socket to the hub", why);
        (void)zmq_close(socket);
        return e;
    }
    *out_socket = socket;
    return ERR_OK;
}

bool
socket_send(void *socket, const struct peer *peer, const Knockbox__Wire *message, uint8_t *scratch)
{
    struct err_text why;
    size_t len = 0;
    if (codec_encode(&message->base, scratch, WIRE_MOST, &len, &why) != ERR_OK) {
        diag_error("a message was not sent: %s", why.s);
        return false;
    }
    /* Gone (EHOSTUNREACH) and full (EAGAIN) are the same to us: lost, sent again later. */
    if (peer != NULL &&
        zmq_send(socket, peer->id, peer->len, ZMQ_DONTWAIT | ZMQ_SNDMORE) != (int)peer->len)
        return false;
    return zmq_send(socket, scratch, len, ZMQ_DONTWAIT) == (int)len;
}

enum err
socket_bind(void *socket, const char *endpoint, struct err_text *why)
{
    char host[ENDPOINT_SIZE], address[ENDPOINT_SIZE + 32];
    unsigned port = 0;
    if (!endpoint_split(endpoint, host, sizeof host, &port))
        return err_input(why, "listen", endpoint, "tcp://HOST:PORT");
    int six = strspn(host, "0123456789.") != strlen(host); /* `*` takes both */
    (void)zmq_setsockopt(socket, ZMQ_IPV6, &six, sizeof six);
    if (port == 0)
        (void)snprintf(address, sizeof address, "tcp://%s:*", host);
    else
        (void)snprintf(address, sizeof address, "tcp://%s:%u", host, port);
    if (zmq_bind(socket, address) == 0)
        return ERR_OK;
    if (zmq_errno() == EADDRINUSE)
        return err_set(ERR_BUSY, why,
                       "listen %s: another program has this port; set another one in hub.conf",
                       endpoint);
    if (zmq_errno() == EADDRNOTAVAIL || zmq_errno() == ENODEV || zmq_errno() == EINVAL)
        return err_set(ERR_INPUT, why, "listen %s: %s; is this an address of this machine?",
                       endpoint, zmq_strerror(zmq_errno()));
    return err_set(ERR_IO, why, "listen %s: %s", endpoint, zmq_strerror(zmq_errno()));
}
