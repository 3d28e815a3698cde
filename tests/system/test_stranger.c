/* test_stranger.c - who has no key gets nothing; who has one speaks for its own site only.
 *
 * Sources: ZeroMQ RFC 25 (CURVE), 27 (ZAP); the facts of libzmq 4.3.4 that this project measured
 * (docs/decisions/0003-wire.md). */
#include <arpa/inet.h>
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <unistd.h>
#include <zmq.h>

#include "daemon/sync/join.h"
#include "daemon/sync/socket.h"
#include "tests/bench/records.h"
#include "tests/system/program.h"

struct scene {
    char place[PLACE], hub[PLACE * 2], cafe[PLACE * 2], endpoint[PLACE];
    struct daemon h;
    struct key_file key; /* of the enrolled café */
    void *context;
};

static void
begin(struct scene *s)
{
    char path[PLACE * 3];
    place_make(s->place);
    snprintf(s->hub, sizeof s->hub, "%s/hub", s->place);
    snprintf(s->cafe, sizeof s->cafe, "%s/cafe", s->place);
    s->h = start_hub(s->hub);
    endpoint_of(s->hub, s->endpoint);
    join_cafe(s->hub, s->cafe, "quayside");
    snprintf(path, sizeof path, "%s/cafe.key", s->cafe);
    cr_assert(key_file_read(path, &s->key, NULL) == ERR_OK);
    cr_assert(socket_context(&s->context, NULL) == ERR_OK);
}

static void
end(struct scene *s)
{
    zmq_ctx_term(s->context);
    cr_expect(answer_has(s->hub, "status", "kitchen"));
    cr_expect(eq(int, end_daemon(&s->h), 0));
    place_done(s->place);
}

static void *
connect_with(struct scene *s, const struct key_pair *pair)
{
    void *socket = NULL;
    cr_assert(socket_client(s->context, pair, s->key.hub, &socket, NULL) == ERR_OK);
    cr_assert(zmq_connect(socket, s->endpoint) == 0);
    return socket;
}

/* Waits for the line at most a second. */
static bool
say(void *socket, const Knockbox__Wire *message)
{
    static uint8_t scratch[WIRE_MOST];
    for (int i = 0; i < 50; i++) {
        if (socket_send(socket, NULL, message, scratch))
            return true;
        usleep(20000);
    }
    return false;
}

static bool
say_hello(void *socket, const char *site, uint32_t version)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Hello hello = KNOCKBOX__HELLO__INIT;
    hello.has_version = hello.has_now_ms = true;
    hello.version = version;
    hello.site = (char *)site;
    hello.now_ms = 1772496000000;
    message.what_case = KNOCKBOX__WIRE__WHAT_HELLO;
    message.hello = &hello;
    return say(socket, &message);
}

/* The kind of the next message; 0: none within a second. `text` of a refusal is kept. */
static int
next_kind(void *socket, char text[600])
{
    static uint8_t bytes[WIRE_MOST];
    struct arena arena;
    const Knockbox__Wire *message = NULL;
    zmq_pollitem_t item = {.socket = socket, .events = ZMQ_POLLIN};
    int kind = 0;
    text[0] = '\0';
    if (zmq_poll(&item, 1, 1000) <= 0)
        return 0;
    int n = zmq_recv(socket, bytes, sizeof bytes, 0);
    cr_assert(arena_init(&arena, ARENA_FRAME, NULL) == ERR_OK);
    if (n > 0 && wire_unpack(bytes, (size_t)n, &arena, &message, NULL) == ERR_OK) {
        kind = (int)message->what_case;
        if (kind == KNOCKBOX__WIRE__WHAT_REFUSE)
            snprintf(text, 600, "%s", message->refuse->text);
    }
    arena_done(&arena);
    return kind;
}

Test(stranger, with_an_unknown_key_gets_no_answer, .timeout = 60)
{
    struct scene s;
    struct key_pair pair;
    char text[600];
    begin(&s);
    cr_assert(key_pair_new(&pair, NULL) == ERR_OK);
    void *socket = connect_with(&s, &pair);
    cr_expect(not(say_hello(socket, "quayside", 1))); /* the line never takes it */
    cr_expect(eq(int, next_kind(socket, text), 0));
    zmq_close(socket);
    end(&s);
}

