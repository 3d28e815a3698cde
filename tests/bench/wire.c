/* wire.c - many sites against a running hub, over CURVE on loopback.
 *
 *   bench_wire ENDPOINT HUB-PID KEYS MODE [N]
 *
 * KEYS: a folder with one key file a site, named after the site; each key is enrolled at the hub.
 * MODE: ingest   8 sites, N events (default 200000) in batches of 100, window 4
 *       catchup  1 site, 10000 events, window 4
 *       ack      1 site, one event at a time, 500 times
 *       rush     40 sites, one event in flight each, 4 seconds
 *       idle     N sites (default: all keys) say hello and then nothing
 * Each run starts epochs of its own, so that a hub can be used again. Prints metric lines.
 */
#include <dirent.h>
#include <inttypes.h>
#include <sodium.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <zmq.h>

#include "daemon/sync/keys.h"
#include "daemon/sync/wire.h"
#include "tests/bench/records.h"

enum {
    BATCH = 100,
    MAX_SITES = 1000,
    WINDOW = 4
};

struct site {
    char code[64];
    void *socket;
    uint8_t mark[8];
    uint64_t sent, acked, total; /* events */
    uint64_t next_first;
    uint8_t head[32]; /* chain head at `sent` */
    double sent_at;
    uint8_t *frames; /* prepared messages, one after the other */
    size_t *frame_at;
    size_t n_frames, next_frame;
};

static void *context;
static struct site sites[MAX_SITES];
static size_t n_sites;
static const char *endpoint;

static void
fail(const char *what)
{
    (void)fprintf(stderr, "bench_wire: %s\n", what);
    exit(1);
}

static int
by_code(const void *a, const void *b)
{
    return strcmp(((const struct site *)a)->code, ((const struct site *)b)->code);
}

static void
find_sites(const char *keys, size_t most)
{
    DIR *dir = opendir(keys);
    struct dirent *entry;
    if (dir == NULL)
        fail("no folder of keys");
    while ((entry = readdir(dir)) != NULL && n_sites < MAX_SITES)
        if (entry->d_name[0] != '.')
            (void)snprintf(sites[n_sites++].code, sizeof sites[0].code, "%.60s", entry->d_name);
    (void)closedir(dir);
    qsort(sites, n_sites, sizeof sites[0], by_code);
    if (n_sites < most)
        fail("fewer keys than sites");
    n_sites = most;
}

static void
connect_site(struct site *site, const char *keys)
{
    char path[512];
    struct key_file file;
    struct err_text why;
    int zero = 0, most = WIRE_MOST, beat = 10000, timeout = 30000;
    (void)snprintf(path, sizeof path, "%s/%s", keys, site->code);
    if (key_file_read(path, &file, &why) != ERR_OK)
        fail(why.s);
    site->socket = zmq_socket(context, ZMQ_DEALER);
    if (site->socket == NULL)
        fail("zmq_socket");
    (void)zmq_setsockopt(site->socket, ZMQ_LINGER, &zero, sizeof zero);
    (void)zmq_setsockopt(site->socket, ZMQ_MAXMSGSIZE, &(int64_t){most}, sizeof(int64_t));
    (void)zmq_setsockopt(site->socket, ZMQ_HEARTBEAT_IVL, &beat, sizeof beat);
    (void)zmq_setsockopt(site->socket, ZMQ_HEARTBEAT_TIMEOUT, &timeout, sizeof timeout);
    if (zmq_setsockopt(site->socket, ZMQ_CURVE_SERVERKEY, file.hub, KEY_SIZE) != 0 ||
        zmq_setsockopt(site->socket, ZMQ_CURVE_PUBLICKEY, file.own.public_key, KEY_SIZE) != 0 ||
        zmq_setsockopt(site->socket, ZMQ_CURVE_SECRETKEY, file.own.secret_key, KEY_SIZE) != 0 ||
        zmq_connect(site->socket, endpoint) != 0)
        fail("zmq_connect");
    randombytes_buf(site->mark, sizeof site->mark);
}

