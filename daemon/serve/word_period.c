/* word_period.c - `period`: which months are closed; close the next one; restate a closed one. */
#include <string.h>
#include "daemon/report/base_year.h"
#include "daemon/report/report_month.h"
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"
#include "daemon/serve/write.h"
#include "proto/when.h"

struct period {
    struct call *call;
    struct ledger *ledger;
    int32_t month;
    struct writing writing;
};

/* ---- which are closed */

static enum err
add_month(const struct period *period, const char *month, json_t *list, struct err_text *why)
{
    struct closing closing;
    int32_t number = 0;
    if (!month_parse(month, &number))
        return ERR_OK;
    enum err e = ledger_closing(period->ledger, number, INT64_MAX, &closing, why);
    if (e != ERR_OK)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    int offset = show_offset(period->call, period->call->serve->options.hub_site, closing.held_ms);
    json_t *line =
        json_pack("{s:s, s:s, s:I, s:o, s:s, s:o}", "month", month, "status",
                  closing.number > 0 ? "restated" : "closed", "restatement",
                  (json_int_t)closing.number, "held", show_instant(closing.held_ms, offset),
                  "edition", closing.edition, "reason", show_text(closing.reason));
    return json_array_append_new(list, line) == 0 ? ERR_OK
                                                  : err_set(ERR_MEM, why, "no memory for the list");
}

static json_t *
base_figure_json(const struct base_key *key, const struct base_figure *f)
{
    char name[64], now[NUMBER_TEXT], first[NUMBER_TEXT];
    return json_pack("{s:s, s:s, s:s?, s:s?, s:s?, s:b}", "figure", base_key_print(key, name),
                     "unit", key->unit, "first",
                     f->known ? base_number(key, &f->first, first) : NULL, "now",
                     f->known ? base_number(key, &f->now, now) : NULL, "change_pct", f->change_pct,
                     "over", (int)f->over);
}

/* The base year of the basis in force today, as its closes printed it; null: none is set. */
static enum err
base_year_json(const struct period *period, json_t **out, struct err_text *why)
{
    struct base_year base;
    const struct catalogue *catalogue = ledger_catalogue(period->ledger);
    int32_t today = show_today(period->call, period->call->serve->options.hub_site);
    const Knockbox__Basis *basis =
        (const Knockbox__Basis *)catalogue_get(catalogue, KNOCKBOX__RECORD__BODY_BASIS, "", today);
    *out = json_null();
    if (basis == NULL || basis->base_year == NULL)
        return ERR_OK;
    enum err e = base_year_read(catalogue, basis->base_year, month_of_day(today), &base, why);
    if (e != ERR_OK)
        return e;
    json_t *figures = json_array();
    for (size_t i = 0; i < BASE_FIGURES; i++)
        (void)json_array_append_new(figures, base_figure_json(&base_keys[i], &base.figures[i]));
    *out = json_pack("{s:s, s:s, s:s, s:i, s:o}", "first", base.set->first, "last", base.set->last,
                     "threshold_pct", base.set->threshold_pct, "missing", base.missing, "figures",
                     figures);
    return *out != NULL ? ERR_OK : err_set(ERR_MEM, why, "no memory for the base year");
}

static enum err
period_show(struct period *period, struct err_text *why)
{
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(ledger_catalogue(period->ledger),
                                KNOCKBOX__RECORD__BODY_PERIOD_CLOSE, &keys);
    json_t *list = json_array();
    enum err e = ERR_OK;
    for (unsigned i = 0; i < n && e == ERR_OK; i++)
        e = add_month(period, keys[i], list, why);
    json_t *base = NULL;
    if (e == ERR_OK)
        e = base_year_json(period, &base, why);
    if (e == ERR_OK)
        return call_json(period->call, json_pack("{s:o, s:o}", "months", list, "base_year", base),
                         why);
    json_decref(list);
    return e;
}

/* ---- closing and restating */

static enum err
tell_written(struct period *period, const struct stored *stored, struct err_text *why)
{
    char month[MONTH_TEXT];
    return call_json(period->call,
                     json_pack("{s:s, s:s, s:I, s:I}", "month", month_print(period->month, month),
                               "site", period->call->serve->options.site, "epoch",
                               (json_int_t)stored->epoch, "seq", (json_int_t)stored->seq),
                     why);
}

static enum err
period_close(struct period *period, struct err_text *why)
{
    struct call *call = period->call;
    Knockbox__Record record = KNOCKBOX__RECORD__INIT;
    struct stored stored;
    int32_t today = show_today(call, call->serve->options.hub_site);
    record.body_case = KNOCKBOX__RECORD__BODY_PERIOD_CLOSE;
    enum err e = period_close_make(period->ledger, call->serve->options.store, period->month,
                                   call_arg(call, "edition"), today, &period->writing.line,
                                   &record.period_close, why);
    if (e == ERR_OK)
        record.period_close->assured_by = (char *)(uintptr_t)call_arg(call, "assured_by");
    if (e == ERR_OK)
        e = write_act(&period->writing, &record, &stored, why);
    return e == ERR_OK ? tell_written(period, &stored, why) : e;
}

static enum err
period_restate(struct period *period, struct err_text *why)
{
    struct call *call = period->call;
    Knockbox__Record record = KNOCKBOX__RECORD__INIT;
    struct stored stored;
    const char *reason = call_arg(call, "reason");
    record.body_case = KNOCKBOX__RECORD__BODY_RESTATE;
    if (reason == NULL)
        return err_input(why, "reason", NULL, "why the month is computed again");
    enum err e =
        restate_make(period->ledger, call->serve->options.store, period->month, reason,
                     call_arg(call, "edition"), &period->writing.line, &record.restate, why);
    if (e == ERR_OK)
        e = write_act(&period->writing, &record, &stored, why);
    return e == ERR_OK ? tell_written(period, &stored, why) : e;
}

static const struct {
    const char *word;
    bool month;
    enum err (*act)(struct period *period, struct err_text *why);
} acts[] = {
    {"show", false, period_show},
    {"close", true, period_close},
    {"restate", true, period_restate},
};

enum {
    ACTS_N = sizeof acts / sizeof acts[0]
};

static enum err
run_act(struct period *period, size_t i, struct err_text *why)
{
    const char *month = call_arg(period->call, "month");
    if (acts[i].month && (month == NULL || !month_parse(month, &period->month)))
        return err_input(why, "month", month, "a month such as 2026-03");
    enum err e = call_ledger(period->call, &period->ledger, why);
    if (e == ERR_OK)
        e = writing_init(&period->writing, period->call, why);
    if (e == ERR_OK)
        e = acts[i].act(period, why);
    writing_done(&period->writing);
    return e;
}

enum err
word_period(struct call *call, struct err_text *why)
{
    struct period period = {.call = call};
    const char *word = call_arg(call, "do");
    for (size_t i = 0; i < ACTS_N; i++)
        if (word != NULL && strcmp(acts[i].word, word) == 0)
            return run_act(&period, i, why);
    return err_input(why, "do", word, "show, close or restate");
}
