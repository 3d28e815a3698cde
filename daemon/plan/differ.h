/* differ.h - two plans side by side: what is not the same, in words, and the fact behind it.
 */
#ifndef DAEMON_PLAN_DIFFER_H
#define DAEMON_PLAN_DIFFER_H

#include "daemon/plan/check.h"
#include "daemon/plan/news.h"

enum differ_kind {
    DIFFER_BATCH, /* more, fewer, on another day, or of another size */
    DIFFER_RUN,
    DIFFER_ORDER,
    DIFFER_TUB,
};

struct differ_item {
    enum differ_kind kind;
    int day; /* of the newer plan's problem, -1: none */
    char id[PROBLEM_ID_SIZE];
    char words[200];
    int cause; /* place in news.items, -1: no fact that touches it changed */
};

struct differ {
    struct differ_item *items;
    int n;
    struct news news;
    bool fits;              /* the older plan could still be done */
    check_units worth_more; /* then: what the newer one is worth more by today's books */
};

/* `from` is about `old`, `to` about `now`, whose day 0 is `shift` days (0 or more) later and has the
 * date `today`. Days before that are left out. *out_differ is yours: differ_done(). ERR_MEM. */
enum err differ_find(const struct problem *old, const struct plan *from, const struct problem *now,
                     const struct plan *to, int shift, int32_t today, struct differ *out_differ,
                     struct err_text *why);
void differ_done(struct differ *differ);

const char *differ_word(enum differ_kind kind); /* "batch" */

#endif
