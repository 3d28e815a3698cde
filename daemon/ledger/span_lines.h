/* span_lines.h - books of a span of whole months without a fold.
 */
#ifndef DAEMON_LEDGER_SPAN_LINES_H
#define DAEMON_LEDGER_SPAN_LINES_H

#include "daemon/ledger/effect.h"

/* Does it begin and end with a month? */
bool span_is_of_months(const struct span *span);

/* Of such a span: what a fold of all that the view holds would give. *out_books is yours. */
enum err span_lines(const struct view *view, const struct span *span, struct books **out_books,
                    struct err_text *why);

#endif