static size_t
pack(const Knockbox__Wire *message, uint8_t **out)
{
    size_t len = knockbox__wire__get_packed_size(message);
    *out = malloc(len);
    if (*out == NULL)
        fail("memory");
    return knockbox__wire__pack(message, *out);
}

static void
send_hello(struct site *site)
{
    Knockbox__Wire wire = KNOCKBOX__WIRE__INIT;
    Knockbox__Hello hello = KNOCKBOX__HELLO__INIT;
    hello.has_version = hello.has_now_ms = 1;
    hello.version = WIRE_VERSION;
    hello.site = site->code;
    hello.now_ms = INT64_C(1767222000000);
    hello.software = (char *)"bench";
    wire.what_case = KNOCKBOX__WIRE__WHAT_HELLO;
    wire.hello = &hello;
    uint8_t *bytes;
    size_t len = pack(&wire, &bytes);
    if (zmq_send(site->socket, bytes, len, 0) < 0)
        fail("send hello");
    free(bytes);
}

/* Waits for one message; returns the held sequence number of an ack, or -1 for another message. */
static int64_t
take(struct site *site, int flags)
{
    static uint8_t bytes[WIRE_MOST];
    int n = zmq_recv(site->socket, bytes, sizeof bytes, flags);
    if (n < 0)
        return -2;
    Knockbox__Wire *wire = knockbox__wire__unpack(NULL, (size_t)n, bytes);
    int64_t held = -1;
    if (wire == NULL)
        fail("nonsense from the hub");
    if (wire->what_case == KNOCKBOX__WIRE__WHAT_REFUSE)
        fail(wire->refuse->text);
    if (wire->what_case == KNOCKBOX__WIRE__WHAT_ACK) {
        if (wire->ack->gap || wire->ack->fork)
            fail("the hub saw a gap or a fork");
        if (wire->ack->held != NULL && memcmp(wire->ack->held->mark.data, site->mark, 8) == 0)
            held = (int64_t)wire->ack->held->seq;
    }
    knockbox__wire__free_unpacked(wire, NULL);
    return held;
}

static void
greet(struct site *site)
{
    send_hello(site);
    while (take(site, 0) != -1)
        continue; /* until the welcome */
    while (take(site, ZMQ_DONTWAIT) != -2)
        continue;
}

/* One message of `n` events behind what was prepared so far. */
static size_t
prepare(struct site *site, uint64_t n, uint8_t **out)
{
    static uint8_t bytes[BATCH][1024];
    ProtobufCBinaryData records[BATCH];
    uint8_t id[16], prev[32];
    memcpy(prev, site->head, 32);
    for (uint64_t i = 0; i < n; i++) {
        records[i].data = bytes[i];
        records[i].len = bench_record_bytes(site->code, 1, site->mark, site->next_first + i,
                                            bytes[i], sizeof bytes[i], id);
        crypto_generichash_state state;
        (void)crypto_generichash_init(&state, NULL, 0, 32);
        (void)crypto_generichash_update(&state, site->head, 32);
        (void)crypto_generichash_update(&state, records[i].data, records[i].len);
        (void)crypto_generichash_final(&state, site->head, 32);
    }
    Knockbox__Wire wire = KNOCKBOX__WIRE__INIT;
    Knockbox__Batch batch = KNOCKBOX__BATCH__INIT;
    batch.has_epoch = batch.has_mark = batch.has_first = batch.has_prev = 1;
    batch.epoch = 1;
    batch.mark = (ProtobufCBinaryData){8, site->mark};
    batch.first = site->next_first;
    batch.prev = (ProtobufCBinaryData){32, prev};
    batch.n_records = n;
    batch.records = records;
    batch.has_left = 1;
    batch.left =
        site->total - site->next_first + 1 > n ? site->total - site->next_first + 1 - n : 0;
    wire.what_case = KNOCKBOX__WIRE__WHAT_BATCH;
    wire.batch = &batch;
    site->next_first += n;
    return pack(&wire, out);
}

