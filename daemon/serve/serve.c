/* serve.c - from a request to its word, and the last frame of every answer. */
#include "daemon/serve/serve.h"

#include <stdlib.h>
#include <string.h>
#include "daemon/serve/call.h"
#include "daemon/serve/words.h"

enum err
serve_new(const struct serve_options *options, struct serve **out_serve, struct err_text *why)
{
    struct serve *serve = calloc(1, sizeof *serve);
    if (serve == NULL)
        return err_set(ERR_MEM, why, "no memory to serve requests");
    serve->options = *options;
    *out_serve = serve;
    return ERR_OK;
}

void
serve_delivery(struct serve *serve, struct delivery *delivery)
{
    serve->delivery = delivery;
}

void
serve_free(struct serve *serve)
{
    if (serve == NULL)
        return;
    while (serve->gathers.first != NULL)
        gather_drop(&serve->gathers, serve->gathers.first);
    labels_done(&serve->labels);
    labels_done(&serve->closed);
    late_news_done(&serve->late_news);
    free(serve);
}

void
serve_hangup(struct serve *serve, uint64_t session)
{
    gather_hangup(&serve->gathers, session);
}

/* The last frame: the code, and in words what was wrong. */
static void
send_last(struct call *call, enum err e, struct err_text *why)
{
    Knockbox__Reply reply = KNOCKBOX__REPLY__INIT;
    reply.has_number = true;
    reply.number = call->request->number;
    reply.has_code = true;
    reply.code = (uint32_t)e;
    if (e != ERR_OK) {
        reply.text = why->s[0] != '\0' ? why->s : NULL;
        reply.field = why->field[0] != '\0' ? why->field : NULL;
        reply.got = why->got[0] != '\0' ? why->got : NULL;
        reply.want = why->want[0] != '\0' ? why->want : NULL;
    }
    (void)call->send(call->send_owner, &reply); /* when the caller is gone nobody is left to tell */
}

static enum err
check_args(const struct word *word, const Knockbox__Request *request, struct err_text *why)
{
    for (size_t i = 0; i < request->n_args; i++)
        if (!word_takes(word, request->args[i]->name))
            return err_set(ERR_USAGE, why, "%s takes no argument \"%s\"", word->word,
                           request->args[i]->name);
    if (request->n_lines > 0 && !word->lines)
        return err_set(ERR_USAGE, why, "%s takes no records", word->word);
    return ERR_OK;
}

/* Names of the roles in a set, separated by commas. */
static const char *
role_names(unsigned roles, char out[128])
{
    out[0] = '\0';
    for (unsigned bit = 1; bit <= ROLE_BIT_READER; bit <<= 1) {
        if ((roles & bit) == 0)
            continue;
        if (out[0] != '\0')
            (void)strncat(out, ", ", 127 - strlen(out));
        (void)strncat(out, role_word((enum role)bit), 127 - strlen(out));
    }
    return out;
}

static enum err
check_word(const struct call *call, const struct word **out_word, struct err_text *why)
{
    const Knockbox__Request *request = call->request;
    const struct word *word = word_find(request->word);
    char names[128];
    if (request->version > SERVE_VERSION)
        return err_set(ERR_FORMAT, why,
                       "the client speaks version %u, this daemon %d: upgrade the daemon first",
                       request->version, SERVE_VERSION);
    if (word == NULL)
        return err_set(ERR_USAGE, why, "this daemon does not know the word \"%s\"", request->word);
    if ((word->roles & call->caller->roles) == 0)
        return err_set(ERR_DENIED, why, "%s may ask for %s; %s has no such role",
                       role_names(word->roles, names), word->word,
                       call->caller->via[0] != '\0' ? call->caller->via : "this account");
    if (word->place == WORD_AT_HUB && !call->serve->options.is_hub)
        return err_set(ERR_USAGE, why, "%s is answered by the hub only: use --at with the hub",
                       word->word);
    *out_word = word;
    return check_args(word, request, why);
}

static enum err
answer(struct call *call, struct err_text *why)
{
    const struct word *word = NULL;
    enum err e = check_word(call, &word, why);
    if (e == ERR_OK && call->gather != NULL && call->gather->over)
        e = err_set(ERR_FULL, why,
                    "these lines are more than %d MiB, too many to take all or nothing: "
                    "import them in smaller files, or with --keep-good",
                    GATHER_BUDGET >> 20);
    return e == ERR_OK ? word->answer(call, why) : e;
}

void
serve_request(struct serve *serve, uint64_t session, const struct caller *caller,
              const Knockbox__Request *request, serve_send *send, void *send_owner)
{
    struct err_text why = {.s = ""};
    struct call call = {serve, caller, request, NULL, send, send_owner};
    enum err e = ERR_OK;
    if (request->more || gather_find(&serve->gathers, session, request->number) != NULL)
        e = gather_add(&serve->gathers, session, request, &call.gather, &why);
    if (e == ERR_OK && request->more)
        return; /* the answer comes after the last piece */
    if (e == ERR_OK)
        e = answer(&call, &why);
    gather_drop(&serve->gathers, call.gather);
    send_last(&call, e, &why);
}
