/* hub_net.c - the ROUTER socket, who speaks on it, and when to commit. */
#include "daemon/sync/hub_net.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <zmq.h>

#include "daemon/base/diag.h"
#include "daemon/base/folder.h"
#include "daemon/sync/hub_keys.h"
#include "daemon/sync/hub_people.h"
#include "daemon/sync/socket.h"
#include "daemon/sync/spool.h"
#include "daemon/sync/zap.h"

enum {
    FRAMES_A_ROUND = 2000,
    REFUSED_MOST = 256,
    PERSON_PATIENCE_MS = 10000,
    SOON_US = 500
};

struct hub_net {
    struct hub_net_options options;
    char dir[PATH_SIZE];
    void *context, *socket;
    struct zap *zap;
    struct keyring *ring;
    struct hub_keys *keys;
    struct hub_machine *machine;
    struct hub_people *people;
    struct arena arena;
    uint8_t scratch[WIRE_MOST];
    int gather, soon; /* timers */
    bool gathering;
    uint64_t commit_us; /* how long the last commit took */
    bool was_busy;
    struct peer refused[REFUSED_MOST]; /* told once that what they say makes no sense */
    size_t n_refused;
    uint64_t unknown; /* frames of keys that are not let in any more */
    uint64_t dropped; /* frames that were no message */
    uint64_t told_dropped;
    struct diag_memory commit_trouble;
    struct timespec backed_at; /* when DIR/backed-up was written that was read last */
};

static uint64_t
now_us(void)
{
    struct timespec t = {0};
    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (uint64_t)t.tv_sec * 1000000 + (uint64_t)t.tv_nsec / 1000;
}

/* ---------------------------------------------------------------- commits */

static void
flush(struct hub_net *net)
{
    struct err_text why = {.s = ""};
    uint64_t before = now_us();
    if (net->gathering)
        loop_timer_set(net->gather, 0, true);
    net->gathering = false;
    enum err e = hub_machine_flush(net->machine, &why);
    net->commit_us = now_us() - before;
    if (e == ERR_IO || e == ERR_DAMAGED)
        net->options.failed(net->options.owner, e, &why);
    else if (e != ERR_OK)
        diag_changed(&net->commit_trouble, net->options.clock.mono_ms(net->options.clock.owner),
                     DIAG_ERROR, "sync: records of sites are not taken in: %s", why.s);
    else
        diag_fine(&net->commit_trouble);
}

static void
gathered(void *owner)
{
    flush(owner);
}

/* After a round of frames: commit now, or wait a little for the other sites. */
static void
flush_or_gather(struct hub_net *net)
{
    struct hub_waiting waiting = hub_machine_waiting(net->machine);
    if (waiting.records == 0)
        return;
    uint64_t wait = hub_gather_us(net->commit_us, waiting.sites);
    if (wait == 0) {
        flush(net);
    } else if (!net->gathering) {
        net->gathering = true;
        loop_timer_set(net->gather, wait, true);
    }
}

/* ---------------------------------------------------------------- one frame */

static bool
send_wire(void *owner, const struct peer *peer, const Knockbox__Wire *message)
{
    struct hub_net *net = owner;
    return socket_send(net->socket, peer, message, net->scratch);
}

/* Somebody who is let in says what makes no sense: told once a connection, then only counted.
 * false: it was told before. */
static bool
refuse_once(struct hub_net *net, const struct peer *peer, enum err code, const char *text)
{
    struct wire wire = {send_wire, net};
    for (size_t i = 0; i < net->n_refused && i < REFUSED_MOST; i++)
        if (memcmp(&net->refused[i], peer, sizeof *peer) == 0)
            return false;
    net->refused[net->n_refused++ % REFUSED_MOST] = *peer;
    wire_refuse(&wire, peer, code, text);
    return true;
}

