/* herd.c - thousands of cafés in one process, as the hub sees them: keys, handshakes, Hello, batches,
 * beats, and what a café does when the line is silent. No store: each makes its records anew.
 *
 *   herd keys FILE N                  N pairs into FILE, their `enrol` records to stdout, for import
 *   herd run ENDPOINT HUBKEY FILE FROM N
 *                                     the pairs FROM..FROM+N-1 connect; two descriptors each
 *
 * `run` reads words from stdin: `send L H` (L more records each, every tenth café H), `quit`. It
 * says how things stand as lines of JSON on stdout, at most four a second, when something changed.
 */
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <poll.h>
#include <signal.h>
#include <sodium.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <time.h>
#include <unistd.h>
#include <zmq.h>

#include "daemon/sync/keys.h"
#include "daemon/sync/site_machine.h"
#include "daemon/sync/site_net.h"
#include "daemon/sync/socket.h"
#include "daemon/sync/wire.h"
#include "tests/bench/records.h"

enum {
    BATCH = 100,
    WINDOW = 4,
    RETRY_MS = 30000, /* the default of sync.retry */
    LOOK_MS = 1000,
    SAY_MS = 250,
    IO_THREADS = 8 /* each looks through its own timers, where a real café has one connection */
};

struct cafe {
    char site[16];
    struct key_pair pair;
    void *socket;
    uint8_t mark[MARK_SIZE];
    uint64_t acked, sent, total;   /* records */
    uint8_t acked_head[HASH_SIZE]; /* chain heads there */
    uint8_t sent_head[HASH_SIZE];
    bool connected, welcomed, heavy;
    uint64_t heard_ms, asked_ms, said_ms, made_ms, patience_ms, up_ms, slow_til_ms;
    struct log_mark down; /* how far it has the hub's own log */
    bool has_down;
};

static struct cafe *cafes;
static size_t n_cafes;
static void *context;
static int watched; /* epoll */
static const char *endpoint;
static uint8_t hub_key[KEY_SIZE];
static uint8_t scratch[WIRE_MOST];
static struct sums {
    uint64_t connected, welcomed, acked, light_acked, done, remade, gaps, wrong;
} sums, said;

static void
fail(const char *what)
{
    (void)fprintf(stderr, "herd: %s\n", what);
    exit(1);
}

static uint64_t
now_ms(void)
{
    struct timespec t = {0};
    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (uint64_t)t.tv_sec * 1000 + (uint64_t)t.tv_nsec / 1000000;
}

/* ---------------------------------------------------------------- keys */

/* Six characters; the last three tell the sites apart, which is what ids of records hang on. */
static void
name_of(size_t i, char out[16])
{
    static const char digits[] = "abcdefghijklmnopqrstuvwxyz0123456789";
    (void)snprintf(out, 16, "qu-%c%c%c", digits[i / 1296 % 36], digits[i / 36 % 36],
                   digits[i % 36]);
}

static int
make_keys(const char *path, size_t n)
{
    int fd = open(path, O_WRONLY | O_CREAT | O_EXCL, 0600);
    FILE *file = fd >= 0 ? fdopen(fd, "w") : NULL;
    if (file == NULL)
        fail("cannot write the keys");
    for (size_t i = 0; i < n; i++) {
        struct key_pair pair;
        struct err_text why;
        char site[16], hex[KEY_TEXT];
        if (key_pair_new(&pair, &why) != ERR_OK)
            fail(why.s);
        name_of(i, site);
        if (fwrite(&pair, sizeof pair, 1, file) != 1)
            fail("cannot write the keys");
        (void)printf("{\"kind\":\"enrol\",\"for_site\":\"%s\",\"role\":\"site\",\"key\":\"%s\"}\n",
                     site, key_print(pair.public_key, hex));
    }
    return fclose(file) == 0 ? 0 : 1;
}

static void
read_keys(const char *path, size_t from)
{
    FILE *file = fopen(path, "r");
    if (file == NULL || fseek(file, (long)(from * sizeof(struct key_pair)), SEEK_SET) != 0)
        fail("no file of keys");
    for (size_t i = 0; i < n_cafes; i++) {
        if (fread(&cafes[i].pair, sizeof cafes[i].pair, 1, file) != 1)
            fail("fewer keys than cafés");
        name_of(from + i, cafes[i].site);
        cafes[i].heavy = (from + i) % 10 == 0;
        randombytes_buf(cafes[i].mark, MARK_SIZE);
    }
    (void)fclose(file);
}

/* ---------------------------------------------------------------- what is said */

static bool
say(struct cafe *c, const Knockbox__Wire *message)
{
    if (!socket_send(c->socket, NULL, message, scratch))
        return false;
    c->said_ms = now_ms();
    return true;
}

