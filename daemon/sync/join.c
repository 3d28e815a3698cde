/* join.c - one question over CURVE, with the code's key and then with the own one. */
#include "daemon/sync/join.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <zmq.h>

#include "daemon/sync/socket.h"

enum {
    ASK_MS = 6000,
    STEP_MS = 200,
    TRIES = 3
};

/* One question about a key, and who takes its answer. */
struct question {
    const struct key_pair *fresh;
    bool (*send)(void *socket, const struct question *question, uint8_t *scratch);
    enum err (*take)(const Knockbox__Wire *message, struct join_answer *out, struct err_text *why);
    struct join_answer *answer;
    uint32_t version; /* of the protocol; goes down when the hub speaks an older one */
};

static void
keep(char *out, size_t size, const char *text)
{
    (void)snprintf(out, size, "%s", text != NULL ? text : "");
}

static enum err
take_answer(const Knockbox__Wire *message, struct join_answer *out, struct err_text *why)
{
    if (message->what_case == KNOCKBOX__WIRE__WHAT_REFUSE)
        return err_set(ERR_DENIED, why, "the hub says no: %.400s", message->refuse->text);
    if (message->what_case != KNOCKBOX__WIRE__WHAT_JOINED)
        return err_set(ERR_PEER, why, "the hub's answer makes no sense");
    const Knockbox__Joined *joined = message->joined;
    keep(out->site, sizeof out->site, joined->site);
    keep(out->zone, sizeof out->zone, joined->zone);
    keep(out->hub_site, sizeof out->hub_site, joined->hub_site);
    keep(out->role, sizeof out->role, joined->role);
    out->first_epoch = joined->has_first_epoch ? joined->first_epoch : 1;
    return ERR_OK;
}

static bool
send_join(void *socket, const struct question *question, uint8_t *scratch)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Join join = KNOCKBOX__JOIN__INIT;
    join.has_version = join.has_key = true;
    join.version = question->version;
    join.key = (ProtobufCBinaryData){KEY_SIZE, (uint8_t *)question->fresh->public_key};
    join.software = (char *)"knockbox " KNOCKBOX_VERSION;
    message.what_case = KNOCKBOX__WIRE__WHAT_JOIN;
    message.join = &join;
    return socket_send(socket, NULL, &message, scratch);
}

static bool
send_renew(void *socket, const struct question *question, uint8_t *scratch)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Renew renew = KNOCKBOX__RENEW__INIT;
    renew.has_key = true;
    renew.key = (ProtobufCBinaryData){KEY_SIZE, (uint8_t *)question->fresh->public_key};
    message.what_case = KNOCKBOX__WIRE__WHAT_RENEW;
    message.renew = &renew;
    return socket_send(socket, NULL, &message, scratch);
}

/* An older hub has refused the version: the question goes out again in the one that it speaks. */
static bool
falls_back(struct question *question, const Knockbox__Wire *message)
{
    if (message->what_case != KNOCKBOX__WIRE__WHAT_REFUSE ||
        !wire_can_fall_back(message->refuse, question->version))
        return false;
    question->version = message->refuse->version;
    return true;
}

/* Sends as soon as the line takes it, then waits for the answer. */
static enum err
talk(void *socket, struct question *question, uint8_t *scratch, struct err_text *why)
{
    struct arena arena;
    bool sent = false;
    enum err e = arena_init(&arena, ARENA_FRAME, why);
    if (e != ERR_OK)
        return e;
    e = err_set(ERR_PEER, why, "no answer");
    for (int waited = 0; waited < ASK_MS && e == ERR_PEER; waited += STEP_MS) {
        const Knockbox__Wire *message = NULL;
        sent = sent || question->send(socket, question, scratch);
        zmq_pollitem_t item = {.socket = socket, .events = ZMQ_POLLIN};
        if (zmq_poll(&item, 1, STEP_MS) <= 0)
            continue;
        int n = zmq_recv(socket, scratch, WIRE_MOST, ZMQ_DONTWAIT);
        if (n <= 0 || wire_unpack(scratch, (size_t)n, &arena, &message, why) != ERR_OK)
            continue;
        sent = !falls_back(question, message);
        if (sent)
            e = question->take(message, question->answer, why);
    }
    arena_done(&arena);
    return e;
}

