/* span_lines.c - books of a span of whole months: the lines by month are there already.
 *
 * A fold posts an amount to the month of a day and never asks which month that is, so three months
 * in the place of many are sums. Two things are no plain sums of postings. That a record was
 * corrected (Q3) is told once a month; here it is still once. And a lot that is held (Q1) is told
 * of as a change from month to month, which add up to the change over all of them.
 */
#include "daemon/ledger/span_lines.h"

#include "daemon/ledger/kept.h"
#include "proto/when.h"

bool
span_is_of_months(const struct span *span)
{
    int32_t first = month_of_day(span->from), last = month_of_day(span->to);
    return month_first_day(first) == span->from && month_last_day(last) == span->to;
}

struct spanning {
    const struct span *span;
    struct books *books;
};

static enum err
add_line(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
         struct err_text *why)
{
    struct spanning *s = owner;
    char text[TABLE_KEY_MAX + 1];
    struct posting line;
    enum err e = line_read(key, key_len, value, value_len, text, &line, why);
    if (e != ERR_OK)
        return e;
    line.month = span_month(s->span, month_first_day(line.month));
    if (line.measure == MEASURE_CORRECTION)
        line.amount = 1 - books_line(s->books, line.measure, line.month, line.site, line.key);
    return books_post(s->books, &line, why);
}

enum err
span_lines(const struct view *view, const struct span *span, struct books **out_books,
           struct err_text *why)
{
    struct spanning s = {span, NULL};
    struct key all = {.n = 0, .over = false};
    enum err e = books_new(&s.books, why);
    if (e == ERR_OK)
        e = table_walk(view->kv, view->tables->lines, &all, add_line, &s, why);
    if (e == ERR_OK)
        *out_books = s.books;
    else
        books_free(s.books);
    return e;
}
