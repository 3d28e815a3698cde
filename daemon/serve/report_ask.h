/* report_ask.h - which report a question asks for. Inside of daemon/serve.
 */
#ifndef DAEMON_SERVE_REPORT_ASK_H
#define DAEMON_SERVE_REPORT_ASK_H

#include "daemon/report/forms.h"
#include "daemon/report/report_month.h"
#include "daemon/serve/call.h"

struct report_question {
    struct report_ask ask;
    struct span span; /* ask.span is here, when there is one */
    const struct report_form *form;
    const char *frame, *why; /* NULL: not asked for */
    bool send;
};

/* Arguments `month` or `from` and `to`, `site`, `basis`, `form`, `frame`, `why`, `send`. What does
 * not go together is ERR_INPUT or ERR_USAGE with a sentence. *out_question is not to be moved. */
enum err report_question_read(const struct call *call, struct report_question *out_question,
                              struct err_text *why);

#endif
