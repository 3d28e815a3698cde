/* word_outbox.c - `outbox`: what is to be delivered; cancel one, try one again. And send_report(). */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/send.h"
#include "daemon/serve/words.h"

enum {
    LIST = 256
};

static enum err
have_outbox(const struct call *call, struct err_text *why)
{
    return call->serve->delivery != NULL ? ERR_OK
                                         : err_set(ERR_USAGE, why, "nothing is sent from here");
}

enum err
send_allowed(const struct call *call, struct err_text *why)
{
    if ((call->caller->roles & (ROLE_BIT_OFFICE | ROLE_BIT_OPERATOR)) == 0)
        return err_set(ERR_DENIED, why,
                       "office or operator may send and cancel; %s has no such "
                       "role",
                       call->caller->via[0] != '\0' ? call->caller->via : "this account");
    return have_outbox(call, why);
}

/* Commas separate as blanks do. */
static const char *
list_of(const char *text, char out[LIST])
{
    (void)snprintf(out, LIST, "%s", text);
    for (char *c = out; *c != '\0'; c++)
        if (*c == ',')
            *c = ' ';
    return out;
}

enum err
send_report(struct call *call, const struct report_ask *report, struct err_text *why)
{
    char as[LIST], targets[LIST];
    const char *prints = call_arg(call, "as");
    json_t *answer = NULL;
    enum err e = send_allowed(call, why);
    if (e != ERR_OK)
        return e;
    struct delivery_ask ask = {
        .report = *report,
        .as = list_of(prints != NULL ? prints : "text", as),
        .targets = list_of(call_arg(call, "send"), targets),
        .dry_run = call_flag(call, "dry_run"),
    };
    e = delivery_report(call->serve->delivery, &ask, &answer, why);
    return e == ERR_OK ? call_json(call, answer, why) : e;
}

static enum err
outbox_list(struct call *call, uint64_t id, struct err_text *why)
{
    json_t *answer = NULL;
    (void)id;
    enum err e = have_outbox(call, why);
    if (e == ERR_OK)
        e = delivery_show(call->serve->delivery, &answer, why);
    return e == ERR_OK ? call_json(call, answer, why) : e;
}

static enum err
tell_id(struct call *call, uint64_t id, const char *done, struct err_text *why)
{
    return call_json(call, json_pack("{s:I, s:s}", "id", (json_int_t)id, "done", done), why);
}

static enum err
cancel(struct call *call, uint64_t id, struct err_text *why)
{
    enum err e = send_allowed(call, why);
    if (e == ERR_OK)
        e = delivery_cancel(call->serve->delivery, id, why);
    return e == ERR_OK ? tell_id(call, id, "cancelled", why) : e;
}

static enum err
again(struct call *call, uint64_t id, struct err_text *why)
{
    enum err e = send_allowed(call, why);
    if (e == ERR_OK)
        e = delivery_again(call->serve->delivery, id, why);
    return e == ERR_OK ? tell_id(call, id, "tried again", why) : e;
}

static const struct {
    const char *word;
    bool id;
    enum err (*act)(struct call *call, uint64_t id, struct err_text *why);
} acts[] = {
    {"show", false, outbox_list},
    {"cancel", true, cancel},
    {"retry", true, again},
};

/* 1 to 18 digits. */
static bool
read_id(const char *text, uint64_t *out_id)
{
    size_t len = text != NULL ? strlen(text) : 0;
    if (len == 0 || len > 18 || strspn(text, "0123456789") != len)
        return false;
    *out_id = strtoull(text, NULL, 10);
    return true;
}

enum err
word_outbox(struct call *call, struct err_text *why)
{
    const char *word = call_arg(call, "do"), *text = call_arg(call, "id");
    uint64_t id = 0;
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++) {
        if (strcmp(word != NULL ? word : "show", acts[i].word) != 0)
            continue;
        if (acts[i].id && !read_id(text, &id))
            return err_input(why, "id", text, "a number that `knockbox outbox` shows");
        return acts[i].act(call, id, why);
    }
    return err_input(why, "do", word, "show, cancel or retry");
}
