/* word_report.c - `report`: a month in any of its prints; `trace`: where from and where to. */
#include <stdlib.h>
#include <string.h>
#include "daemon/report/trace.h"
#include "daemon/report/why.h"
#include "daemon/serve/report_ask.h"
#include "daemon/serve/send.h"
#include "daemon/serve/words.h"

static enum err
send_text(struct call *call, char *taken, struct err_text *why)
{
    enum err e = call_data(call, taken, strlen(taken), why);
    free(taken);
    return e;
}

static enum err
print_model(struct call *call, const struct report_form *form, const struct table_model *model,
            struct err_text *why)
{
    char *bytes = NULL;
    size_t len = 0;
    enum err e = form->print(model, &bytes, &len, why);
    if (e == ERR_OK)
        e = call_data(call, bytes, len, why);
    free(bytes);
    return e;
}

/* The table of one frame in the place of the report's. */
static enum err
take_frame(const char *name, struct table_model **model, struct err_text *why)
{
    struct table_model *frame = NULL;
    enum err e = report_frame(*model, name, &frame, why);
    if (e != ERR_OK)
        return e;
    table_free(*model);
    *model = frame;
    return ERR_OK;
}

enum err
word_report(struct call *call, struct err_text *why)
{
    struct ledger *ledger = NULL;
    struct table_model *model = NULL;
    struct report_question q;
    enum err e = report_question_read(call, &q, why);
    if (e == ERR_OK)
        e = call_ledger(call, &ledger, why);
    if (e == ERR_OK && q.send)
        return send_report(call, &q.ask, why);
    if (e == ERR_OK)
        e = q.why != NULL
                ? report_why(ledger, call->serve->options.store, &q.ask, q.why, &model, why)
                : report_month(ledger, call->serve->options.store, &q.ask, &model, why);
    if (e == ERR_OK && q.frame != NULL)
        e = take_frame(q.frame, &model, why);
    if (e == ERR_OK)
        e = print_model(call, q.form, model, why);
    table_free(model);
    return e;
}

static enum err
print_trace(struct call *call, json_t *taken, struct err_text *why)
{
    const char *form = call_arg(call, "form");
    char *text = NULL;
    if (form == NULL || strcmp(form, "json") == 0)
        return call_json(call, taken, why);
    enum err e = trace_text(taken, &text, why);
    json_decref(taken);
    return e == ERR_OK ? send_text(call, text, why) : e;
}

enum err
word_trace(struct call *call, struct err_text *why)
{
    const struct clock *clock = &call->serve->options.clock;
    uint64_t start = clock->mono_ms(clock->owner);
    struct ledger *ledger = NULL;
    json_t *trace = NULL;
    const char *code = call_arg(call, "code");
    if (code == NULL)
        return err_input(why, "code", NULL, "a tub, an ingredient lot, a batch or a bottle lot");
    enum err e = call_ledger(call, &ledger, why);
    if (e == ERR_OK)
        e = trace_code(ledger, code, &trace, why);
    if (e != ERR_OK)
        return e;
    (void)json_object_set_new(trace, "took_ms",
                              json_integer((json_int_t)(clock->mono_ms(clock->owner) - start)));
    return print_trace(call, trace, why);
}
