/* report_months.c - twelve months that end with a report's own, for a picture. */
#include "daemon/report/report_months.h"

#include <string.h>
#include "proto/when.h"

enum {
    MONTHS = 12
};

static const struct column columns[] = {
    {"month", "month", "", false},
    {"generated_kg", "grounds generated", "kg", true},
    {"captured_kg", "grounds captured", "kg", true},
    {"diverted_kg", "waste diverted", "kg", true},
    {"disposed_kg", "waste disposed of", "kg", true},
    {"status", "status", "", false},
};

static void
put_month(struct table_model *model, int32_t month, const struct table_model *of)
{
    char text[MONTH_TEXT];
    table_row(model);
    table_set(model, "month", month_print(month, text));
    table_set(model, "generated_kg", table_get(of, "grounds", "generated_kg"));
    table_set(model, "captured_kg", table_get(of, "grounds", "captured_kg"));
    table_set(model, "diverted_kg", table_get(of, "waste", "diverted_kg"));
    table_set(model, "disposed_kg", table_get(of, "waste", "disposed_kg"));
    table_set(model, "status", table_get(of, "", "status"));
}

static bool
stop_at_first(void *owner, const struct posting *line)
{
    (void)line;
    *(bool *)owner = true;
    return false;
}

/* In which of the months anything was written down, the last of them `month`. */
static enum err
busy_months(struct ledger *ledger, int32_t month, bool out_busy[MONTHS], struct err_text *why)
{
    struct books *books = NULL;
    struct catalogue *catalogue = NULL;
    memset(out_busy, 0, MONTHS * sizeof *out_busy);
    enum err e = ledger_books(ledger, INT64_MAX, &books, &catalogue, why);
    for (int32_t i = 0; e == ERR_OK && i < MONTHS; i++) {
        int32_t at = month - MONTHS + 1 + i;
        books_walk(books, MEASURE_RECORDS, at, at, stop_at_first, &out_busy[i]);
    }
    books_free(books);
    catalogue_free(catalogue);
    return e;
}

enum err
report_months_add(struct ledger *ledger, struct store *store, const struct report_ask *of,
                  struct table_model *model, struct err_text *why)
{
    const int32_t month = of->month;
    struct closing closing;
    bool busy[MONTHS];
    struct report_ask ask = {.site = of->site, .basis = of->basis};
    enum err e = ledger_closing(ledger, month, INT64_MAX, &closing, why);
    if (e != ERR_OK && e != ERR_NOT_FOUND)
        return e;
    ask.closed_by_ms = e == ERR_OK ? closing.held_ms : 0;
    e = busy_months(ledger, month, busy, why);
    TABLE_SECTION(model, "months", "Twelve months", SHAPE_ROWS, columns);
    for (int32_t i = 0; e == ERR_OK && i + 1 < MONTHS; i++) {
        struct table_model *other = NULL;
        ask.month = month - MONTHS + 1 + i;
        if (!busy[i])
            continue;
        e = report_month(ledger, store, &ask, &other, why);
        if (e == ERR_OK)
            put_month(model, ask.month, other);
        else if (e == ERR_NOT_FOUND) /* not closed by then: another report's business */
            e = ERR_OK;
        table_free(other);
    }
    if (e == ERR_OK)
        put_month(model, month, model);
    return e == ERR_OK ? table_error(model, why) : e;
}