static void
prepare_all(struct site *site, uint64_t events)
{
    site->next_first = 1;
    site->total = events;
    site->n_frames = (size_t)((events + BATCH - 1) / BATCH);
    site->frame_at = calloc(site->n_frames + 1, sizeof *site->frame_at);
    size_t room = 0;
    for (size_t f = 0; f < site->n_frames; f++) {
        uint8_t *frame;
        uint64_t left = events - f * BATCH;
        size_t len = prepare(site, left < BATCH ? left : BATCH, &frame);
        if (site->frame_at[f] + len > room) {
            room = (site->frame_at[f] + len) * 2;
            site->frames = realloc(site->frames, room);
        }
        if (site->frames == NULL || site->frame_at == NULL)
            fail("memory");
        memcpy(site->frames + site->frame_at[f], frame, len);
        site->frame_at[f + 1] = site->frame_at[f] + len;
        free(frame);
    }
}

static void
send_more(struct site *site)
{
    while (site->next_frame < site->n_frames && site->sent - site->acked < WINDOW * BATCH) {
        size_t f = site->next_frame;
        if (zmq_send(site->socket, site->frames + site->frame_at[f],
                     site->frame_at[f + 1] - site->frame_at[f], ZMQ_DONTWAIT) < 0)
            return;
        site->next_frame++;
        site->sent += BATCH;
        if (site->sent > site->total)
            site->sent = site->total;
    }
}

/* Processor seconds of a process, user and system, all threads. */
static double
cpu_of(int pid)
{
    char path[64], text[1024];
    (void)snprintf(path, sizeof path, "/proc/%d/stat", pid);
    FILE *file = fopen(path, "r");
    unsigned long user = 0, system = 0;
    if (file == NULL || fgets(text, sizeof text, file) == NULL)
        fail("no such hub process");
    (void)fclose(file);
    (void)sscanf(strrchr(text, ')') + 2, "%*c %*d %*d %*d %*d %*d %*u %*u %*u %*u %*u %lu %lu",
                 &user, &system);
    return (double)(user + system) / (double)sysconf(_SC_CLK_TCK);
}

static double
resident_kib(int pid)
{
    char path[64];
    long pages = 0;
    (void)snprintf(path, sizeof path, "/proc/%d/statm", pid);
    FILE *file = fopen(path, "r");
    if (file == NULL || fscanf(file, "%*d %ld", &pages) != 1)
        fail("no such hub process");
    (void)fclose(file);
    return (double)pages * (double)sysconf(_SC_PAGESIZE) / 1024;
}

/* Until every site's last event is acknowledged; returns seconds. */
static double
pump(void)
{
    zmq_pollitem_t items[MAX_SITES];
    for (size_t s = 0; s < n_sites; s++)
        items[s] = (zmq_pollitem_t){sites[s].socket, 0, ZMQ_POLLIN, 0};
    double start = bench_now();
    size_t done = 0;
    for (size_t s = 0; s < n_sites; s++)
        send_more(&sites[s]);
    while (done < n_sites) {
        if (zmq_poll(items, (int)n_sites, 30000) <= 0)
            fail("no ack for 30 s");
        done = 0;
        for (size_t s = 0; s < n_sites; s++) {
            int64_t held;
            while ((items[s].revents & ZMQ_POLLIN) != 0 &&
                   (held = take(&sites[s], ZMQ_DONTWAIT)) != -2)
                if (held > (int64_t)sites[s].acked)
                    sites[s].acked = (uint64_t)held;
            send_more(&sites[s]);
            done += sites[s].acked == sites[s].total;
        }
    }
    return bench_now() - start;
}

static void
backlog(const char *metric, int pid, uint64_t each)
{
    for (size_t s = 0; s < n_sites; s++) {
        prepare_all(&sites[s], each);
        greet(&sites[s]);
    }
    double cpu = cpu_of(pid), events = (double)each * (double)n_sites;
    double seconds = pump();
    bench_print(metric, events / seconds, "ev/s");
    if (n_sites > 1)
        bench_print("product.hub.cpu", (cpu_of(pid) - cpu) * 1e6 / events, "us/ev");
}

