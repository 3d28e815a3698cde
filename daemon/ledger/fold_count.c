/* fold_count.c - the stocktakes of one site: which months it counted its tubs in (S2).
 *
 * What a count found or missed is told by each tub and each lot itself.
 */
#include "daemon/ledger/fold.h"
#include "daemon/ledger/place.h"

enum err
fold_count(const struct fold_input *in, struct outcome *out, struct err_text *why)
{
    (void)why;
    enum err e = ERR_OK;
    for (size_t i = 0; i < in->n && e == ERR_OK; i++) {
        const struct fact *fact = &in->facts[i];
        const Knockbox__Stocktake *body = fact->record->stocktake;
        outcome_by(out, fact);
        if (!place_known(in->catalogue, body->place, fact->day))
            e = outcome_flag(out, fact, "unknown-place", body->place);
        if (e == ERR_OK && body->tubs != NULL)
            e = outcome_post(out, MEASURE_COUNTED, fact->month,
                             place_site(in->catalogue, body->place, fact), "", 1);
    }
    return e;
}
