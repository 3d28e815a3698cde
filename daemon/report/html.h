/* html.h - what the HTML page is made of: escapes, one for each place that a text can stand in,
 * bars with patterns, and the pictures.
 *
 * Every text of the model goes through html_text() or html_attr(); all else on the page is ours.
 */
#ifndef DAEMON_REPORT_HTML_H
#define DAEMON_REPORT_HTML_H

#include <stdio.h>
#include "daemon/report/table.h"

/* Between tags, also inside <title> and <desc> of SVG. & < > become entities; control bytes, signs
 * that turn the direction of writing and bytes that are no UTF-8 become U+FFFD. */
void html_text(FILE *out, const char *text);

/* Inside an attribute in double quotes; the same, and quotes and blanks other than ' ' too. */
void html_attr(FILE *out, const char *text);

/* ---- pictures: inline SVG, 720 units wide */

enum fill { /* told apart without colour */
    FILL_SOLID,
    FILL_HATCH,
    FILL_DOTS,
    FILL_OPEN,
};

/* The patterns that bars use; once a page. */
void svg_patterns(FILE *out);

/* Begins a picture and its <desc>: write that with html_text(), then svg_draw(). `id` is ours. */
void svg_begin(FILE *out, const char *id, int height, const char *title);
void svg_draw(FILE *out);
void svg_end(FILE *out);

void svg_bar(FILE *out, int x, int y, int width, int height, enum fill fill);
void svg_line(FILE *out, int x1, int y1, int x2, int y2);
/* anchor: "start", "middle" or "end" */
void svg_label(FILE *out, int x, int y, const char *anchor, const char *text);
/* Words beside little bars on one line. */
void svg_legend(FILE *out, int x, int y, size_t n, const enum fill *fills,
                const char *const *words);

/* ---- the pictures of a report; each is left out when the model has no rows for it. */

void picture_destinations(FILE *out, const struct table_model *people);
void picture_months(FILE *out, const struct table_model *people);
void picture_stock(FILE *out, const struct table_model *people);
void picture_cafes(FILE *out, const struct table_model *people);
void picture_batches(FILE *out, const struct table_model *people);

#endif
