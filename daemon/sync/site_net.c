/* site_net.c - the DEALER socket, its monitor, and when to make it anew. */
#include "daemon/sync/site_net.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zmq.h>

#include "daemon/base/diag.h"
#include "daemon/sync/socket.h"

enum {
    FRAMES_A_ROUND = 500,
    RENEW_AGAIN_MS = 10000
};

/* Why there is no connection, as far as the socket tells; each is said once until it changes. */
enum trouble {
    TROUBLE_NONE,
    TROUBLE_UNKNOWN_KEY,
    TROUBLE_OTHER_KEY,
    TROUBLE_NO_HUB,
    TROUBLE_LATER
};

static const char *const trouble_words[] = {
    [TROUBLE_NONE] = "",
    [TROUBLE_UNKNOWN_KEY] = "the hub does not know our key: enrol this site again",
    [TROUBLE_OTHER_KEY] = "the hub does not know our key, or its key is not the one we hold",
    [TROUBLE_NO_HUB] = "what answers there is no hub of this kind",
    [TROUBLE_LATER] = "the hub says not now",
};

struct site_net {
    struct site_net_options options;
    void *context, *socket, *monitor;
    struct site_machine *machine;
    struct arena arena;
    uint8_t scratch[WIRE_MOST];
    uint64_t made_ms,
        patience_ms; /* monotonic: when the socket was made, how long it may be silent */
    uint64_t up_ms;  /* monotonic: the handshake of a connection without an answer yet, 0: none */
    uint64_t slow_til_ms; /* monotonic: the hub counts as slow until then */
    enum trouble trouble;
    struct diag_memory trouble_said;
    bool silent_told, was_busy;
    unsigned remade;
    int soon; /* loop_later() */
    /* A key that is to take the place of ours. */
    struct renewal {
        bool wanted, granted;
        struct key_pair fresh;
        uint64_t asked_ms; /* monotonic, 0: not yet */
        struct diag_memory said;
    } renewal;
};

static uint64_t
mono(const struct site_net *net)
{
    return net->options.clock.mono_ms(net->options.clock.owner);
}

uint64_t
site_net_patience_ms(int64_t retry_ms, uint32_t chance)
{
    uint64_t least = (uint64_t)retry_ms;
    return least + least / 2 * (chance % 1024) / 1024;
}

uint64_t
site_net_silence_ms(int64_t retry_ms, bool quick, uint64_t patience_ms)
{
    uint64_t least = (uint64_t)retry_ms;
    if (!quick)
        return patience_ms;
    return least < SITE_SILENCE_MS ? least : SITE_SILENCE_MS;
}

/* Everything that the store says about itself ends here. */
static void
check(struct site_net *net, enum err e, const struct err_text *why)
{
    if (e == ERR_IO || e == ERR_DAMAGED)
        net->options.failed(net->options.owner, e, why);
    else if (e != ERR_OK)
        diag_changed(&net->trouble_said, mono(net), DIAG_WARNING, "sync: %s", why->s);
}

static bool
send_wire(void *owner, const struct peer *peer, const Knockbox__Wire *message)
{
    struct site_net *net = owner;
    return net->socket != NULL && socket_send(net->socket, peer, message, net->scratch);
}

/* ---------------------------------------------------------------- a new key */

void
site_net_renew(struct site_net *net, const struct key_pair *fresh)
{
    net->renewal.fresh = *fresh;
    net->renewal.wanted = true;
    net->renewal.granted = false;
    net->renewal.asked_ms = 0;
}

bool
site_net_renewing(const struct site_net *net)
{
    return net->renewal.wanted;
}

static void
ask_renewal(struct site_net *net)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Renew renew = KNOCKBOX__RENEW__INIT;
    struct renewal *r = &net->renewal;
    if (r->asked_ms != 0 && mono(net) - r->asked_ms < RENEW_AGAIN_MS)
        return;
    renew.has_key = true;
    renew.key = (ProtobufCBinaryData){KEY_SIZE, r->fresh.public_key};
    message.what_case = KNOCKBOX__WIRE__WHAT_RENEW;
    message.renew = &renew;
    if (send_wire(net, NULL, &message))
        r->asked_ms = mono(net);
}

