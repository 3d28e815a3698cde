/* closing.c - see closing.h. */
#include "tests/report/closing.h"

#include <stdio.h>
#include <stdlib.h>
#include "daemon/report/report_month.h"
#include "proto/json.h"

static void
must(enum err e, const struct err_text *why)
{
    if (e == ERR_OK)
        return;
    fprintf(stderr, "closing: %s: %s\n", err_word(e), why->s);
    abort();
}

/* A record as a line of its own, put into the hub's log at `at`. */
void
put_act(struct play *play, const char *kind, const ProtobufCMessage *body, const char *at)
{
    struct err_text why = {.s = ""};
    json_t *line = json_object();
    json_object_set_new(line, "kind", json_string(kind));
    json_object_set_new(line, "at", json_string(at));
    must(json_from_message(body, 0, line, &why), &why);
    char *text = json_dumps(line, JSON_COMPACT);
    play_line(play, text);
    play_put(play, 0);
    free(text);
    json_decref(line);
}

int32_t
day_of(const char *at)
{
    return (int32_t)(play_ms(at) / 86400000);
}

enum err
close_month(struct play *play, const char *month, const char *at, struct err_text *why)
{
    struct arena arena;
    Knockbox__PeriodClose *close = NULL;
    play_put(play, 0);
    must(arena_init(&arena, ARENA_BIG_RECORD, why), why);
    enum err e = period_close_make(play_ledger(play), play_store(play), play_month(month), NULL,
                                   day_of(at), &arena, &close, why);
    if (e == ERR_OK)
        put_act(play, "period-close", &close->base, at);
    arena_done(&arena);
    return e;
}

void
must_close(struct play *play, const char *month, const char *at)
{
    struct err_text why = {.s = ""};
    must(close_month(play, month, at, &why), &why);
}

void
must_restate(struct play *play, const char *month, const char *reason, const char *at)
{
    struct err_text why = {.s = ""};
    struct arena arena;
    Knockbox__Restate *restate = NULL;
    play_put(play, 0);
    must(arena_init(&arena, ARENA_BIG_RECORD, &why), &why);
    enum err e = restate_make(play_ledger(play), play_store(play), play_month(month), reason, NULL,
                              &arena, &restate, &why);
    must(e, &why);
    put_act(play, "restate", &restate->base, at);
    arena_done(&arena);
}
