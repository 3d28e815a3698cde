/* product.h - the draft's product shared out by a linear programme, and the finished plan's worth. */
#ifndef DAEMON_PLAN_PRODUCT_H
#define DAEMON_PLAN_PRODUCT_H

#include "daemon/plan/check.h"
#include "daemon/plan/classes.h"
#include "daemon/plan/draft.h"

/* The plan of a draft with its product: by linear programme and by falling price, whichever is
 * worth more. *out_plan is yours. *out_worth is exact. ERR_DAMAGED: the plan breaks a rule, which
 * is a mistake of ours; `why` says which. */
enum err product_finish(const struct draft *d, const struct classes *classes, struct share *share,
                        struct plan **out_plan, check_units *out_worth, struct err_text *why);

#endif
