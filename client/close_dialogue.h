/* close_dialogue.h - the guided close as a pure machine: a line typed in, text for the screen out.
 *
 * The answers so far are kept as typed; going back is playing all but the last again, so every
 * question can be left and answered anew. No clock, terminal or daemon in here: what is asked of
 * the daemon comes in by `struct close_help`.
 */
#ifndef CLIENT_CLOSE_DIALOGUE_H
#define CLIENT_CLOSE_DIALOGUE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "client/amount.h"
#include "client/close_sheet.h"
#include "proto/err.h"

enum close_state {
    CLOSE_ASKS,   /* waits for a line */
    CLOSE_WRITES, /* the sheet is to be written */
    CLOSE_LEFT,   /* the person left: nothing is written */
};

/* What the daemon knows, asked in between. `owner` is lent. */
struct close_help {
    /* Is the label free? ERR_INPUT: `why` says what it is used for. */
    enum err (*label)(void *owner, const char *label, struct err_text *why);
    void *owner;
};

struct close_dialogue;

/* `hints` is lent for the life of the dialogue. */
enum err close_new(const struct close_hints *hints, const struct close_help *help,
                   struct close_dialogue **out_dialogue, struct err_text *why);
void close_free(struct close_dialogue *dialogue); /* NULL is fine */

/* What to print now, the prompt at its end; lent until the next close_line(). */
const char *close_screen(struct close_dialogue *dialogue);

/* The person typed a line (without its line feed). */
enum close_state close_line(struct close_dialogue *dialogue, const char *line, int64_t now_ms);

const struct close_sheet *close_sheet(const struct close_dialogue *dialogue);

/* What was typed so far, to be offered again another time; lent. */
size_t close_typed(const struct close_dialogue *dialogue, const char *const **out_lines);
/* Lines of an earlier time become what enter takes, question by question. */
void close_offer(struct close_dialogue *dialogue, const char *const *lines, size_t n);

#endif