static void
take_renewed(struct site_net *net, const Knockbox__Renewed *renewed)
{
    struct renewal *r = &net->renewal;
    if (!r->wanted || memcmp(renewed->key.data, r->fresh.public_key, KEY_SIZE) != 0)
        return; /* of an earlier try */
    r->granted = renewed->code == ERR_OK;
    if (!r->granted)
        diag_changed(&r->said, mono(net), DIAG_WARNING, "sync: the hub does not renew our key: %s",
                     renewed->text != NULL ? renewed->text : "");
}

/* ---------------------------------------------------------------- frames */

/* false: nothing was there. Anything but one frame is dropped whole. */
static bool
take_message(struct site_net *net)
{
    const Knockbox__Wire *message = NULL;
    struct err_text why = {.s = ""};
    zmq_msg_t frame;
    int n = 0, more = 0;
    (void)zmq_msg_init(&frame);
    do {
        if (zmq_msg_recv(&frame, net->socket, ZMQ_DONTWAIT) < 0)
            break;
        more = zmq_msg_more(&frame);
        n++;
    } while (more);
    bool good = n == 1 && wire_unpack(zmq_msg_data(&frame), zmq_msg_size(&frame), &net->arena,
                                      &message, &why) == ERR_OK;
    if (good && message->what_case == KNOCKBOX__WIRE__WHAT_RENEWED)
        take_renewed(net, message->renewed);
    else if (good)
        check(net, site_machine_message(net->machine, message, &why), &why);
    (void)zmq_msg_close(&frame);
    return n > 0;
}

static void
readable(void *owner)
{
    struct site_net *net = owner;
    for (int i = 0; i < FRAMES_A_ROUND && take_message(net); i++)
        net->was_busy = true; /* not for a look alone: the busy leave the books and the check */
}

/* ---------------------------------------------------------------- the monitor */

static void
say_trouble(struct site_net *net, enum trouble trouble)
{
    if (trouble == net->trouble)
        return;
    net->trouble = trouble;
    if (trouble != TROUBLE_NONE)
        diag_warning("sync: hub %s: %s", net->options.connect, trouble_words[trouble]);
}

static void
take_event(struct site_net *net, uint16_t event, uint32_t value)
{
    struct err_text why = {.s = ""};
    switch (event) {
    case ZMQ_EVENT_HANDSHAKE_SUCCEEDED:
        say_trouble(net, TROUBLE_NONE);
        net->up_ms = mono(net);
        check(net, site_machine_online(net->machine, &why), &why);
        break;
    case ZMQ_EVENT_DISCONNECTED:
        site_machine_offline(net->machine);
        break;
    case ZMQ_EVENT_HANDSHAKE_FAILED_AUTH:
        say_trouble(net, value == 300 ? TROUBLE_LATER : TROUBLE_UNKNOWN_KEY);
        break;
    case ZMQ_EVENT_HANDSHAKE_FAILED_PROTOCOL:
        say_trouble(net, TROUBLE_NO_HUB);
        break;
    case ZMQ_EVENT_HANDSHAKE_FAILED_NO_DETAIL: /* Z2 */
        say_trouble(net, TROUBLE_OTHER_KEY);
        break;
    default:
        break;
    }
}

/* Two frames an event: number and value, then the address. */
static void
watch(void *owner)
{
    struct site_net *net = owner;
    for (;;) {
        uint8_t head[6];
        char address[256];
        uint16_t event = 0;
        uint32_t value = 0;
        int n = zmq_recv(net->monitor, head, sizeof head, ZMQ_DONTWAIT);
        if (n < 0)
            return;
        (void)zmq_recv(net->monitor, address, sizeof address, 0);
        memcpy(&event, head, sizeof event);
        memcpy(&value, head + sizeof event, sizeof value);
        if (n == (int)sizeof head)
            take_event(net, event, value);
    }
}

