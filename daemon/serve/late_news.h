/* late_news.h - whether the published plan still fits what the books say.
 */
#ifndef DAEMON_SERVE_LATE_NEWS_H
#define DAEMON_SERVE_LATE_NEWS_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>
#include "proto/err.h"

struct call;

/* What was found last, kept while no record comes and no day begins. */
struct late_news {
    bool known;
    uint64_t seen; /* up to this arrival */
    int32_t today;
    int64_t number; /* of the published plan; 0: none */
    json_t *lines;
};

void late_news_done(struct late_news *news);

/* Sentences about what the published plan cannot live with, [] when it fits; lent until the next
 * call. *out_number: the plan's, 0 for none. The ledger has caught up (call_ledger()). Never changes
 * anything. ERR_MEM and errors of the store only. */
enum err late_news_find(struct call *call, const json_t **out_lines, int64_t *out_number,
                        struct err_text *why);

/* "plan 3 no longer fits: ... and 2 things more: knockbox plan make"; "" when it fits. */
enum {
    LATE_NEWS_WORDS = 400
};
void late_news_words(const json_t *lines, int64_t number, char out[LATE_NEWS_WORDS]);

#endif
