/* site_machine.c - states of a site's link, and the words that keep it alive. */
#include "daemon/sync/site_machine.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/diag.h"
#include "daemon/sync/site_int.h"

enum err
site_machine_new(const struct site_machine_options *options, struct site_machine **out_machine,
                 struct err_text *why)
{
    struct store_view *view = NULL;
    struct site_machine *m = calloc(1, sizeof *m);
    if (m == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    m->options = *options;
    m->version = WIRE_VERSION;
    if (m->options.beat_ms == 0)
        m->options.beat_ms = SITE_BEAT_MS;
    m->link.last_seen_ms = -1;
    m->tasks = calloc(WIRE_MARKS, sizeof *m->tasks);
    m->branches = calloc(BRANCHES_MOST, sizeof *m->branches);
    enum err e =
        m->tasks != NULL && m->branches != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    if (e == ERR_OK)
        e = arena_init(&m->arena, ARENA_BIG_RECORD, why);
    if (e == ERR_OK)
        e = store_look(options->store, &view, why);
    if (e == ERR_OK)
        e = site_load_down(m, view, why);
    if (e == ERR_OK)
        e = site_load_hub(m, view, why);
    if (e == ERR_OK)
        e = site_load_logs(m, view, why);
    store_done(&view);
    if (e == ERR_OK)
        *out_machine = m;
    else
        site_machine_free(m);
    return e;
}

void
site_machine_free(struct site_machine *m)
{
    if (m == NULL)
        return;
    if (m->note_due && !kv_failed(store_kv(m->options.store)))
        (void)site_note_acked(m, NULL); /* only a hint: the hub says it again */
    free(m->logs);
    free(m->tasks);
    free(m->branches);
    arena_done(&m->arena);
    free(m);
}

struct site_log *
site_log_find(struct site_machine *m, const struct log_mark *log)
{
    for (size_t i = 0; i < m->n_logs; i++)
        if (wire_same_log(&m->logs[i].now, log))
            return &m->logs[i];
    return NULL;
}

bool
site_send(struct site_machine *m, const Knockbox__Wire *message)
{
    if (!m->options.wire.send(m->options.wire.owner, NULL, message))
        return false;
    m->said_ms = site_mono(m);
    return true;
}

/* ---------------------------------------------------------------- Hello and Beat */

/* The lists of a Hello, kept together while it is packed. */
struct hello_parts {
    Knockbox__Mark marks[WIRE_MARKS];
    Knockbox__Mark *mark_list[WIRE_MARKS];
    struct log_mark places[WIRE_MARKS];
    Knockbox__Branch branches[BRANCHES_MOST];
    Knockbox__Branch *branch_list[BRANCHES_MOST];
    Knockbox__Mark down;
};

static enum err
fill_marks(struct site_machine *m, struct store_view *view, struct hello_parts *parts,
           struct err_text *why)
{
    for (size_t i = 0; i < m->n_logs; i++) {
        struct log_mark *place = &parts->places[i];
        *place = m->logs[i].now;
        place->seq = m->logs[i].standing;
        enum err e = wire_hash_at(view, site_own(m), place, place->seq, place->hash, why);
        if (e != ERR_OK)
            return e;
        wire_mark(place, &parts->marks[i]);
        parts->mark_list[i] = &parts->marks[i];
    }
    return ERR_OK;
}

static void
fill_branches(const struct site_machine *m, struct hello_parts *parts)
{
    for (size_t i = 0; i < m->n_branches; i++) {
        Knockbox__Branch *branch = &parts->branches[i];
        knockbox__branch__init(branch);
        branch->has_epoch = branch->has_mark = branch->has_seq = branch->has_into = true;
        branch->epoch = m->branches[i].epoch;
        branch->mark = (ProtobufCBinaryData){MARK_SIZE, m->branches[i].mark};
        branch->seq = m->branches[i].seq;
        branch->into = m->branches[i].into;
        parts->branch_list[i] = branch;
    }
}

/* Is there something to tell of the disk? */
static bool
disk_is_low(const struct site_machine *m, uint64_t *out_mib)
{
    *out_mib = kv_sizes(store_kv(m->options.store)).disk_free >> 20;
    return *out_mib < m->options.low_mib;
}

static void
send_hello(struct site_machine *m, struct hello_parts *parts)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Hello hello = KNOCKBOX__HELLO__INIT;
    hello.has_version = hello.has_now_ms = hello.has_behind = true;
    hello.version = m->version;
    hello.site = (char *)site_own(m);
    hello.n_marks = m->n_logs;
    hello.marks = parts->mark_list;
    hello.n_branches = m->n_branches;
    hello.branches = parts->branch_list;
    hello.has_hub_generation = m->has_generation;
    hello.hub_generation = (ProtobufCBinaryData){MARK_SIZE, m->generation};
    if (m->has_down) {
        wire_mark(&m->down, &parts->down);
        hello.down = &parts->down;
    }
    hello.now_ms = m->asked_now_ms = site_now(m);
    hello.behind = site_behind(m);
    hello.has_low_disk_mib = disk_is_low(m, &hello.low_disk_mib);
    hello.software = (char *)"knockbox-cafe " KNOCKBOX_VERSION;
    message.what_case = KNOCKBOX__WIRE__WHAT_HELLO;
    message.hello = &hello;
    m->asked_ms = site_mono(m);
    (void)site_send(m, &message); /* lost: said again after SITE_ANSWER_MS */
}

