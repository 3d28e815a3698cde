/* close_question.h - the questions of a guided close: what each shows, takes, and what comes next.
 *
 * Inside of the dialogue; other files use close_dialogue.h.
 */
#ifndef CLIENT_CLOSE_QUESTION_H
#define CLIENT_CLOSE_QUESTION_H

#include "client/close_dialogue.h"

enum question_name {
    ASK_DAY,
    ASK_BY,
    ASK_TUB,
    ASK_COFFEE,
    ASK_ORIGIN,
    ASK_PLACE,
    ASK_GROSS,
    ASK_TARE,
    ASK_KNOCK,
    ASK_FROZEN,
    ASK_WARM,
    ASK_REASON,
    ASK_ANOTHER,
    ASK_TEMP,   /* of each freezer that is read */
    ASK_ACTION, /* when it was outside its limits */
    ASK_FOOD,
    ASK_BIN,
    ASK_WRITE,
    ASK_NOTHING, /* the end */
};

enum {
    PROMPT_TEXT = 80,
    ANSWER_TEXT = 256,
    REMARK_TEXT = 4096
};

/* What a question sees and fills. `remark` is what is said after an answer was taken. */
struct filling {
    const struct close_hints *hints;
    const struct close_help *help;
    struct close_sheet *sheet;
    struct close_tub tub; /* the one being filled */
    int64_t now_ms;       /* when the line was typed */
    size_t freezer;       /* whose temperature is asked, or comes next */
    bool outside;         /* the last temperature was outside its limits */
    bool again;           /* played again: the daemon was asked before */
    char remark[REMARK_TEXT];
};

struct close_question {
    const char *label;
    /* What enter takes, "" for nothing. May be NULL. */
    void (*offer)(const struct filling *filling, char out[ANSWER_TEXT]);
    /* Words before the question; may be NULL. */
    void (*before)(const struct filling *filling, char out[REMARK_TEXT]);
    /* ERR_INPUT: `why` says what is expected, and the question is asked again. */
    enum err (*take)(struct filling *filling, const char *answer, struct err_text *why);
    enum question_name (*next)(const struct filling *filling);
};

const struct close_question *close_question(enum question_name name);

/* The question for the next freezer that is read, else what comes after the tubs. */
enum question_name close_after_tubs(const struct filling *filling);

bool close_is_today(const struct filling *filling); /* the sheet's day is still going on */

/* Of a tub: close_tub.c. */
extern const struct close_question close_tub_question, close_coffee_question, close_origin_question,
    close_place_question, close_gross_question, close_tare_question, close_knock_question,
    close_frozen_question, close_warm_question, close_reason_question;
/* Of the readings: close_readings.c. */
extern const struct close_question close_temp_question, close_action_question, close_food_question;

/* The first question for these hints. */
enum question_name close_first(const struct close_hints *hints);

/* The clock times of the sheet's day. */
struct amount_day close_day_of(const struct filling *filling);

#endif