static void
send_one(struct site *site)
{
    uint8_t *frame;
    site->total = site->next_first;
    size_t len = prepare(site, 1, &frame);
    site->sent_at = bench_now();
    if (zmq_send(site->socket, frame, len, 0) < 0)
        fail("send");
    free(frame);
}

static void
ack(void)
{
    enum {
        TIMES = 500
    };
    static double times[TIMES];
    struct site *site = &sites[0];
    greet(site);
    site->next_first = 1;
    for (unsigned i = 0; i < TIMES; i++) {
        send_one(site);
        while (take(site, 0) != (int64_t)i + 1)
            continue;
        times[i] = (bench_now() - site->sent_at) * 1e6;
    }
    bench_print("product.hub.ack.p50", bench_part(times, TIMES, 0.5), "us");
}

static void
rush(double seconds)
{
    zmq_pollitem_t items[MAX_SITES];
    uint64_t events = 0;
    for (size_t s = 0; s < n_sites; s++) {
        greet(&sites[s]);
        sites[s].next_first = 1;
        items[s] = (zmq_pollitem_t){sites[s].socket, 0, ZMQ_POLLIN, 0};
    }
    double start = bench_now();
    for (size_t s = 0; s < n_sites; s++)
        send_one(&sites[s]);
    while (bench_now() - start < seconds) {
        if (zmq_poll(items, (int)n_sites, 30000) <= 0)
            fail("no ack for 30 s");
        for (size_t s = 0; s < n_sites; s++) {
            if ((items[s].revents & ZMQ_POLLIN) == 0 ||
                take(&sites[s], ZMQ_DONTWAIT) != (int64_t)sites[s].next_first - 1)
                continue;
            events++;
            send_one(&sites[s]);
        }
    }
    bench_print("product.hub.rush.s40", (double)events / (bench_now() - start), "ev/s");
}

static void
idle(int pid, const char *keys)
{
    double before = resident_kib(pid);
    for (size_t s = 0; s < n_sites; s++) {
        connect_site(&sites[s], keys);
        greet(&sites[s]);
    }
    bench_print("product.hub.idle_peer", (resident_kib(pid) - before) / (double)n_sites, "KiB");
    bench_print("product.hub.resident", resident_kib(pid) / 1024, "MiB");
}

static void
connect_all(const char *keys)
{
    for (size_t s = 0; s < n_sites; s++)
        connect_site(&sites[s], keys);
}

int
main(int argc, char **argv)
{
    if (argc < 5 || sodium_init() < 0) {
        (void)fputs("usage: bench_wire ENDPOINT HUB-PID KEYS ingest|catchup|ack|rush|idle [N]\n",
                    stderr);
        return 2;
    }
    endpoint = argv[1];
    int pid = atoi(argv[2]);
    const char *keys = argv[3], *mode = argv[4];
    uint64_t n = argc > 5 ? strtoull(argv[5], NULL, 10) : 0;
    context = zmq_ctx_new();
    (void)zmq_ctx_set(context, ZMQ_MAX_SOCKETS, MAX_SITES + 8);
    if (strcmp(mode, "idle") == 0) {
        find_sites(keys, n != 0 ? n : 400);
        idle(pid, keys);
        _exit(0);
    }
    bool many = strcmp(mode, "ingest") == 0, hurry = strcmp(mode, "rush") == 0;
    find_sites(keys, many ? 8 : hurry ? 40 : 1);
    connect_all(keys);
    if (many)
        backlog("product.hub.ingest.s8", pid, (n != 0 ? n : 200000) / 8);
    else if (hurry)
        rush(4);
    else if (strcmp(mode, "ack") == 0)
        ack();
    else
        backlog("product.catchup.s1", pid, n != 0 ? n : 10000);
    _exit(0);
}