Test(stranger, without_curve_gets_no_answer, .timeout = 60)
{
    struct scene s;
    char text[600];
    begin(&s);
    void *socket = zmq_socket(s.context, ZMQ_DEALER);
    int zero = 0, one = 1;
    zmq_setsockopt(socket, ZMQ_LINGER, &zero, sizeof zero);
    zmq_setsockopt(socket, ZMQ_IMMEDIATE, &one, sizeof one);
    zmq_connect(socket, s.endpoint);
    cr_expect(not(say_hello(socket, "quayside", 1)));
    cr_expect(eq(int, next_kind(socket, text), 0));
    zmq_close(socket);
    end(&s);
}

static int
raw_line(const char *endpoint)
{
    struct sockaddr_in to = {.sin_family = AF_INET, .sin_addr = {htonl(INADDR_LOOPBACK)}};
    to.sin_port = htons((uint16_t)atoi(strrchr(endpoint, ':') + 1));
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    cr_assert(connect(fd, (struct sockaddr *)&to, sizeof to) == 0);
    return fd;
}

Test(stranger, who_is_silent_or_talks_nonsense_is_cut_off_within_ten_seconds, .timeout = 60)
{
    static const char nonsense[] = "GET / HTTP/1.1\r\nHost: kitchen\r\n\r\n";
    struct scene s;
    struct timeval most = {.tv_sec = 10};
    begin(&s);
    for (int speaks = 0; speaks < 2; speaks++) {
        int fd = raw_line(s.endpoint);
        char bytes[4096];
        size_t got = 0;
        ssize_t n = 0;
        setsockopt(fd, SOL_SOCKET, SO_RCVTIMEO, &most, sizeof most);
        if (speaks)
            cr_assert(write(fd, nonsense, sizeof nonsense - 1) > 0);
        while ((n = read(fd, bytes, sizeof bytes)) > 0)
            got += (size_t)n;
        cr_expect(n == 0 || errno == ECONNRESET, "still open: %s", strerror(errno));
        cr_expect(got <= 64, "%zu bytes", got); /* the greeting of ZMTP */
        close(fd);
    }
    end(&s);
}

Test(peer, speaks_for_its_own_site_only, .timeout = 60)
{
    struct scene s;
    char text[600];
    begin(&s);
    void *socket = connect_with(&s, &s.key.own);
    cr_assert(say_hello(socket, "harbour", 1));
    cr_expect(eq(int, next_kind(socket, text), KNOCKBOX__WIRE__WHAT_REFUSE));
    cr_expect(strstr(text, "belongs to site quayside") != NULL, "%s", text);
    cr_assert(say_hello(socket, "quayside", 1)); /* the truth is heard on the same line */
    cr_expect(eq(int, next_kind(socket, text), KNOCKBOX__WIRE__WHAT_WELCOME));
    zmq_close(socket);
    end(&s);
}

/* ---------------------------------------------------------------- for another site */

/* What quayside has learnt about harbour: its key, and how far its log goes. */
struct other {
    uint8_t key[KEY_SIZE];
    struct log_mark log;
};

static void
learn(struct scene *s, struct other *out)
{
    static uint8_t bytes[WIRE_MOST];
    char path[PLACE * 3], harbour[PLACE * 2];
    struct arena arena;
    struct key_file key;
    const Knockbox__Wire *message = NULL;
    snprintf(harbour, sizeof harbour, "%s/harbour", s->place);
    join_cafe(s->hub, harbour, "harbour");
    struct daemon c = start_daemon("knockbox-cafe", harbour);
    cr_assert(run_program("knockbox", "log", "note", "text=ours", "--at", harbour, NULL).status ==
              0);
    wait_for_answer(s->hub, "export", "ours");
    cr_expect(eq(int, end_daemon(&c), 0));
    snprintf(path, sizeof path, "%s/cafe.key", harbour);
    cr_assert(key_file_read(path, &key, NULL) == ERR_OK);
    memcpy(out->key, key.own.public_key, KEY_SIZE);
    void *socket = connect_with(s, &key.own);
    cr_assert(say_hello(socket, "harbour", 1));
    int n = zmq_recv(socket, bytes, sizeof bytes, 0);
    cr_assert(arena_init(&arena, ARENA_FRAME, NULL) == ERR_OK);
    cr_assert(n > 0 && wire_unpack(bytes, (size_t)n, &arena, &message, NULL) == ERR_OK);
    cr_assert(message->what_case == KNOCKBOX__WIRE__WHAT_WELCOME && message->welcome->n_marks == 1);
    wire_place(message->welcome->marks[0], &out->log);
    arena_done(&arena);
    zmq_close(socket);
}

