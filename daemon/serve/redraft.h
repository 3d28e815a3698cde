/* redraft.h - a draft when the books contradict the published plan.
 *
 * The daemon asks itself what a person would: `plan show`, and when there is late news and no newer
 * draft, `plan make`. The published plan stays until a person publishes another.
 */
#ifndef DAEMON_SERVE_REDRAFT_H
#define DAEMON_SERVE_REDRAFT_H

#include "daemon/serve/serve.h"

/* *out_draft: the number of the draft that was made, 0 for none; *out_plan: of the plan that no
 * longer fits. ERR_INPUT: no plan keeps the rules of today's books. */
enum err redraft_look(struct serve *serve, int64_t *out_plan, int64_t *out_draft,
                      struct err_text *why);

#endif
