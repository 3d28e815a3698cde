/* word_label.c - `label`: may a new tub have this label (report rule R3: one lot for ever)? */
#include <stdio.h>
#include "daemon/serve/words.h"
#include "proto/when.h"

static enum err
say_used(const Knockbox__TubRow *tub, struct err_text *why)
{
    char when[WHEN_TEXT], want[160];
    (void)snprintf(want, sizeof want,
                   "a label that is not in use: this tub was filled at %.40s, %.10s",
                   tub->from_site != NULL ? tub->from_site : "another site",
                   when_print(tub->born_ms, tub->offset_min, when));
    return err_input(why, "tub", tub->tub, want);
}

enum err
word_label(struct call *call, struct err_text *why)
{
    struct ledger *ledger = NULL;
    ProtobufCMessage *row = NULL;
    struct arena arena;
    const char *code = call_arg(call, "code");
    if (code == NULL)
        return err_input(why, "code", NULL, "a label");
    enum err e = call_ledger(call, &ledger, why);
    if (e == ERR_OK)
        e = arena_init(&arena, ARENA_RECORD, why);
    if (e != ERR_OK)
        return e;
    e = ledger_row(ledger, SUBJECT_TUB, code, &arena, &row, why);
    const Knockbox__TubRow *tub = (const Knockbox__TubRow *)row;
    if (e == ERR_NOT_FOUND || (e == ERR_OK && tub->state == KNOCKBOX__TUB_STATE__TUB_STATE_UNKNOWN))
        e = call_json(call, json_pack("{s:b}", "free", 1), why);
    else if (e == ERR_OK)
        e = say_used(tub, why);
    arena_done(&arena);
    return e;
}