/* Each says a message that means harbour, on quayside's line. */
static void
say_its_name(void *socket, const struct other *other)
{
    (void)other;
    cr_assert(say_hello(socket, "harbour", 1));
}

static void
say_its_marks(void *socket, const struct other *other)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Hello hello = KNOCKBOX__HELLO__INIT;
    Knockbox__Branch branch = KNOCKBOX__BRANCH__INIT, *branches[] = {&branch};
    Knockbox__Mark mark, *marks[] = {&mark};
    wire_mark(&other->log, &mark);
    branch.has_epoch = branch.has_mark = branch.has_seq = branch.has_into = true;
    branch.epoch = other->log.epoch;
    branch.mark = (ProtobufCBinaryData){MARK_SIZE, (uint8_t *)other->log.mark};
    branch.seq = 1;
    branch.into = other->log.epoch + 1;
    hello.has_version = hello.has_now_ms = true;
    hello.version = 1;
    hello.site = (char *)"quayside";
    hello.now_ms = 1772496000000;
    hello.n_marks = hello.n_branches = 1;
    hello.marks = marks;
    hello.branches = branches;
    hello.down = &mark;
    message.what_case = KNOCKBOX__WIRE__WHAT_HELLO;
    message.hello = &hello;
    cr_assert(say(socket, &message));
}

static void
say_its_records(void *socket, const struct other *other)
{
    uint8_t bytes[1024], id[16];
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Batch batch = KNOCKBOX__BATCH__INIT;
    ProtobufCBinaryData record = {.data = bytes};
    record.len = bench_record_bytes("harbour", other->log.epoch, other->log.mark,
                                    other->log.seq + 1, bytes, sizeof bytes, id);
    batch.has_epoch = batch.has_mark = batch.has_first = batch.has_prev = true;
    batch.epoch = other->log.epoch;
    batch.mark = (ProtobufCBinaryData){MARK_SIZE, (uint8_t *)other->log.mark};
    batch.first = other->log.seq + 1;
    batch.prev = (ProtobufCBinaryData){HASH_SIZE, (uint8_t *)other->log.hash};
    batch.n_records = 1;
    batch.records = &record;
    message.what_case = KNOCKBOX__WIRE__WHAT_BATCH;
    message.batch = &batch;
    cr_assert(say(socket, &message));
}

static void
fetch_its_records(void *socket, const struct other *other)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Fetch fetch = KNOCKBOX__FETCH__INIT;
    fetch.has_epoch = fetch.has_mark = fetch.has_first = true;
    fetch.epoch = other->log.epoch;
    fetch.mark = (ProtobufCBinaryData){MARK_SIZE, (uint8_t *)other->log.mark};
    fetch.first = 1;
    message.what_case = KNOCKBOX__WIRE__WHAT_FETCH;
    message.fetch = &fetch;
    cr_assert(say(socket, &message));
}

static void
take_its_place(void *socket, const struct other *other)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__DownAck ack = KNOCKBOX__DOWN_ACK__INIT;
    Knockbox__Mark mark;
    wire_mark(&other->log, &mark);
    ack.upto = ack.fork = &mark;
    message.what_case = KNOCKBOX__WIRE__WHAT_DOWN_ACK;
    message.down_ack = &ack;
    cr_assert(say(socket, &message));
}

static void
renew_to_its_key(void *socket, const struct other *other)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Renew renew = KNOCKBOX__RENEW__INIT;
    renew.has_key = true;
    renew.key = (ProtobufCBinaryData){KEY_SIZE, (uint8_t *)other->key};
    message.what_case = KNOCKBOX__WIRE__WHAT_RENEW;
    message.renew = &renew;
    cr_assert(say(socket, &message));
}

static void
join_with_its_key(void *socket, const struct other *other)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Join join = KNOCKBOX__JOIN__INIT;
    join.has_version = join.has_key = true;
    join.version = 1;
    join.key = (ProtobufCBinaryData){KEY_SIZE, (uint8_t *)other->key};
    message.what_case = KNOCKBOX__WIRE__WHAT_JOIN;
    message.join = &join;
    cr_assert(say(socket, &message));
}