static void
take_join(struct hub_net *net, const struct peer *peer, const struct key_entry *from,
          const Knockbox__Join *join)
{
    struct err_text why = {.s = ""};
    struct joined told;
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Joined joined = KNOCKBOX__JOINED__INIT;
    enum err e = wire_check_version(join->version, "the new machine", &why);
    if (e == ERR_OK)
        e = hub_keys_join(net->keys, from, join->key.data, &told, &why);
    if (e == ERR_IO || e == ERR_DAMAGED)
        net->options.failed(net->options.owner, e, &why);
    if (e != ERR_OK) {
        if (refuse_once(net, peer, e, why.s))
            diag_warning("joining of %s refused: %s", from->site, why.s);
        return;
    }
    joined.site = told.site;
    joined.role = told.role;
    joined.hub_site = (char *)store_site(net->options.store);
    joined.zone = net->options.zone[0] != '\0' ? (char *)net->options.zone : NULL;
    joined.has_first_epoch = true;
    joined.first_epoch = told.first_epoch;
    message.what_case = KNOCKBOX__WIRE__WHAT_JOINED;
    message.joined = &joined;
    (void)send_wire(net, peer, &message); /* lost: the machine asks again with its new key */
}

static void
take_renew(struct hub_net *net, const struct peer *peer, const struct key_entry *from,
           const Knockbox__Renew *renew)
{
    struct err_text why = {.s = ""};
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Renewed renewed = KNOCKBOX__RENEWED__INIT;
    char words[512];
    enum err e = hub_keys_renew(net->keys, from, renew->key.data, &why);
    if (e == ERR_IO || e == ERR_DAMAGED)
        net->options.failed(net->options.owner, e, &why);
    (void)snprintf(words, sizeof words, "%.500s", why.s);
    renewed.has_key = renewed.has_code = true;
    renewed.key = renew->key;
    renewed.code = (uint32_t)e;
    renewed.text = e != ERR_OK ? words : NULL;
    message.what_case = KNOCKBOX__WIRE__WHAT_RENEWED;
    message.renewed = &renewed;
    (void)send_wire(net, peer, &message); /* lost: it asks again */
}

/* ---------------------------------------------------------------- people */

struct person {
    struct hub_net *net;
    const struct peer *peer;
    bool gone;
    uint64_t waited_us; /* for this request */
};

/* A person's line that is full is waited for, but the others do not wait long. */
static enum err
send_reply(void *owner, const Knockbox__Reply *reply)
{
    struct person *person = owner;
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    message.what_case = KNOCKBOX__WIRE__WHAT_REPLY;
    message.reply = (Knockbox__Reply *)reply; /* only read */
    while (!person->gone && !send_wire(person->net, person->peer, &message)) {
        struct timespec moment = {.tv_nsec = 2000000};
        uint64_t before = now_us();
        person->gone =
            zmq_errno() != EAGAIN || person->waited_us > PERSON_PATIENCE_MS * UINT64_C(1000);
        (void)nanosleep(&moment, NULL);
        person->waited_us += now_us() - before;
    }
    return person->gone ? ERR_PEER : ERR_OK;
}

/* A number for the connection: the socket's own names are 5 bytes, counted up. */
static uint64_t
session_of(const struct peer *peer)
{
    uint64_t session = UINT64_C(1) << 63;
    for (size_t i = 0; i < peer->len && i < 7; i++)
        session |= (uint64_t)peer->id[i] << (8 * i);
    return session;
}

/* false: the person's line is gone. */
static bool
answer_request(struct hub_net *net, const struct peer *peer, const struct key_entry *from,
               const Knockbox__Request *request)
{
    char key[KEY_TEXT];
    struct person person = {net, peer, false, 0};
    struct door_caller caller = {.roles = from->roles, .session = session_of(peer)};
    (void)snprintf(caller.via, sizeof caller.via, "key %.8s (%.40s)", key_print(from->key, key),
                   from->person);
    net->options.people.request(net->options.people.owner, &caller, request, send_reply, &person);
    return !person.gone;
}

