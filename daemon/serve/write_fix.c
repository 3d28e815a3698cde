/* write_fix.c - a correction may be as large as what it corrects may be.
 *
 * By itself it may take what the large kinds take, so that a large stocktake can be corrected;
 * what corrects a record of a small kind has that kind's limit.
 */
#include "daemon/serve/write.h"

/* The kind of the record that is corrected; NULL: it is not here yet, or of a later version. */
static enum err
corrected_kind(struct writing *writing, const struct draft *draft, const struct kind **out_kind,
               struct err_text *why)
{
    struct store_view *view = NULL;
    struct stored stored;
    Knockbox__Record *target = NULL;
    uint64_t lsn = 0;
    *out_kind = NULL;
    enum err e = writing_look_up(writing, why);
    if (e == ERR_OK)
        e = store_look(writing->call->serve->options.store, &view, why);
    if (e == ERR_OK)
        e = store_find_id(view, draft->record->correct->record.data, &lsn, why);
    if (e == ERR_OK)
        e = store_get(view, lsn, &stored, why);
    if (e == ERR_OK)
        e = record_decode(stored.bytes, stored.len, false, &writing->other, &target, why);
    if (e == ERR_OK)
        *out_kind = kind_by_number((uint32_t)target->body_case);
    store_done(&view);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

enum err
draft_check_fix(struct writing *writing, const struct draft *draft, struct err_text *why)
{
    const Knockbox__Record *record = draft->record;
    const struct kind *kind = NULL;
    if (record->body_case != KNOCKBOX__RECORD__BODY_CORRECT ||
        record->correct->record.len != ID_SIZE)
        return ERR_OK;
    size_t len = knockbox__record__get_packed_size(record);
    if (len <= RECORD_MAX)
        return ERR_OK;
    enum err e = corrected_kind(writing, draft, &kind, why);
    if (e == ERR_OK && kind != NULL && !kind->big)
        return err_set(ERR_INPUT, why,
                       "this correction of a %s takes %zu bytes: expected at most %d, as for a %s",
                       kind->word, len, RECORD_MAX, kind->word);
    return e;
}