/* Beat names nobody and Request is not for machines: a_machine_asks_no_requests. */
static const struct {
    const char *what;
    void (*say)(void *socket, const struct other *other);
    int answer; /* 0: none */
} for_another[] = {
    {"Hello with its name", say_its_name, KNOCKBOX__WIRE__WHAT_REFUSE},
    {"Hello with its marks", say_its_marks, KNOCKBOX__WIRE__WHAT_WELCOME},
    {"Batch of its records", say_its_records, KNOCKBOX__WIRE__WHAT_REFUSE},
    {"Fetch of its records", fetch_its_records, 0},
    {"DownAck with its marks", take_its_place, 0},
    {"Renew to its key", renew_to_its_key, KNOCKBOX__WIRE__WHAT_RENEWED},
    {"Join with its key", join_with_its_key, KNOCKBOX__WIRE__WHAT_REFUSE},
};

/* Nothing of it is taken, given or changed, and the log names who tried. */
Test(peer, says_nothing_for_another_site_in_any_message, .timeout = 90)
{
    struct scene s;
    struct other other;
    char text[600];
    begin(&s);
    learn(&s, &other);
    struct said before = run_program("knockbox", "export", "--at", s.hub, NULL);
    struct said keys = run_program("knockbox-hub", "keys", s.hub, NULL);
    for (size_t i = 0; i < sizeof for_another / sizeof for_another[0]; i++) {
        void *socket = connect_with(&s, &s.key.own);
        cr_assert(say_hello(socket, "quayside", 1));
        cr_expect(eq(int, next_kind(socket, text), KNOCKBOX__WIRE__WHAT_WELCOME));
        for_another[i].say(socket, &other);
        int kind = next_kind(socket, text);
        cr_expect(kind == for_another[i].answer, "%s: %d %s", for_another[i].what, kind, text);
        zmq_close(socket);
    }
    struct said after = run_program("knockbox", "export", "--at", s.hub, NULL);
    cr_expect(eq(str, after.out, before.out));
    after = run_program("knockbox-hub", "keys", s.hub, NULL);
    cr_expect(eq(str, after.out, keys.out));
    wait_for_log(&s.h, "this key belongs to site quayside, not to harbour");
    wait_for_log(&s.h, "a batch of quayside is refused");
    wait_for_log(&s.h, "quayside gets no records back");
    end(&s);
}

Test(peer, of_a_newer_release_is_refused_in_words, .timeout = 60)
{
    struct scene s;
    char text[600];
    begin(&s);
    void *socket = connect_with(&s, &s.key.own);
    cr_assert(say_hello(socket, "quayside", 2));
    cr_expect(eq(int, next_kind(socket, text), KNOCKBOX__WIRE__WHAT_REFUSE));
    cr_expect(strstr(text, "speaks version 2") != NULL, "%s", text);
    zmq_close(socket);
    end(&s);
}

/* Frames that are no message, many parts, an endless one and one over the limit: dropped, and the
 * hub goes on. */
Test(peer, sends_rubbish_and_the_hub_goes_on, .timeout = 60)
{
    struct scene s;
    char text[600];
    uint64_t random = 88172645463325252u;
    uint8_t *bytes = malloc(WIRE_MOST + 1000);
    begin(&s);
    void *socket = connect_with(&s, &s.key.own);
    cr_assert(say_hello(socket, "quayside", 1));
    cr_expect(eq(int, next_kind(socket, text), KNOCKBOX__WIRE__WHAT_WELCOME));
    for (int i = 0; i < 500; i++) {
        size_t len = 1 + (size_t)(random % 300);
        for (size_t k = 0; k < len; k++) {
            random ^= random << 13;
            random ^= random >> 7;
            random ^= random << 17;
            bytes[k] = (uint8_t)random;
        }
        zmq_send(socket, bytes, len, ZMQ_DONTWAIT | (i % 5 == 0 ? ZMQ_SNDMORE : 0));
    }
    zmq_send(socket, "", 0, 0);
    zmq_close(socket);
    socket = connect_with(&s, &s.key.own);
    cr_assert(say_hello(socket, "quayside", 1));
    cr_expect(eq(int, next_kind(socket, text), KNOCKBOX__WIRE__WHAT_WELCOME));
    memset(bytes, 0, WIRE_MOST + 1000);
    zmq_send(socket, bytes, WIRE_MOST + 1000, ZMQ_DONTWAIT); /* the hub cuts the line */
    zmq_close(socket);
    socket = connect_with(&s, &s.key.own);
    cr_assert(say_hello(socket, "quayside", 1));
    cr_expect(eq(int, next_kind(socket, text), KNOCKBOX__WIRE__WHAT_WELCOME));
    zmq_close(socket);
    free(bytes);
    end(&s);
}