/* Not answered: what was gathered of it goes too. */
static void
refuse_request(struct hub_net *net, const struct peer *peer, const Knockbox__Request *request,
               enum err code, struct err_text *why)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Reply reply = KNOCKBOX__REPLY__INIT;
    net->options.people.hangup(net->options.people.owner, session_of(peer));
    reply.has_number = reply.has_code = true;
    reply.number = request->number;
    reply.code = (uint32_t)code;
    reply.text = why->s;
    message.what_case = KNOCKBOX__WIRE__WHAT_REPLY;
    message.reply = &reply;
    (void)send_wire(net, peer, &message); /* a line that is full hears nothing more */
}

/* Lines that are only gathered cost little: taken at once. The question itself waits for its turn. */
static void
take_request(struct hub_net *net, const struct peer *peer, const struct key_entry *from,
             const Knockbox__Request *request, zmq_msg_t *frame)
{
    struct err_text why = {.s = ""};
    if (request->has_more && request->more) {
        (void)answer_request(net, peer, from, request);
        return;
    }
    enum err e = hub_people_ask(net->people, peer, from->key, zmq_msg_data(frame),
                                zmq_msg_size(frame), &why);
    if (e != ERR_OK)
        refuse_request(net, peer, request, e, &why);
}

/* Whose turn it is; a key that was revoked while it waited gets no answer. */
static bool
take_turn(void *owner, const struct peer *peer, const uint8_t key[KEY_SIZE], const uint8_t *frame,
          size_t len)
{
    struct hub_net *net = owner;
    const Knockbox__Wire *message = NULL;
    struct key_entry from;
    int64_t now = net->options.clock.now_ms(net->options.clock.owner);
    return keyring_find(net->ring, key, now, &from) && from.what == KEY_PERSON &&
           wire_unpack(frame, len, &net->arena, &message, NULL) == ERR_OK &&
           message->what_case == KNOCKBOX__WIRE__WHAT_REQUEST &&
           answer_request(net, peer, &from, message->request);
}

static void
dispatch(struct hub_net *net, const struct peer *peer, const struct key_entry *from,
         const Knockbox__Wire *message, zmq_msg_t *frame)
{
    bool join = message->what_case == KNOCKBOX__WIRE__WHAT_JOIN;
    bool request = message->what_case == KNOCKBOX__WIRE__WHAT_REQUEST;
    if (join)
        take_join(net, peer, from, message->join);
    else if (message->what_case == KNOCKBOX__WIRE__WHAT_RENEW && from->what != KEY_CODE)
        take_renew(net, peer, from, message->renew);
    else if (from->what == KEY_SITE && !request)
        hub_machine_message(net->machine, peer, from->site, message);
    else if (from->what == KEY_PERSON && request)
        take_request(net, peer, from, message->request, frame);
    else
        refuse_once(net, peer, ERR_DENIED,
                    "this key may not say that: machines sync, people ask, codes join");
}

/* The key that ZAP let this connection in with; looked up again for every message, so a revoked
 * one is out at once. */
static bool
who_sent(struct hub_net *net, zmq_msg_t *frame, struct key_entry *out)
{
    const char *user = zmq_msg_gets(frame, "User-Id"); /* Z5: on the payload frame */
    uint8_t key[KEY_SIZE];
    int64_t now = net->options.clock.now_ms(net->options.clock.owner);
    return user != NULL && key_parse(user, key) && keyring_find(net->ring, key, now, out);
}

/* The first words by a renewed key. */
static void
take_fresh(struct hub_net *net, const struct key_entry *from)
{
    struct err_text why = {.s = ""};
    enum err e = hub_keys_spoke(net->keys, from, &why);
    if (e == ERR_IO || e == ERR_DAMAGED)
        net->options.failed(net->options.owner, e, &why);
    else if (e != ERR_OK) /* both stay in until it works */
        diag_changed(&net->commit_trouble, net->options.clock.mono_ms(net->options.clock.owner),
                     DIAG_ERROR, "keys: the key before a renewed one is not out yet: %s", why.s);
}

