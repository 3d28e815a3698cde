/* fold_sale.c - sales of a product without a lot: value, and no lot moves (report rule P3). */
#include "daemon/ledger/fold.h"
#include "daemon/ledger/money.h"

enum err
fold_sale(const struct fold_input *input, struct outcome *outcome, struct err_text *why)
{
    (void)why;
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < input->n; i++) {
        const struct fact *fact = &input->facts[i];
        if (fact->kind->number != KNOCKBOX__RECORD__BODY_SALE)
            continue;
        outcome_by(outcome, fact);
        e = money_post_sale(outcome, fact, fact->record->sale->product,
                            fact->record->sale->bottle_ml);
    }
    return e;
}