/* Not a word to a key that was revoked while it was connected. */
Test(peer, revoked_on_an_open_connection_gets_no_answer, .timeout = 60)
{
    struct scene s;
    char text[600];
    begin(&s);
    void *socket = connect_with(&s, &s.key.own);
    cr_assert(say_hello(socket, "quayside", 1));
    cr_expect(eq(int, next_kind(socket, text), KNOCKBOX__WIRE__WHAT_WELCOME));
    cr_assert(run_program("knockbox-hub", "revoke", s.hub, "quayside", NULL).status == 0);
    for (int i = 0; i < 3; i++) {
        (void)say_hello(socket, "quayside", 1);
        cr_expect(eq(int, next_kind(socket, text), 0));
    }
    zmq_close(socket);
    end(&s);
}

/* What the hub writes later is not sent to it either: nothing within a second and after. */
Test(peer, revoked_on_an_open_connection_is_told_nothing_new, .timeout = 60)
{
    struct scene s;
    char text[600];
    begin(&s);
    void *socket = connect_with(&s, &s.key.own);
    cr_assert(say_hello(socket, "quayside", 1));
    cr_expect(eq(int, next_kind(socket, text), KNOCKBOX__WIRE__WHAT_WELCOME));
    cr_assert(run_program("knockbox-hub", "revoke", s.hub, "quayside", NULL).status == 0);
    import_catalogue(s.hub, "quayside"); /* cafés may see coffees */
    cr_expect(eq(int, next_kind(socket, text), 0));
    cr_expect(eq(int, next_kind(socket, text), 0));
    zmq_close(socket);
    end(&s);
}

/* ---------------------------------------------------------------- renewing a key */

static enum err
renew(struct scene *s, const struct key_pair *own, const struct key_pair *fresh)
{
    struct err_text why = {.s = ""};
    return renew_ask(s->endpoint, s->key.hub, own, fresh, &why);
}

static bool
is_in(struct scene *s, const struct key_pair *pair)
{
    char text[600];
    void *socket = connect_with(s, pair);
    bool welcome =
        say_hello(socket, "quayside", 1) && next_kind(socket, text) == KNOCKBOX__WIRE__WHAT_WELCOME;
    zmq_close(socket);
    return welcome;
}

/* Power may go at any instant: until the new key has spoken, the old one still opens the door. */
Test(renewal, both_keys_are_in_until_the_new_one_spoke_also_over_a_restart, .timeout = 90)
{
    struct scene s;
    struct key_pair fresh;
    begin(&s);
    cr_assert(key_pair_new(&fresh, NULL) == ERR_OK);
    cr_expect(eq(int, renew(&s, &s.key.own, &fresh), ERR_OK));
    cr_expect(eq(int, renew(&s, &s.key.own, &fresh), ERR_OK)); /* the answer was lost */
    cr_expect(is_in(&s, &s.key.own));
    cr_expect(eq(int, end_daemon(&s.h), 0));
    s.h = start_daemon("knockbox-hub", s.hub);
    endpoint_of(s.hub, s.endpoint);
    cr_expect(is_in(&s, &s.key.own));
    cr_expect(is_in(&s, &fresh));
    cr_expect(not(is_in(&s, &s.key.own)));
    cr_expect(is_in(&s, &fresh));
    cr_expect(eq(int, end_daemon(&s.h), 0));
    s.h = start_daemon("knockbox-hub", s.hub);
    endpoint_of(s.hub, s.endpoint);
    cr_expect(is_in(&s, &fresh));
    cr_expect(not(is_in(&s, &s.key.own)));
    end(&s);
}

Test(renewal, a_key_that_is_revoked_takes_the_one_it_asked_for_along, .timeout = 60)
{
    struct scene s;
    struct key_pair fresh;
    char name[KEY_TEXT];
    begin(&s);
    cr_assert(key_pair_new(&fresh, NULL) == ERR_OK);
    cr_expect(eq(int, renew(&s, &s.key.own, &fresh), ERR_OK));
    key_print(s.key.own.public_key, name);
    cr_assert(run_program("knockbox-hub", "revoke", s.hub, name, NULL).status == 0);
    cr_expect(not(is_in(&s, &fresh)));
    cr_expect(not(is_in(&s, &s.key.own)));
    end(&s);
}