static void
take_payload(struct hub_net *net, const struct peer *peer, zmq_msg_t *frame)
{
    const Knockbox__Wire *message = NULL;
    struct err_text why = {.s = ""};
    struct key_entry from;
    if (!who_sent(net, frame, &from)) {
        net->unknown++; /* revoked while connected: not a word */
        return;
    }
    if (wire_unpack(zmq_msg_data(frame), zmq_msg_size(frame), &net->arena, &message, &why) !=
        ERR_OK) {
        net->dropped++;
        refuse_once(net, peer, ERR_INPUT, why.s);
        return;
    }
    if (from.fresh)
        take_fresh(net, &from);
    dispatch(net, peer, &from, message, frame);
}

/* Name and payload; anything else is dropped whole (Z11). false: nothing was there. */
static bool
take_message(struct hub_net *net)
{
    struct peer peer;
    zmq_msg_t frame;
    memset(&peer, 0, sizeof peer);
    (void)zmq_msg_init(&frame);
    int n = 0, more = 0;
    bool named = false, whole = false;
    do {
        if (zmq_msg_recv(&frame, net->socket, ZMQ_DONTWAIT) < 0)
            break;
        more = zmq_msg_more(&frame);
        size_t size = zmq_msg_size(&frame);
        if (n == 0 && size <= sizeof peer.id) {
            memcpy(peer.id, zmq_msg_data(&frame), size);
            peer.len = (uint8_t)size;
            named = true;
        }
        whole = n == 1 && !more;
        n++;
    } while (more);
    if (named && whole)
        take_payload(net, &peer, &frame);
    else if (n > 0)
        net->dropped++;
    (void)zmq_msg_close(&frame);
    return n > 0;
}

static void
readable(void *owner)
{
    struct hub_net *net = owner;
    for (int i = 0; i < FRAMES_A_ROUND && take_message(net); i++)
        if (hub_machine_full(net->machine))
            flush(net);
    net->was_busy = true;
    flush_or_gather(net);
}

/* ---------------------------------------------------------------- keys */

static void
take_settled(void *owner, const char *site)
{
    struct hub_net *net = owner;
    if (net->machine != NULL)
        (void)hub_machine_settle(net->machine, site, NULL); /* shown until it works */
}

/* A revoked machine hears nothing more, also on the connection that it has. */
static void
take_banned(void *owner, const struct key_entry *entry)
{
    struct hub_net *net = owner;
    if (net->machine != NULL && entry->what == KEY_SITE)
        hub_machine_forget(net->machine, entry->site);
}

static void
keys_wrote(void *owner)
{
    struct hub_net *net = owner;
    if (net->soon > 0) /* not while keys are read at the start */
        loop_timer_set(net->soon, SOON_US, true);
}

static void
refresh_keys(void *owner)
{
    struct hub_net *net = owner;
    struct err_text why = {.s = ""};
    enum err e = hub_keys_refresh(net->keys, &why);
    if (e == ERR_IO)
        net->options.failed(net->options.owner, e, &why);
    else if (e != ERR_OK)
        diag_error("keys: %s", why.s);
}

void
hub_net_reload(struct hub_net *net)
{
    refresh_keys(net);
}

/* Another backup was made since it was looked last: its marks are declared from now on. */
static void
look_for_backup(struct hub_net *net)
{
    char path[PATH_SIZE];
    struct stat st;
    struct backed backed;
    struct err_text why = {.s = ""};
    if (path_join(net->dir, BACKED_FILE, path, NULL) != ERR_OK || stat(path, &st) != 0 ||
        memcmp(&st.st_mtim, &net->backed_at, sizeof st.st_mtim) == 0)
        return;
    net->backed_at = st.st_mtim;
    if (backed_read(net->dir, &backed, &why) == ERR_OK)
        hub_machine_backed(net->machine, &backed);
    else
        diag_warning("backup: %s", why.s);
}

/* ---------------------------------------------------------------- open and close */