static void
say_hello(struct cafe *c)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Hello hello = KNOCKBOX__HELLO__INIT;
    Knockbox__Mark mark, down, *marks[] = {&mark};
    struct log_mark place = {.epoch = 1, .seq = c->acked};
    memcpy(place.mark, c->mark, MARK_SIZE);
    memcpy(place.hash, c->acked_head, HASH_SIZE);
    wire_mark(&place, &mark);
    hello.n_marks = c->acked > 0;
    hello.marks = marks;
    if (c->has_down) {
        wire_mark(&c->down, &down);
        hello.down = &down;
    }
    hello.has_version = hello.has_now_ms = hello.has_behind = true;
    hello.version = WIRE_VERSION;
    hello.site = c->site;
    hello.now_ms = (int64_t)time(NULL) * 1000;
    hello.behind = c->total - c->acked;
    message.what_case = KNOCKBOX__WIRE__WHAT_HELLO;
    message.hello = &hello;
    c->asked_ms = now_ms();
    (void)say(c, &message); /* lost: said again after SITE_ANSWER_MS */
}

static void
say_beat(struct cafe *c)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Beat beat = KNOCKBOX__BEAT__INIT;
    beat.has_now_ms = beat.has_behind = true;
    beat.now_ms = (int64_t)time(NULL) * 1000;
    beat.behind = c->total - c->acked;
    message.what_case = KNOCKBOX__WIRE__WHAT_BEAT;
    message.beat = &beat;
    (void)say(c, &message);
}

static void
link_hash(uint8_t head[HASH_SIZE], const uint8_t *bytes, size_t len)
{
    crypto_generichash_state state;
    (void)crypto_generichash_init(&state, NULL, 0, HASH_SIZE);
    (void)crypto_generichash_update(&state, head, HASH_SIZE);
    (void)crypto_generichash_update(&state, bytes, len);
    (void)crypto_generichash_final(&state, head, HASH_SIZE);
}

/* The next records behind what was sent; false: the line is full. */
static bool
say_batch(struct cafe *c)
{
    static uint8_t bytes[BATCH][1024];
    ProtobufCBinaryData records[BATCH];
    uint8_t id[16], prev[HASH_SIZE], head[HASH_SIZE];
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Batch batch = KNOCKBOX__BATCH__INIT;
    uint64_t n = c->total - c->sent < BATCH ? c->total - c->sent : BATCH;
    memcpy(prev, c->sent_head, HASH_SIZE);
    memcpy(head, c->sent_head, HASH_SIZE);
    for (uint64_t i = 0; i < n; i++) {
        records[i].data = bytes[i];
        records[i].len =
            bench_record_bytes(c->site, 1, c->mark, c->sent + 1 + i, bytes[i], sizeof bytes[i], id);
        link_hash(head, records[i].data, records[i].len);
    }
    batch.has_epoch = batch.has_mark = batch.has_first = batch.has_prev = batch.has_left = true;
    batch.epoch = 1;
    batch.mark = (ProtobufCBinaryData){MARK_SIZE, c->mark};
    batch.first = c->sent + 1;
    batch.prev = (ProtobufCBinaryData){HASH_SIZE, prev};
    batch.n_records = (size_t)n;
    batch.records = records;
    batch.left = c->total - c->sent - n;
    message.what_case = KNOCKBOX__WIRE__WHAT_BATCH;
    message.batch = &batch;
    if (!say(c, &message))
        return false;
    c->sent += n;
    memcpy(c->sent_head, head, HASH_SIZE);
    c->asked_ms = now_ms();
    return true;
}

static void
say_more(struct cafe *c)
{
    while (c->welcomed && c->sent < c->total && c->sent - c->acked < WINDOW * BATCH)
        if (!say_batch(c))
            return;
}

/* ---------------------------------------------------------------- what is heard */

static void
take_place(struct cafe *c, const Knockbox__Mark *held, bool back)
{
    bool ours = held != NULL && memcmp(held->mark.data, c->mark, MARK_SIZE) == 0;
    if (ours && held->seq > c->total)
        sums.wrong++;
    if (ours && held->seq <= c->total && (held->seq > c->acked || back)) {
        c->acked = held->seq;
        memcpy(c->acked_head, held->hash.data, HASH_SIZE);
        if (c->sent == c->acked && memcmp(c->sent_head, c->acked_head, HASH_SIZE) != 0)
            sums.wrong++; /* the hub holds other records than were sent */
    }
    if (c->sent < c->acked || back) {
        c->sent = c->acked;
        memcpy(c->sent_head, c->acked_head, HASH_SIZE);
    }
}