Test(renewal, is_not_for_a_key_that_is_somebodys_and_not_twice_a_minute, .timeout = 60)
{
    struct scene s;
    struct key_pair fresh, other;
    begin(&s);
    cr_assert(key_pair_new(&fresh, NULL) == ERR_OK && key_pair_new(&other, NULL) == ERR_OK);
    cr_expect(eq(int, renew(&s, &s.key.own, &s.key.own), ERR_DENIED));
    cr_expect(eq(int, renew(&s, &s.key.own, &fresh), ERR_OK));
    cr_expect(eq(int, renew(&s, &s.key.own, &other), ERR_BUSY));
    cr_expect(is_in(&s, &fresh));
    cr_expect(eq(int, renew(&s, &fresh, &other), ERR_BUSY));
    cr_expect(eq(int, renew(&s, &fresh, &s.key.own), ERR_DENIED)); /* the one before stays out */
    end(&s);
}

/* A machine's key is not a person's, and the other way round. */
Test(peer, a_machine_asks_no_requests, .timeout = 60)
{
    static uint8_t scratch[WIRE_MOST];
    struct scene s;
    char text[600];
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Request request = KNOCKBOX__REQUEST__INIT;
    begin(&s);
    void *socket = connect_with(&s, &s.key.own);
    cr_assert(say_hello(socket, "quayside", 1));
    cr_expect(eq(int, next_kind(socket, text), KNOCKBOX__WIRE__WHAT_WELCOME));
    request.has_version = request.has_number = true;
    request.version = request.number = 1;
    request.word = "status";
    message.what_case = KNOCKBOX__WIRE__WHAT_REQUEST;
    message.request = &request;
    cr_assert(socket_send(socket, NULL, &message, scratch));
    cr_expect(eq(int, next_kind(socket, text), KNOCKBOX__WIRE__WHAT_REFUSE));
    zmq_close(socket);
    end(&s);
}

/* ---------------------------------------------------------------- what a café comes back from */

static int
listen_on(const char *endpoint)
{
    struct sockaddr_in at = {.sin_family = AF_INET, .sin_addr = {htonl(INADDR_LOOPBACK)}};
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0), one = 1;
    at.sin_port = htons((uint16_t)atoi(strrchr(endpoint, ':') + 1));
    setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one);
    cr_assert(bind(fd, (struct sockaddr *)&at, sizeof at) == 0 && listen(fd, 8) == 0, "%s",
              strerror(errno));
    return fd;
}

static void
append_line(const char *dir, const char *name, const char *line)
{
    char path[PLACE * 3];
    snprintf(path, sizeof path, "%s/%s", dir, name);
    FILE *file = fopen(path, "a");
    cr_assert(file != NULL);
    fprintf(file, "%s\n", line);
    fclose(file);
}

static void
keep_port(struct scene *s)
{
    char line[PLACE + 16];
    char path[PLACE * 3];
    snprintf(path, sizeof path, "%s/hub.conf", s->hub);
    FILE *file = fopen(path, "w");
    cr_assert(file != NULL);
    fclose(file);
    snprintf(line, sizeof line, "listen %s", s->endpoint);
    append_line(s->hub, "hub.conf", line);
}

/* A hotel's page answers at the hub's address: libzmq itself would never try again. */
Test(cafe, comes_back_after_a_captive_portal, .timeout = 90)
{
    static const char page[] = "HTTP/1.1 302 Found\r\nLocation: http://portal.example/\r\n\r\n";
    struct scene s;
    begin(&s);
    keep_port(&s);
    cr_assert(eq(int, end_daemon(&s.h), 0));
    int portal = listen_on(s.endpoint);
    struct daemon c = start_daemon("knockbox-cafe", s.cafe);
    for (int i = 0; i < 2; i++) { /* the second caller is a socket made anew */
        int fd = accept(portal, NULL, NULL);
        cr_assert(fd >= 0);
        (void)write(fd, page, sizeof page - 1);
        usleep(100000);
        close(fd);
    }
    close(portal);
    s.h = start_daemon("knockbox-hub", s.hub);
    wait_for_answer(s.cafe, "status", "\"online\":true");
    cr_expect(eq(int, end_daemon(&c), 0));
    end(&s);
}

/* A hub that stands still keeps the connection open; the café makes a new one. */
Test(cafe, comes_back_after_a_frozen_hub, .timeout = 90)
{
    struct scene s;
    begin(&s);
    struct daemon c = start_daemon("knockbox-cafe", s.cafe);
    wait_for_answer(s.cafe, "status", "\"online\":true");
    kill(s.h.pid, SIGSTOP);
    wait_for_log(&c, "silent for");
    kill(s.h.pid, SIGCONT);
    wait_for_answer(s.cafe, "status", "\"online\":true");
    cr_expect(eq(int, end_daemon(&c), 0));
    end(&s);
}
