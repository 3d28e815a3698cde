/* word_verify.c - `verify`: every chain against its hashes; `digest`: the books in one number. */
#include <stdio.h>
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"

enum err
word_verify(struct call *call, struct err_text *why)
{
    struct store_view *view = NULL;
    uint64_t checked = 0;
    size_t chains = 0;
    struct err_text broken = {.s = ""};
    struct log_mark none;
    enum err e = store_look(call->serve->options.store, &view, why);
    if (e == ERR_OK)
        e = store_marks(view, NULL, &none, 0, &chains, why);
    if (view != NULL)
        store_done(&view);
    if (e != ERR_OK)
        return e;
    enum err found = store_verify(call->serve->options.store, &checked, &broken);
    if (found != ERR_OK && found != ERR_DAMAGED) {
        *why = broken;
        return found;
    }
    e = call_json(call,
                  json_pack("{s:I, s:I, s:o}", "chains", (json_int_t)chains, "records",
                            (json_int_t)checked, "broken", show_text(broken.s)),
                  why);
    if (e == ERR_OK && found == ERR_DAMAGED)
        *why = broken;
    return e == ERR_OK ? found : e;
}

enum err
word_digest(struct call *call, struct err_text *why)
{
    struct ledger *ledger = NULL;
    uint64_t records = 0;
    uint8_t digest[32];
    char text[65];
    enum err e = call_ledger(call, &ledger, why);
    if (e == ERR_OK && call_flag(call, "rebuild"))
        e = ledger_rebuild(ledger, &records, why);
    if (e == ERR_OK)
        e = ledger_digest(ledger, digest, why);
    if (e != ERR_OK)
        return e;
    for (size_t i = 0; i < sizeof digest; i++)
        (void)snprintf(text + 2 * i, 3, "%02x", digest[i]);
    json_t *answer = json_pack("{s:s}", "digest", text);
    if (call_flag(call, "rebuild"))
        (void)json_object_set_new(answer, "records", json_integer((json_int_t)records));
    return call_json(call, answer, why);
}
