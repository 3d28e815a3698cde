/* next_label.h - the label that most likely comes next on a roll.
 */
#ifndef DAEMON_SERVE_NEXT_LABEL_H
#define DAEMON_SERVE_NEXT_LABEL_H

#include <stdint.h>

enum {
    LABEL_TEXT = 65
};

/* A label that ends in MMDD-n goes on with today's MMDD: n + 1 on the same day, else 1. Another
 * one that ends in digits goes on counting, with as many digits. Without a last label ("") the
 * site's first letter begins: "Q-0303-1". Pure. */
void next_label(const char *last, const char *site, int32_t today, char out[LABEL_TEXT]);

#endif