static enum err
ask_as(const struct key_pair *pair, const uint8_t hub[KEY_SIZE], const char *endpoint,
       struct question *question, struct err_text *why)
{
    void *context = NULL, *socket = NULL;
    uint8_t *scratch = malloc(WIRE_MOST);
    enum err e = scratch != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    if (e == ERR_OK)
        e = socket_context(&context, why);
    if (e == ERR_OK)
        e = socket_client(context, pair, hub, &socket, why);
    if (e == ERR_OK && zmq_connect(socket, endpoint) != 0)
        e = err_set(ERR_INPUT, why, "%s: %s", endpoint, zmq_strerror(zmq_errno()));
    if (e == ERR_OK)
        e = talk(socket, question, scratch, why);
    if (socket != NULL)
        (void)zmq_close(socket);
    if (context != NULL)
        (void)zmq_ctx_term(context);
    free(scratch);
    return e;
}

enum err
join_ask(const struct join_code *code, const char *endpoint, const struct key_pair *fresh,
         struct join_answer *out_answer, struct err_text *why)
{
    struct key_pair bearer;
    struct question question = {fresh, send_join, take_answer, out_answer, WIRE_VERSION};
    code_pair(code->secret, &bearer);
    enum err e = ERR_PEER;
    for (int i = 0; i < TRIES && e == ERR_PEER; i++) {
        const struct key_pair *pair = i % 2 == 0 ? &bearer : fresh;
        e = ask_as(pair, code->hub, endpoint, &question, why);
    }
    keys_wipe(&bearer, sizeof bearer);
    if (e == ERR_PEER)
        return err_set(ERR_PEER, why,
                       "no answer from a hub at %s: it does not run, is not reached from here, or "
                       "the code is used or past its time",
                       endpoint);
    return e;
}

/* ---------------------------------------------------------------- a new key */

static enum err
take_renewed(const Knockbox__Wire *message, struct join_answer *out, struct err_text *why)
{
    (void)out;
    if (message->what_case == KNOCKBOX__WIRE__WHAT_REFUSE) /* a hub that knows no such question */
        return err_set(ERR_DENIED, why, "the hub says no: %.400s", message->refuse->text);
    if (message->what_case != KNOCKBOX__WIRE__WHAT_RENEWED)
        return err_set(ERR_PEER, why, "the hub's answer makes no sense");
    const Knockbox__Renewed *renewed = message->renewed;
    if (renewed->code == ERR_OK)
        return ERR_OK;
    return err_set(renewed->code == ERR_BUSY ? ERR_BUSY : ERR_DENIED, why,
                   "the hub says no: %.400s", renewed->text != NULL ? renewed->text : "");
}

static enum err
no_answer(const char *endpoint, struct err_text *why)
{
    return err_set(ERR_PEER, why,
                   "no answer from a hub at %s: it does not run, is not reached from here, or does "
                   "not know this key",
                   endpoint);
}

enum err
renew_ask(const char *endpoint, const uint8_t hub[KEY_SIZE], const struct key_pair *own,
          const struct key_pair *fresh, struct err_text *why)
{
    struct question question = {fresh, send_renew, take_renewed, NULL, WIRE_VERSION};
    enum err e = ask_as(own, hub, endpoint, &question, why);
    return e == ERR_PEER ? no_answer(endpoint, why) : e;
}

enum err
renew_speak(const char *endpoint, const uint8_t hub[KEY_SIZE], const struct key_pair *fresh,
            struct err_text *why)
{
    struct join_answer answer;
    struct question question = {fresh, send_join, take_answer, &answer, WIRE_VERSION};
    enum err e = ask_as(fresh, hub, endpoint, &question, why);
    return e == ERR_PEER ? no_answer(endpoint, why) : e;
}