/* ---------------------------------------------------------------- one socket after the other */

/* The monitor is stopped before its reader goes: libzmq's own thread would else wait for a reader
 * that is not there, holding the lock that stopping needs, for ever. */
static void
drop_socket(struct site_net *net)
{
    if (net->socket != NULL)
        (void)zmq_socket_monitor(net->socket, NULL, 0);
    if (net->monitor != NULL) {
        loop_remove(net->options.loop, net->monitor, 0);
        (void)zmq_close(net->monitor);
    }
    if (net->socket != NULL) {
        loop_remove(net->options.loop, net->socket, 0);
        (void)zmq_close(net->socket);
    }
    net->socket = net->monitor = NULL;
    site_machine_offline(net->machine);
}

static enum err
open_monitor(struct site_net *net, struct err_text *why)
{
    char name[64];
    int events = ZMQ_EVENT_HANDSHAKE_SUCCEEDED | ZMQ_EVENT_DISCONNECTED |
                 ZMQ_EVENT_HANDSHAKE_FAILED_AUTH | ZMQ_EVENT_HANDSHAKE_FAILED_PROTOCOL |
                 ZMQ_EVENT_HANDSHAKE_FAILED_NO_DETAIL;
    (void)snprintf(name, sizeof name, "inproc://knockbox-hub-%u", net->remade++);
    net->monitor = zmq_socket(net->context, ZMQ_PAIR);
    int linger = 0;
    bool fine = zmq_socket_monitor(net->socket, name, events) == 0 && net->monitor != NULL &&
                zmq_setsockopt(net->monitor, ZMQ_LINGER, &linger, sizeof linger) == 0 &&
                zmq_connect(net->monitor, name) == 0;
    if (!fine)
        return err_set(ERR_PEER, why, "cannot watch the connection: %s", zmq_strerror(zmq_errno()));
    return loop_add(net->options.loop, net->monitor, 0, watch, net, why);
}

static enum err
make_socket(struct site_net *net, struct err_text *why)
{
    uint32_t chance = 0;
    net->options.clock.random(net->options.clock.owner, &chance, sizeof chance);
    net->made_ms = mono(net);
    net->patience_ms = site_net_patience_ms(net->options.retry_ms, chance);
    enum err e =
        socket_client(net->context, &net->options.pair, net->options.hub_key, &net->socket, why);
    if (e == ERR_OK)
        e = open_monitor(net, why);
    if (e == ERR_OK && zmq_connect(net->socket, net->options.connect) != 0)
        e = err_set(ERR_PEER, why, "hub.connect %s: %s", net->options.connect,
                    zmq_strerror(zmq_errno()));
    if (e == ERR_OK)
        e = loop_add(net->options.loop, net->socket, 0, readable, net, why);
    return e;
}

/* The new key is the one on disk before it is used: whatever is cut off here, the file is one that
 * the hub lets in. */
static void
use_fresh_key(struct site_net *net)
{
    struct err_text why = {.s = ""};
    struct renewal *r = &net->renewal;
    r->granted = false;
    if (net->options.renewed(net->options.owner, &why) != ERR_OK) {
        diag_changed(&r->said, mono(net), DIAG_ERROR, "sync: the new key waits: %s", why.s);
        return;
    }
    net->options.pair = r->fresh;
    r->wanted = false;
    keys_wipe(&r->fresh, sizeof r->fresh);
    diag_fine(&r->said);
    diag_notice("sync: our key is renewed");
    drop_socket(net);
    if (make_socket(net, &why) != ERR_OK) {
        diag_warning("sync: %s", why.s);
        drop_socket(net); /* made anew after the usual silence */
    }
}

static void
renew_key(struct site_net *net)
{
    if (net->renewal.granted)
        use_fresh_key(net);
    else if (net->renewal.wanted && site_machine_link(net->machine).online)
        ask_renewal(net);
}