enum err
site_hello(struct site_machine *m, struct err_text *why)
{
    struct store_view *view = NULL;
    struct hello_parts *parts = calloc(1, sizeof *parts);
    m->state = SITE_HELLO;
    m->n_flights = m->n_tasks = m->task = 0;
    m->extended = false;
    enum err e = parts != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    if (e == ERR_OK)
        e = store_look(m->options.store, &view, why);
    if (e == ERR_OK)
        e = site_load_logs(m, view, why);
    if (e == ERR_OK)
        e = fill_marks(m, view, parts, why);
    store_done(&view);
    if (e == ERR_OK) {
        fill_branches(m, parts);
        send_hello(m, parts);
    }
    free(parts);
    return e;
}

static void
send_beat(struct site_machine *m)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Beat beat = KNOCKBOX__BEAT__INIT;
    beat.has_now_ms = beat.has_behind = true;
    beat.now_ms = m->asked_now_ms = site_now(m);
    beat.behind = site_behind(m);
    beat.has_low_disk_mib = disk_is_low(m, &beat.low_disk_mib);
    message.what_case = KNOCKBOX__WIRE__WHAT_BEAT;
    message.beat = &beat;
    m->asked_ms = site_mono(m);
    (void)site_send(m, &message);
}

/* Half the way there and back belongs to each direction, as far as anybody knows. */
static void
take_time(struct site_machine *m, int64_t hub_now_ms, int64_t echo_ms)
{
    if (echo_ms != m->asked_now_ms)
        return; /* the answer to an older word */
    int64_t way = (int64_t)(site_mono(m) - m->asked_ms);
    m->link.clock_offset_ms = echo_ms + way / 2 - hub_now_ms;
}

/* ---------------------------------------------------------------- what comes in */

static enum err
take_refuse(struct site_machine *m, const Knockbox__Refuse *refuse, struct err_text *why)
{
    char words[sizeof m->link.refused];
    if (refuse->code == ERR_USAGE) /* it has forgotten this connection */
        return m->state == SITE_HELLO || m->state == SITE_REFUSED ? ERR_OK : site_hello(m, why);
    if (m->state == SITE_HELLO && wire_can_fall_back(refuse, m->version)) {
        diag_info("sync: the hub speaks version %u of the protocol, so do we until it is upgraded",
                  refuse->version);
        m->version = refuse->version;
        return site_hello(m, why);
    }
    (void)snprintf(words, sizeof words, "%.250s", refuse->text);
    if (strcmp(words, m->link.refused) != 0)
        diag_warning("sync: the hub says no: %s", words);
    memcpy(m->link.refused, words, sizeof words);
    m->state = SITE_REFUSED;
    return ERR_OK;
}

