/* call.c - arguments in, pieces of the answer out. */
#include "daemon/serve/call.h"

#include <stdlib.h>
#include <string.h>
#include "proto/when.h"

const char *
call_arg(const struct call *call, const char *name)
{
    for (size_t i = 0; i < call->request->n_args; i++)
        if (strcmp(call->request->args[i]->name, name) == 0)
            return call->request->args[i]->value;
    return NULL;
}

bool
call_flag(const struct call *call, const char *name)
{
    const char *value = call_arg(call, name);
    return value != NULL && strcmp(value, "0") != 0;
}

enum err
call_day(const struct call *call, const char *name, int32_t *out_day, struct err_text *why)
{
    const char *text = call_arg(call, name);
    int32_t day;
    if (text == NULL)
        return ERR_OK;
    if (!day_parse(text, &day))
        return err_input(why, name, text, "a day such as 2026-03-03");
    *out_day = day;
    return ERR_OK;
}

size_t
call_lines(const struct call *call)
{
    return call->gather != NULL ? call->gather->n : call->request->n_lines;
}

struct line
call_line(const struct call *call, size_t i)
{
    if (call->gather != NULL)
        return gather_line(call->gather, i);
    const ProtobufCBinaryData *line = &call->request->lines[i];
    return (struct line){line->data != NULL ? (const char *)line->data : "", line->len};
}

static enum err
send_piece(struct call *call, const char *bytes, size_t len, struct err_text *why)
{
    Knockbox__Reply reply = KNOCKBOX__REPLY__INIT;
    reply.has_number = true;
    reply.number = call->request->number;
    reply.has_code = true;
    reply.has_data = true;
    reply.data.data = (uint8_t *)(uintptr_t)bytes; /* only read by the transport */
    reply.data.len = len;
    reply.has_more = true;
    reply.more = true;
    if (call->send(call->send_owner, &reply) == ERR_OK)
        return ERR_OK;
    return err_set(ERR_PEER, why, "the caller went away in the middle of the answer");
}

enum err
call_data(struct call *call, const char *bytes, size_t len, struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t at = 0; at < len && e == ERR_OK; at += SERVE_PIECE)
        e = send_piece(call, bytes + at, len - at < SERVE_PIECE ? len - at : SERVE_PIECE, why);
    return e;
}

enum err
call_json(struct call *call, json_t *taken, struct err_text *why)
{
    char *text = taken != NULL ? json_dumps(taken, JSON_COMPACT) : NULL;
    json_decref(taken);
    if (text == NULL)
        return err_set(ERR_MEM, why, "no memory for the answer");
    enum err e = call_data(call, text, strlen(text), why);
    free(text);
    return e;
}

static enum err
newest(struct serve *serve, uint64_t *out_lsn, struct err_text *why)
{
    struct store_view *view = NULL;
    enum err e = store_look(serve->options.store, &view, why);
    if (e == ERR_OK)
        *out_lsn = store_last(view);
    if (view != NULL)
        store_done(&view);
    return e;
}

enum err
serve_catalogue(struct serve *serve, struct err_text *why)
{
    uint64_t last = 0;
    enum err e = newest(serve, &last, why);
    if (e != ERR_OK || last == serve->seen)
        return e;
    e = ledger_catch_up(serve->options.ledger, why);
    if (e == ERR_OK)
        serve->seen = last;
    return e;
}

enum err
call_ledger(struct call *call, struct ledger **out_ledger, struct err_text *why)
{
    uint64_t last = 0;
    enum err e = newest(call->serve, &last, why);
    if (e == ERR_OK)
        e = ledger_catch_up(call->serve->options.ledger, why);
    if (e != ERR_OK)
        return e;
    call->serve->seen = last;
    *out_ledger = call->serve->options.ledger;
    return ERR_OK;
}
