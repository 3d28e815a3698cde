/* why_items.h - what the folds told about one figure, in order and summed by record. Inside of
 * why.c.
 */
#ifndef DAEMON_REPORT_WHY_ITEMS_H
#define DAEMON_REPORT_WHY_ITEMS_H

#include "daemon/ledger/outcome.h"
#include "daemon/report/why_terms.h"

/* What one record gives to a figure. */
struct why_item {
    uint8_t id[16];
    int64_t at_ms, amount;
    int32_t day;
    const char *kind; /* its word */
    char *code;       /* what people call the record by; one piece with the next two */
    const char *part; /* what the amount is part of: comes and goes with it */
    const char *line; /* the key of the line, where lines stay apart; else "" */
};

struct why_items {
    struct why_item *list;
    size_t n, cap;
    size_t left_out; /* records of parts that came and went, which are not in the list */
};

/* `by_line`: amounts of different lines of the books stay apart. */
enum err why_items_add(struct why_items *items, const struct outcome_told *told, int64_t amount,
                       bool by_line, struct err_text *why);
/* Drops parts that add up to 0. */
void why_items_net(struct why_items *items);
/* By instant, kind and id; one item a record and line, none of 0. */
void why_items_sum(struct why_items *items);
void why_items_done(struct why_items *items);

#endif