static enum err
open_keys(struct hub_net *net, struct err_text *why)
{
    struct hub_keys_options options = {
        .dir = net->dir,
        .store = net->options.store,
        .ring = net->ring,
        .clock = net->options.clock,
        .settled = take_settled,
        .banned = take_banned,
        .wrote = keys_wrote,
        .owner = net,
    };
    enum err e = hub_keys_open(&options, &net->keys, why);
    if (e == ERR_OK)
        e = loop_add(net->options.loop, NULL, hub_keys_fd(net->keys), refresh_keys, net, why);
    return e;
}

static enum err
open_machine(struct hub_net *net, struct err_text *why)
{
    struct hub_machine_options options = {
        .store = net->options.store,
        .clock = net->options.clock,
        .wire = {send_wire, net},
        .group = net->options.group,
    };
    return hub_machine_new(&options, &net->machine, why);
}

static enum err
write_endpoint(struct hub_net *net, struct err_text *why)
{
    char bound[ENDPOINT_SIZE], endpoint[2 * ENDPOINT_SIZE], host[ENDPOINT_SIZE];
    size_t size = sizeof bound;
    unsigned port = 0;
    if (zmq_getsockopt(net->socket, ZMQ_LAST_ENDPOINT, bound, &size) != 0 ||
        strrchr(bound, ':') == NULL ||
        !endpoint_split(net->options.listen, host, sizeof host, &port))
        return err_set(ERR_IO, why, "cannot tell the port: %s", zmq_strerror(zmq_errno()));
    int len = snprintf(endpoint, sizeof endpoint, "tcp://%s%s\n", host, strrchr(bound, ':'));
    diag_info("listening on %.*s", len - 1, endpoint);
    enum err e = file_keep(net->dir, SPOOL_ENDPOINT, endpoint, (size_t)len, 0600, why);
    if (e != ERR_FULL)
        return e;
    diag_warning("the address for `enrol` is not written down: %s", why->s);
    why->s[0] = '\0';
    return file_remove(net->dir, SPOOL_ENDPOINT, why); /* an older one would mislead */
}

/* Whoever wrote gets an answer first, then the sites get what is new. */
static void
tell_sites(void *owner)
{
    struct hub_net *net = owner;
    hub_machine_wrote(net->machine);
}

