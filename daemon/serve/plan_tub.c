/* plan_tub.c - why the problem of a kitchen does not even have a tub. */
#include "daemon/serve/plan_tub.h"

#include "proto/codec.h"

static const struct {
    Knockbox__TubState state;
    const char *words;
} states[] = {
    {KNOCKBOX__TUB_STATE__TUB_STATE_UNKNOWN,
     "It is named, but nobody has written down its filling."},
    {KNOCKBOX__TUB_STATE__TUB_STATE_REFUSED, "The kitchen did not accept it."},
    {KNOCKBOX__TUB_STATE__TUB_STATE_USED, "It is used up already."},
    {KNOCKBOX__TUB_STATE__TUB_STATE_DISCARDED, "It was thrown away."},
    {KNOCKBOX__TUB_STATE__TUB_STATE_MISSING, "A count did not find it."},
};

static const char *
words_of(const Knockbox__TubRow *tub)
{
    for (size_t i = 0; i < sizeof states / sizeof states[0]; i++)
        if (states[i].state == tub->state)
            return states[i].words;
    if (tub->warm_over)
        return "It stood warm longer than its site allows: the plan leaves it out.";
    if (tub->net_g < 1)
        return "It weighs nothing.";
    return "The plan leaves it out.";
}

enum err
plan_tub(struct ledger *ledger, const char *code, json_t **out_answer, struct err_text *why)
{
    struct arena arena;
    ProtobufCMessage *row = NULL;
    enum err e = arena_init(&arena, ARENA_RECORD, why);
    if (e != ERR_OK)
        return e;
    e = ledger_row(ledger, SUBJECT_TUB, code, &arena, &row, why);
    if (e == ERR_NOT_FOUND)
        (void)err_set(e, why, "nobody has written down a tub %.64s", code);
    if (e == ERR_OK)
        *out_answer =
            json_pack("{s:s, s:s}", "tub", code, "words", words_of((const Knockbox__TubRow *)row));
    arena_done(&arena);
    return e;
}
