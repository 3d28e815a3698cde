/* words.h - the table of what may be asked: a word, who may, its arguments, what answers it.
 */
#ifndef DAEMON_SERVE_WORDS_H
#define DAEMON_SERVE_WORDS_H

#include "daemon/serve/call.h"

enum word_place {
    WORD_ANYWHERE,
    WORD_AT_HUB
};

struct word {
    const char *word;
    unsigned roles; /* who may ask; a write is judged again by its kind */
    enum word_place place;
    const char *args; /* names, separated by blanks */
    bool lines;       /* takes lines */
    answer_fn *answer;
};

const struct word *word_find(const char *word); /* NULL: no such word */
const struct word *words(unsigned *out_n);
bool word_takes(const struct word *word, const char *arg);

/* One file each. */
answer_fn word_write, word_export, word_status, word_freezer, word_stock, word_hints, word_who,
    word_verify, word_digest, word_link, word_label, word_report, word_outbox, word_trace,
    word_period, word_plan, word_recipe, word_forecast, word_today;

#endif