enum err
hub_net_open(const struct hub_net_options *options, struct hub_net **out_net, struct err_text *why)
{
    struct hub_net *net = calloc(1, sizeof *net);
    if (net == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    net->options = *options;
    (void)snprintf(net->dir, sizeof net->dir, "%s", options->dir);
    *out_net = net; /* the caller closes it, also after an error */
    enum err e = arena_init(&net->arena, ARENA_FRAME, why);
    if (e == ERR_OK)
        e = keyring_new(&net->ring, why);
    if (e == ERR_OK)
        e = socket_context(&net->context, why);
    if (e == ERR_OK) /* Z3: before any socket binds */
        e = zap_start(net->context, net->ring, &options->clock, &net->zap, why);
    if (e == ERR_OK)
        e = socket_server(net->context, options->pair, &net->socket, why);
    if (e == ERR_OK)
        e = open_machine(net, why);
    if (e == ERR_OK)
        e = hub_people_new(options->loop, options->share_pct, take_turn, net, &net->people, why);
    if (e == ERR_OK)
        look_for_backup(net);
    if (e == ERR_OK)
        e = open_keys(net, why);
    if (e == ERR_OK)
        e = socket_bind(net->socket, options->listen, why);
    if (e == ERR_OK)
        e = write_endpoint(net, why);
    if (e == ERR_OK)
        e = loop_timer(options->loop, gathered, net, &net->gather, why);
    if (e == ERR_OK)
        e = loop_timer(options->loop, tell_sites, net, &net->soon, why);
    if (e == ERR_OK)
        e = loop_add(options->loop, net->socket, 0, readable, net, why);
    return e;
}

void
hub_net_close(struct hub_net *net)
{
    if (net == NULL)
        return;
    if (net->zap != NULL)
        zap_pause(net->zap, true); /* who comes now tries again by itself */
    if (net->machine != NULL && !kv_failed(store_kv(net->options.store)))
        (void)hub_machine_flush(net->machine, NULL);
    if (net->socket != NULL) {
        loop_remove(net->options.loop, net->socket, 0);
        (void)zmq_close(net->socket);
        (void)file_remove(net->dir, SPOOL_ENDPOINT, NULL);
    }
    hub_people_free(net->people);
    hub_machine_free(net->machine);
    hub_keys_close(net->keys);
    if (net->context != NULL)
        (void)zmq_ctx_shutdown(net->context); /* ends the handler of keys */
    zap_stop(net->zap);
    if (net->context != NULL)
        (void)zmq_ctx_term(net->context);
    keyring_free(net->ring);
    arena_done(&net->arena);
    free(net);
}

/* ---------------------------------------------------------------- the rest */

void
hub_net_wrote(struct hub_net *net)
{
    struct err_text why = {.s = ""};
    enum err e = hub_keys_follow(net->keys, &why);
    if (e != ERR_OK)
        diag_error("keys: %s", why.s);
    loop_timer_set(net->soon, SOON_US, true);
}

enum err
hub_net_tick(struct hub_net *net, struct err_text *why)
{
    if (!zap_alive(net->zap))
        return err_set(ERR_IO, why, "the handler that checks keys has ended");
    hub_machine_tick(net->machine);
    hub_people_tick(net->people);
    look_for_backup(net);
    if (net->dropped != net->told_dropped)
        diag_warning("sync: %llu frames that were no message are dropped so far",
                     (unsigned long long)net->dropped);
    net->told_dropped = net->dropped;
    return ERR_OK;
}

const struct backed *
hub_net_backup(const struct hub_net *net)
{
    return hub_machine_backup(net->machine);
}

bool
hub_net_busy(struct hub_net *net)
{
    bool busy = net->was_busy;
    net->was_busy = false;
    return busy;
}

static int
by_site(const void *a, const void *b)
{
    const struct hub_net_site *left = a, *right = b;
    return strcmp(left->state.site, right->state.site);
}

/* Sites that may speak and never did behind the n that were heard, which are in order; each key has
 * an entry, so a site may come twice. */
static size_t
add_enrolled(struct hub_net *net, struct hub_net_site *sites, size_t n, size_t room)
{
    struct key_entry entry;
    size_t heard = n;
    for (size_t i = 0; keyring_nth(net->ring, i, &entry) && n < room; i++) {
        struct hub_net_site one = {.state = {.last_seen_ms = -1}, .enrolled = true};
        if (entry.what != KEY_SITE)
            continue;
        memcpy(one.state.site, entry.site, sizeof entry.site);
        struct hub_net_site *there = bsearch(&one, sites, heard, sizeof *sites, by_site);
        if (there != NULL)
            there->enrolled = true;
        else
            sites[n++] = one;
    }
    return n;
}

/* In order, each site once. */
static size_t
sort_sites(struct hub_net_site *sites, size_t n)
{
    size_t kept = 0;
    qsort(sites, n, sizeof *sites, by_site);
    for (size_t i = 0; i < n; i++)
        if (kept == 0 || by_site(&sites[kept - 1], &sites[i]) != 0)
            sites[kept++] = sites[i];
    return kept;
}

size_t
hub_net_sites(struct hub_net *net, struct hub_net_site *out, size_t most)
{
    size_t n = hub_machine_sites(net->machine, NULL, 0), room = n + keyring_count(net->ring);
    struct hub_net_site *all = calloc(room + 1, sizeof *all);
    struct hub_site *heard = calloc(n + 1, sizeof *heard);
    if (all == NULL || heard == NULL) {
        free(all);
        free(heard);
        return 0;
    }
    (void)hub_machine_sites(net->machine, heard, n);
    for (size_t i = 0; i < n; i++)
        all[i].state = heard[i];
    n = sort_sites(all, add_enrolled(net, all, n, room));
    memcpy(out, all, (n < most ? n : most) * sizeof *out);
    free(all);
    free(heard);
    return n;
}