/* How long the first answer took tells whether silence means the line or the hub. */
static void
judge_hub(struct site_net *net, uint64_t now, uint64_t heard)
{
    if (net->up_ms == 0 || heard < net->up_ms)
        return;
    if (heard - net->up_ms > SITE_PROMPT_MS)
        net->slow_til_ms = now + SITE_SLOW_MS;
    net->up_ms = 0;
}

/* Silent for too long, whatever the reason: a new socket gets in where an old one never would. */
static void
remake_when_silent(struct site_net *net)
{
    struct err_text why = {.s = ""};
    if (net->socket != NULL)
        readable(net); /* after a long pause of ours answers wait here */
    uint64_t now = mono(net), heard = site_machine_heard_ms(net->machine);
    judge_hub(net, now, heard);
    bool answered = heard > net->made_ms, quick = answered && now >= net->slow_til_ms;
    uint64_t since = answered ? heard : net->made_ms;
    if (answered)
        net->silent_told = false;
    if (now - since < site_net_silence_ms(net->options.retry_ms, quick, net->patience_ms))
        return;
    struct site_link link = site_machine_link(net->machine);
    since = heard != 0 ? heard : net->made_ms;
    if (!net->silent_told && !answered)
        diag_warning("sync: hub %s silent for %llu s, %llu records wait, trying again every %lld s",
                     net->options.connect, (unsigned long long)((now - since) / 1000),
                     (unsigned long long)link.behind, (long long)net->options.retry_ms / 1000);
    net->silent_told = !answered;
    drop_socket(net);
    if (make_socket(net, &why) != ERR_OK) {
        diag_warning("sync: %s", why.s);
        drop_socket(net);
    }
}

/* Whoever wrote gets an answer first, then the hub gets the record. */
static void
send_new(void *owner)
{
    struct site_net *net = owner;
    struct err_text why = {.s = ""};
    check(net, site_machine_wrote(net->machine, &why), &why);
}

enum err
site_net_open(const struct site_net_options *options, struct site_net **out_net,
              struct err_text *why)
{
    struct site_net *net = calloc(1, sizeof *net);
    if (net == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    net->options = *options;
    *out_net = net; /* the caller closes it, also after an error */
    struct site_machine_options machine = {
        .store = options->store,
        .clock = options->clock,
        .wire = {send_wire, net},
        .hub_site = options->hub_site,
        .window = options->window,
        .low_mib = options->low_mib,
        /* three words in the time after which silence means something */
        .beat_ms = (uint64_t)options->retry_ms / 3 < SITE_BEAT_MS ? (uint64_t)options->retry_ms / 3
                                                                  : SITE_BEAT_MS,
    };
    enum err e = arena_init(&net->arena, ARENA_FRAME, why);
    if (e == ERR_OK)
        e = socket_context(&net->context, why);
    if (e == ERR_OK)
        e = site_machine_new(&machine, &net->machine, why);
    if (e == ERR_OK)
        e = loop_later(options->loop, send_new, net, &net->soon, why);
    if (e == ERR_OK)
        e = make_socket(net, why);
    return e;
}

void
site_net_close(struct site_net *net)
{
    if (net == NULL)
        return;
    if (net->machine != NULL)
        drop_socket(net);
    site_machine_free(net->machine);
    if (net->context != NULL)
        (void)zmq_ctx_term(net->context);
    arena_done(&net->arena);
    keys_wipe(&net->options.pair, sizeof net->options.pair);
    keys_wipe(&net->renewal.fresh, sizeof net->renewal.fresh);
    free(net);
}

void
site_net_wrote(struct site_net *net)
{
    loop_later_set(net->soon);
}

enum err
site_net_tick(struct site_net *net, struct err_text *why)
{
    enum err e = site_machine_tick(net->machine, why);
    if (e == ERR_IO || e == ERR_DAMAGED)
        return e;
    check(net, e, why);
    renew_key(net);
    remake_when_silent(net);
    return ERR_OK;
}

bool
site_net_busy(struct site_net *net)
{
    bool busy = net->was_busy;
    net->was_busy = false;
    return busy;
}

struct site_link
site_net_link(const struct site_net *net)
{
    return site_machine_link(net->machine);
}
