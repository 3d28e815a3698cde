/* zap.c - one thread that answers who may come in. */
#include "daemon/sync/zap.h"

#include <errno.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <zmq.h>

#define ZAP_ENDPOINT "inproc://zeromq.zap.01"

struct zap {
    void *socket;
    struct keyring *ring;
    struct clock clock;
    pthread_t thread;
    atomic_bool alive, paused;
    atomic_ullong admitted, refused, deferred;
};

enum {
    FRAMES = 7,
    FRAME_MOST = 256
};

enum frame {
    VERSION,
    REQUEST_ID,
    DOMAIN,
    ADDRESS,
    IDENTITY,
    MECHANISM,
    KEY
};

struct request {
    uint8_t bytes[FRAMES][FRAME_MOST];
    size_t len[FRAMES];
};

/* false: the context ends. Frames past the seventh are read and forgotten. */
static bool
read_request(void *socket, struct request *out, int *out_frames)
{
    int more = 1;
    for (*out_frames = 0; more != 0; (*out_frames)++) {
        uint8_t spare[FRAME_MOST];
        size_t size = sizeof more;
        bool keep = *out_frames < FRAMES;
        int n = zmq_recv(socket, keep ? out->bytes[*out_frames] : spare, FRAME_MOST, 0);
        if (n < 0 && errno == EINTR) {
            (*out_frames)--;
            continue;
        }
        if (n < 0)
            return false;
        if (keep)
            out->len[*out_frames] = (size_t)n < FRAME_MOST ? (size_t)n : FRAME_MOST;
        if (zmq_getsockopt(socket, ZMQ_RCVMORE, &more, &size) != 0)
            return false;
    }
    return true;
}

static bool
frame_is(const struct request *request, enum frame frame, const char *text)
{
    size_t len = strlen(text);
    return request->len[frame] == len && memcmp(request->bytes[frame], text, len) == 0;
}

/* "200", "300" or "400"; the key's text into `user` for 200. */
static const char *
judge(struct zap *zap, const struct request *request, int frames, char user[KEY_TEXT])
{
    struct key_entry entry;
    if (frames != FRAMES || !frame_is(request, VERSION, "1.0") ||
        !frame_is(request, DOMAIN, ZAP_DOMAIN) || !frame_is(request, MECHANISM, "CURVE") ||
        request->len[KEY] != KEY_SIZE)
        return "400";
    if (atomic_load(&zap->paused))
        return "300";
    if (!keyring_find(zap->ring, request->bytes[KEY], zap->clock.now_ms(zap->clock.owner), &entry))
        return "400";
    (void)key_print(request->bytes[KEY], user);
    return "200";
}

static void
answer(struct zap *zap, const struct request *request, int frames)
{
    char user[KEY_TEXT] = "";
    const char *code = judge(zap, request, frames, user);
    atomic_ullong *count = code[0] == '2'   ? &zap->admitted
                           : code[0] == '3' ? &zap->deferred
                                            : &zap->refused;
    (void)atomic_fetch_add(count, 1);
    size_t id = frames > REQUEST_ID ? request->len[REQUEST_ID] : 0;
    /* An inproc reply fails only when the context ends, which the next read then tells. */
    (void)zmq_send(zap->socket, "1.0", 3, ZMQ_SNDMORE);
    (void)zmq_send(zap->socket, request->bytes[REQUEST_ID], id, ZMQ_SNDMORE);
    (void)zmq_send(zap->socket, code, 3, ZMQ_SNDMORE);
    (void)zmq_send(zap->socket, "", 0, ZMQ_SNDMORE);
    (void)zmq_send(zap->socket, user, strlen(user), ZMQ_SNDMORE);
    (void)zmq_send(zap->socket, "", 0, 0);
}

static void *
run(void *owner)
{
    struct zap *zap = owner;
    struct request request;
    int frames = 0;
    while (read_request(zap->socket, &request, &frames))
        answer(zap, &request, frames);
    (void)zmq_close(zap->socket);
    atomic_store(&zap->alive, false);
    return NULL;
}

enum err
zap_start(void *context, struct keyring *ring, const struct clock *clock, struct zap **out_zap,
          struct err_text *why)
{
    struct zap *zap = calloc(1, sizeof *zap);
    if (zap == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    zap->ring = ring;
    zap->clock = *clock;
    atomic_store(&zap->alive, true);
    zap->socket = zmq_socket(context, ZMQ_REP);
    int linger = 0;
    int rc =
        zap->socket == NULL ? -1 : zmq_setsockopt(zap->socket, ZMQ_LINGER, &linger, sizeof linger);
    if (rc == 0)
        rc = zmq_bind(zap->socket, ZAP_ENDPOINT);
    if (rc == 0)
        rc = pthread_create(&zap->thread, NULL, run, zap);
    if (rc != 0) {
        if (zap->socket != NULL)
            (void)zmq_close(zap->socket);
        free(zap);
        return err_set(ERR_IO, why, "cannot start the handler that checks keys");
    }
    *out_zap = zap;
    return ERR_OK;
}

void
zap_stop(struct zap *zap)
{
    if (zap == NULL)
        return;
    (void)pthread_join(zap->thread, NULL);
    free(zap);
}

bool
zap_alive(const struct zap *zap)
{
    return atomic_load(&zap->alive);
}

void
zap_pause(struct zap *zap, bool paused)
{
    atomic_store(&zap->paused, paused);
}

struct zap_counts
zap_counts(const struct zap *zap)
{
    struct zap_counts counts = {atomic_load(&zap->admitted), atomic_load(&zap->refused),
                                atomic_load(&zap->deferred)};
    return counts;
}
