/* tidy.h - the same plan with older tubs sooner: swaps that leave every vessel's mass as it is. */
#ifndef DAEMON_PLAN_TIDY_H
#define DAEMON_PLAN_TIDY_H

#include "daemon/plan/draft.h"

/* Swaps tubs of one profile between batches, and with tubs that stayed behind in the kitchen, when
 * the older one is used sooner that way: one for one of the same mass, or two for two of the same
 * mass together. Keeps all rules; the worth never falls. ERR_MEM. */
enum err tidy_draft(struct draft *d, struct err_text *why);

#endif