static void
take_welcome(struct cafe *c, const Knockbox__Welcome *welcome)
{
    c->welcomed = true;
    if (welcome->n_marks == 0 && c->acked > 0)
        sums.wrong++; /* it had acknowledged */
    for (size_t i = 0; i < welcome->n_marks; i++)
        if (welcome->marks[i]->seq < c->acked)
            sums.wrong++;
    take_place(c, welcome->n_marks > 0 ? welcome->marks[0] : NULL, true);
}

static void
take_ack(struct cafe *c, const Knockbox__Ack *ack)
{
    sums.gaps += ack->has_gap && ack->gap;
    sums.wrong += ack->has_fork && ack->fork;
    take_place(c, ack->held, ack->has_gap && ack->gap);
}

static void
take_down(struct cafe *c, const Knockbox__Down *down)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__DownAck ack = KNOCKBOX__DOWN_ACK__INIT;
    if (down->upto == NULL)
        return;
    wire_place(down->upto, &c->down);
    c->has_down = true;
    ack.upto = down->upto;
    message.what_case = KNOCKBOX__WIRE__WHAT_DOWN_ACK;
    message.down_ack = &ack;
    (void)say(c, &message);
}

/* false: nothing was there. */
static bool
take(struct cafe *c)
{
    static uint8_t bytes[WIRE_MOST];
    int n = zmq_recv(c->socket, bytes, sizeof bytes, ZMQ_DONTWAIT);
    if (n < 0)
        return false;
    Knockbox__Wire *message = knockbox__wire__unpack(NULL, (size_t)n, bytes);
    if (message == NULL)
        fail("nonsense from the hub");
    c->heard_ms = now_ms();
    if (message->what_case == KNOCKBOX__WIRE__WHAT_WELCOME)
        take_welcome(c, message->welcome);
    else if (message->what_case == KNOCKBOX__WIRE__WHAT_ACK)
        take_ack(c, message->ack);
    else if (message->what_case == KNOCKBOX__WIRE__WHAT_DOWN)
        take_down(c, message->down);
    else if (message->what_case == KNOCKBOX__WIRE__WHAT_REFUSE)
        say_hello(c);
    knockbox__wire__free_unpacked(message, NULL);
    return true;
}

/* ---------------------------------------------------------------- the line */

/* Out of the watched ones before it is closed: its descriptor goes some time later. */
static void
forget_socket(struct cafe *c)
{
    int fd = -1;
    size_t size = sizeof fd;
    if (c->socket == NULL)
        return;
    if (zmq_getsockopt(c->socket, ZMQ_FD, &fd, &size) == 0)
        (void)epoll_ctl(watched, EPOLL_CTL_DEL, fd, NULL);
    (void)zmq_close(c->socket);
    c->socket = NULL;
}

static void
make_socket(struct cafe *c)
{
    struct err_text why;
    forget_socket(c);
    c->connected = c->welcomed = false;
    c->made_ms = now_ms();
    c->patience_ms = site_net_patience_ms(RETRY_MS, randombytes_random());
    if (socket_client(context, &c->pair, hub_key, &c->socket, &why) != ERR_OK)
        fail(why.s);
    if (zmq_connect(c->socket, endpoint) != 0)
        fail("zmq_connect");
    struct epoll_event event = {.events = EPOLLIN, .data.u32 = (uint32_t)(c - cafes)};
    int fd = -1;
    size_t size = sizeof fd;
    if (zmq_getsockopt(c->socket, ZMQ_FD, &fd, &size) != 0 ||
        epoll_ctl(watched, EPOLL_CTL_ADD, fd, &event) != 0)
        fail("a socket cannot be watched");
}

/* As a café's socket does it: Hello on each new connection and when an answer is missing, a word
 * now and then, another socket after a long silence. */
static void
look(struct cafe *c)
{
    int events = 0;
    size_t size = sizeof events;
    uint64_t now = now_ms();
    if (zmq_getsockopt(c->socket, ZMQ_EVENTS, &events, &size) != 0)
        fail("zmq_getsockopt");
    bool before = c->connected;
    c->connected = (events & ZMQ_POLLOUT) != 0;
    if (c->connected && !before)
        c->up_ms = now;
    if (!c->connected)
        c->welcomed = false;
    bool unanswered = !c->welcomed || c->sent > c->acked;
    if (c->connected && (!before || (unanswered && now - c->asked_ms > SITE_ANSWER_MS)))
        say_hello(c);
    else if (c->connected && now - c->said_ms > SITE_BEAT_MS)
        say_beat(c);
    if (c->up_ms != 0 && c->heard_ms >= c->up_ms) {
        if (c->heard_ms - c->up_ms > SITE_PROMPT_MS)
            c->slow_til_ms = now + SITE_SLOW_MS;
        c->up_ms = 0;
    }
    bool answered = c->heard_ms > c->made_ms, quick = answered && now >= c->slow_til_ms;
    uint64_t since = answered ? c->heard_ms : c->made_ms;
    if (now - since > site_net_silence_ms(RETRY_MS, quick, c->patience_ms)) {
        sums.remade++;
        make_socket(c);
    }
}

