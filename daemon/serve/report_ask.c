/* report_ask.c - which report a question asks for: see report_ask.h. */
#include "daemon/serve/report_ask.h"

#include <string.h>
#include "proto/when.h"

static enum err
read_span(const struct call *call, struct report_question *q, struct err_text *why)
{
    const char *from = call_arg(call, "from"), *to = call_arg(call, "to");
    if (call_arg(call, "month") != NULL)
        return err_set(ERR_USAGE, why, "a month, or --from and --to, not both");
    if (from == NULL || !day_parse(from, &q->span.from))
        return err_input(why, "from", from, "the first day, such as 2026-03-01");
    if (to == NULL || !day_parse(to, &q->span.to))
        return err_input(why, "to", to, "the last day, such as 2026-03-31");
    q->ask.span = &q->span;
    return ERR_OK;
}

static enum err
read_when(const struct call *call, struct report_question *q, struct err_text *why)
{
    const char *month = call_arg(call, "month");
    if (call_arg(call, "from") != NULL || call_arg(call, "to") != NULL)
        return read_span(call, q, why);
    if (month == NULL || !month_parse(month, &q->ask.month))
        return err_input(why, "month", month, "a month such as 2026-03");
    return ERR_OK;
}

static enum err
read_basis(const struct call *call, struct report_question *q, struct err_text *why)
{
    const char *basis = call_arg(call, "basis");
    if (basis == NULL)
        return ERR_OK;
    q->ask.basis = strcmp(basis, "waste") == 0 ? REPORT_BASIS_WASTE : REPORT_BASIS_BY_PRODUCT;
    if (q->ask.basis == REPORT_BASIS_BY_PRODUCT && strcmp(basis, "by-product") != 0)
        return err_input(why, "basis", basis, "by-product or waste");
    return ERR_OK;
}

static enum err
read_form(const struct call *call, struct report_question *q, struct err_text *why)
{
    char names[128];
    const char *name = call_arg(call, "form");
    q->form = report_form_find(name != NULL ? name : "json");
    if (q->form == NULL)
        return err_input(why, "form", name, report_form_names(names, sizeof names));
    q->ask.pictures = q->form->pictures && q->frame == NULL;
    return ERR_OK;
}

/* What does not go together. */
static enum err
fits(const struct report_question *q, struct err_text *why)
{
    bool whole = q->ask.site == NULL && q->ask.span == NULL && q->why == NULL &&
                 q->ask.basis == REPORT_BASIS_IN_FORCE;
    bool table = strcmp(q->form->name, "json") == 0 || strcmp(q->form->name, "text") == 0 ||
                 strcmp(q->form->name, "csv") == 0;
    if (q->send && !whole)
        return err_set(ERR_USAGE, why,
                       "--send takes a whole month: no --site, --from, --to, --basis or --why");
    if (q->why != NULL && q->frame != NULL)
        return err_set(ERR_USAGE, why, "--why explains the report's own figures, not a --frame's");
    if (q->why != NULL && !table)
        return err_set(ERR_USAGE, why, "--why comes as text, json or csv");
    return ERR_OK;
}

enum err
report_question_read(const struct call *call, struct report_question *out_question,
                     struct err_text *why)
{
    struct report_question *q = out_question;
    *q = (struct report_question){.frame = call_arg(call, "frame"),
                                  .why = call_arg(call, "why"),
                                  .send = call_arg(call, "send") != NULL};
    q->ask.version = REPORT_AS_IT_STANDS;
    q->ask.site = call_arg(call, "site");
    enum err e = read_when(call, q, why);
    if (e == ERR_OK)
        e = read_basis(call, q, why);
    if (e == ERR_OK)
        e = read_form(call, q, why);
    return e == ERR_OK ? fits(q, why) : e;
}