static bool
expected(const struct site_machine *m, const Knockbox__Wire *message)
{
    switch (message->what_case) {
    case KNOCKBOX__WIRE__WHAT_WELCOME:
        return m->state == SITE_HELLO;
    case KNOCKBOX__WIRE__WHAT_FETCHED:
        return m->state == SITE_RECOVER;
    case KNOCKBOX__WIRE__WHAT_ACK:
        return m->state == SITE_RUN;
    case KNOCKBOX__WIRE__WHAT_DOWN:
    case KNOCKBOX__WIRE__WHAT_BEAT:
        return m->state == SITE_RUN || m->state == SITE_RECOVER;
    case KNOCKBOX__WIRE__WHAT_REFUSE:
        return m->state != SITE_OFF;
    default:
        return false;
    }
}

static void
heard(struct site_machine *m)
{
    m->heard_ms = site_mono(m);
    m->link.last_seen_ms = site_now(m);
    m->link.refused[0] = '\0';
}

enum err
site_machine_message(struct site_machine *m, const Knockbox__Wire *message, struct err_text *why)
{
    if (!expected(m, message))
        return ERR_OK; /* of an earlier connection, or nonsense */
    if (message->what_case == KNOCKBOX__WIRE__WHAT_REFUSE)
        return take_refuse(m, message->refuse, why);
    heard(m);
    switch (message->what_case) {
    case KNOCKBOX__WIRE__WHAT_WELCOME:
        take_time(m, message->welcome->now_ms, message->welcome->echo_ms);
        return site_take_welcome(m, message->welcome, why);
    case KNOCKBOX__WIRE__WHAT_FETCHED:
        return site_take_fetched(m, message->fetched, why);
    case KNOCKBOX__WIRE__WHAT_ACK:
        return site_take_ack(m, message->ack, why);
    case KNOCKBOX__WIRE__WHAT_DOWN:
        return site_take_down(m, message->down, why);
    default:
        take_time(m, message->beat->now_ms, message->beat->echo_ms);
        return ERR_OK;
    }
}

/* ---------------------------------------------------------------- connection and time */

enum err
site_machine_online(struct site_machine *m, struct err_text *why)
{
    m->version = WIRE_VERSION; /* the hub may have been upgraded */
    return site_hello(m, why);
}

void
site_machine_offline(struct site_machine *m)
{
    m->state = SITE_OFF;
    m->n_flights = 0;
}

enum err
site_machine_wrote(struct site_machine *m, struct err_text *why)
{
    struct store_view *view = NULL;
    enum err e = store_look(m->options.store, &view, why);
    if (e == ERR_OK)
        e = site_load_logs(m, view, why);
    store_done(&view);
    return e == ERR_OK && m->state == SITE_RUN ? site_pump(m, why) : e;
}

static bool
answer_is_late(const struct site_machine *m)
{
    uint64_t now = site_mono(m);
    if (m->state == SITE_HELLO || m->state == SITE_RECOVER)
        return now - m->asked_ms > SITE_ANSWER_MS;
    return m->state == SITE_RUN && m->n_flights > 0 && now - m->flown_ms > SITE_ANSWER_MS;
}

enum err
site_machine_tick(struct site_machine *m, struct err_text *why)
{
    uint64_t now = site_mono(m);
    if (m->note_due && now - m->noted_ms >= SITE_NOTE_MS) {
        enum err e = site_note_acked(m, why);
        if (e != ERR_OK)
            return e;
    }
    if (answer_is_late(m))
        return site_hello(m, why);
    if (m->state != SITE_RUN)
        return ERR_OK;
    if (now - m->asked_ms >= m->options.beat_ms)
        send_beat(m);
    return site_pump(m, why);
}

struct site_link
site_machine_link(const struct site_machine *m)
{
    struct site_link link = m->link;
    link.online = m->state == SITE_RUN || m->state == SITE_RECOVER;
    link.behind = site_behind(m);
    link.forked = m->n_branches > 0;
    for (size_t i = 0; i < m->n_logs; i++)
        link.in_backup += m->logs[i].backed;
    link.other_hub =
        m->other_hub_ms != 0 && site_now(m) - m->other_hub_ms < (int64_t)SITE_OTHER_HUB_MS;
    return link;
}

uint64_t
site_machine_heard_ms(const struct site_machine *m)
{
    return m->heard_ms;
}

bool
site_machine_caught_up(const struct site_machine *m)
{
    return m->state == SITE_RUN && site_behind(m) == 0 && m->n_flights == 0;
}
