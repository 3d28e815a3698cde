/* ask.c - one question to the daemon and its whole answer. */
#include "client/ask.h"

#include <stdlib.h>
#include <string.h>
#include "proto/local.h"

enum {
    LINES_MOST = 2000,
    PROTOCOL = 1
};

/* One request being filled with lines, and the bytes of those lines. */
struct load {
    Knockbox__Request request;
    Knockbox__Arg args[ASK_ARGS_MOST], *arg_list[ASK_ARGS_MOST];
    ProtobufCBinaryData lines[LINES_MOST];
    uint8_t bytes[LOCAL_LINES_MOST + LOCAL_LINE_MOST];
    size_t used;
};

void
question_arg(struct question *question, const char *name, const char *value)
{
    if (value == NULL || question->n_args == ASK_ARGS_MOST)
        return;
    question->args[question->n_args].name = name;
    question->args[question->n_args++].value = value;
}

static void
load_init(struct load *load, const struct question *question)
{
    static uint32_t last_number; /* each question of this process has its own */
    Knockbox__Request *request = &load->request;
    knockbox__request__init(request);
    request->has_version = true;
    request->version = PROTOCOL;
    request->has_number = true;
    request->number = ++last_number;
    request->word = (char *)(uintptr_t)question->word;
    for (size_t i = 0; i < question->n_args; i++) {
        knockbox__arg__init(&load->args[i]);
        load->args[i].name = (char *)(uintptr_t)question->args[i].name;
        load->args[i].value = (char *)(uintptr_t)question->args[i].value;
        load->arg_list[i] = &load->args[i];
    }
    request->n_args = question->n_args;
    request->args = load->arg_list;
    request->lines = load->lines;
    load->used = 0;
}

static enum err
send_load(struct wire *wire, struct load *load, bool more, struct err_text *why)
{
    load->request.has_more = more;
    load->request.more = more;
    enum err e = wire_send(wire, &load->request, why);
    load->request.n_lines = 0;
    load->used = 0;
    return e;
}

static enum err
add_line(struct wire *wire, struct load *load, const char *text, size_t len, struct err_text *why)
{
    enum err e = ERR_OK;
    if (len > LOCAL_LINE_MOST)
        return err_set(ERR_INPUT, why, "a line of %zu bytes: expected at most %d", len,
                       LOCAL_LINE_MOST);
    if (load->request.n_lines == LINES_MOST ||
        (load->request.n_lines > 0 && load->used + len > LOCAL_LINES_MOST))
        e = send_load(wire, load, true, why);
    if (e != ERR_OK)
        return e;
    memcpy(load->bytes + load->used, text, len);
    load->lines[load->request.n_lines++] =
        (ProtobufCBinaryData){.len = len, .data = load->bytes + load->used};
    load->used += len;
    return ERR_OK;
}

static enum err
send_question(struct wire *wire, const struct question *question, line_source *source, void *owner,
              uint32_t *out_number, struct err_text *why)
{
    struct load *load = malloc(sizeof *load);
    if (load == NULL)
        return err_set(ERR_MEM, why, "no memory to ask the daemon");
    load_init(load, question);
    *out_number = load->request.number;
    const char *text;
    size_t len;
    enum err e = ERR_OK;
    while (e == ERR_OK && source != NULL && source(owner, &text, &len))
        e = add_line(wire, load, text, len, why);
    if (e == ERR_OK)
        e = send_load(wire, load, false, why);
    free(load);
    return e;
}

struct answer {
    char *text;
    size_t len, room;
};

static enum err
add_data(struct answer *answer, const Knockbox__Reply *reply, struct err_text *why)
{
    size_t len = reply->has_data ? reply->data.len : 0;
    if (answer->text == NULL || len >= answer->room - answer->len) {
        size_t room = (answer->len + len + 1) * 2;
        char *text = realloc(answer->text, room);
        if (text == NULL)
            return err_set(ERR_MEM, why, "no memory for the answer");
        answer->text = text;
        answer->room = room;
    }
    if (len > 0)
        memcpy(answer->text + answer->len, reply->data.data, len);
    answer->len += len;
    answer->text[answer->len] = '\0';
    return ERR_OK;
}

static void
copy(char *to, size_t size, const char *from)
{
    size_t len = from != NULL ? strnlen(from, size - 1) : 0;
    if (len > 0)
        memcpy(to, from, len);
    to[len] = '\0';
}

static enum err
daemons_word(const Knockbox__Reply *reply, struct err_text *why)
{
    enum err e = (enum err)reply->code;
    if (e == ERR_OK)
        return e;
    copy(why->s, sizeof why->s, reply->text != NULL ? reply->text : "the daemon says no");
    copy(why->field, sizeof why->field, reply->field);
    copy(why->got, sizeof why->got, reply->got);
    copy(why->want, sizeof why->want, reply->want);
    return e;
}

enum err
ask_text(struct wire *wire, const struct question *question, line_source *source, void *owner,
         char **out_text, struct err_text *why)
{
    struct answer answer = {NULL, 0, 0};
    uint32_t number = 0;
    bool more = true;
    enum err e = send_question(wire, question, source, owner, &number, why);
    while (e == ERR_OK && more) {
        const Knockbox__Reply *reply = NULL;
        e = wire_receive(wire, &reply, why);
        if (e != ERR_OK || reply->number != number)
            continue; /* of a question that was given up */
        e = add_data(&answer, reply, why);
        more = reply->has_more && reply->more;
        if (e == ERR_OK && !more)
            e = daemons_word(reply, why);
    }
    *out_text = answer.text;
    return e;
}

enum err
ask(struct wire *wire, const struct question *question, line_source *source, void *owner,
    json_t **out_answer, struct err_text *why)
{
    char *text = NULL;
    json_error_t bad;
    *out_answer = NULL;
    enum err e = ask_text(wire, question, source, owner, &text, why);
    if (text != NULL && text[0] != '\0') {
        *out_answer = json_loads(text, JSON_DECODE_ANY, &bad);
        if (*out_answer == NULL && e == ERR_OK)
            e = err_set(ERR_PEER, why, "the daemon in %s gave an answer that is no JSON",
                        wire_where(wire));
    }
    free(text);
    return e;
}

enum err
ask_once(const struct given *given, const struct question *question, json_t **out_answer,
         struct err_text *why)
{
    struct wire *wire = NULL;
    enum err e = wire_open(given, &wire, why);
    if (e == ERR_OK)
        e = ask(wire, question, NULL, NULL, out_answer, why);
    wire_close(wire);
    return e;
}