static void
add_up(void)
{
    struct sums fresh = {.remade = sums.remade, .gaps = sums.gaps, .wrong = sums.wrong};
    for (size_t i = 0; i < n_cafes; i++) {
        const struct cafe *c = &cafes[i];
        fresh.connected += c->connected;
        fresh.welcomed += c->welcomed;
        fresh.acked += c->acked;
        fresh.done += c->acked == c->total;
        fresh.light_acked += c->heavy ? 0 : c->acked;
    }
    sums = fresh;
}

static void
tell(void)
{
    add_up();
    if (memcmp(&sums, &said, sizeof sums) == 0)
        return;
    said = sums;
    (void)printf("{\"connected\":%" PRIu64 ",\"welcomed\":%" PRIu64 ",\"acked\":%" PRIu64
                 ",\"done\":%" PRIu64 ",\"light_acked\":%" PRIu64 ",\"remade\":%" PRIu64
                 ",\"gaps\":%" PRIu64 ",\"wrong\":%" PRIu64 "}\n",
                 sums.connected, sums.welcomed, sums.acked, sums.done, sums.light_acked,
                 sums.remade, sums.gaps, sums.wrong);
    (void)fflush(stdout);
}

/* false: the end. */
static bool
take_words(void)
{
    static char text[256];
    static size_t len;
    uint64_t light = 0, heavy = 0;
    struct pollfd in = {.fd = 0, .events = POLLIN};
    if (poll(&in, 1, 0) <= 0)
        return true;
    ssize_t n = read(0, text + len, sizeof text - 1 - len);
    if (n <= 0)
        return false;
    len += (size_t)n;
    text[len] = '\0';
    if (strchr(text, '\n') == NULL)
        return true;
    len = 0;
    if (sscanf(text, "send %" SCNu64 " %" SCNu64, &light, &heavy) != 2)
        return false;
    for (size_t i = 0; i < n_cafes; i++)
        cafes[i].total += cafes[i].heavy ? heavy : light;
    return true;
}

/* What has come, until there is nothing more, and what can be said now. A send may swallow the news
 * that something came: each is followed by another look. */
static void
attend(struct cafe *c)
{
    uint64_t before = 0;
    do {
        before = c->sent;
        while (take(c))
            continue;
        look(c);
        say_more(c);
    } while (c->sent != before);
    while (take(c))
        continue;
}

static void
attend_some(int timeout_ms)
{
    struct epoll_event events[256];
    int n = epoll_wait(watched, events, 256, timeout_ms);
    for (int i = 0; i < n; i++)
        attend(&cafes[events[i].data.u32]);
}

static void
run(void)
{
    uint64_t looked = 0, told = 0;
    for (size_t i = 0; i < n_cafes; i++)
        make_socket(&cafes[i]);
    while (take_words()) {
        attend_some(10);
        for (size_t i = 0; now_ms() - looked >= LOOK_MS && i < n_cafes; i++)
            attend(&cafes[i]);
        if (now_ms() - looked >= LOOK_MS)
            looked = now_ms();
        if (now_ms() - told < SAY_MS)
            continue;
        told = now_ms();
        tell();
    }
}

int
main(int argc, char **argv)
{
    struct err_text why;
    (void)signal(SIGPIPE, SIG_DFL); /* nobody listens any more: the end */
    if (sodium_init() < 0)
        fail("libsodium does not start");
    if (argc == 4 && strcmp(argv[1], "keys") == 0)
        return make_keys(argv[2], strtoull(argv[3], NULL, 10));
    if (argc != 7 || strcmp(argv[1], "run") != 0 || !key_parse(argv[3], hub_key))
        fail("usage: herd keys FILE N | herd run ENDPOINT HUBKEY FILE FROM N");
    endpoint = argv[2];
    n_cafes = strtoull(argv[6], NULL, 10);
    cafes = calloc(n_cafes, sizeof *cafes);
    if (cafes == NULL)
        fail("out of memory");
    read_keys(argv[4], strtoull(argv[5], NULL, 10));
    watched = epoll_create1(EPOLL_CLOEXEC);
    if (watched < 0)
        fail("epoll");
    if (socket_context(&context, &why) != ERR_OK)
        fail(why.s);
    (void)zmq_ctx_set(context, ZMQ_IO_THREADS, IO_THREADS);
    run();
    _exit(0); /* without taking the sockets down one by one */
}
