/* notes.h - flavour notes of coffees, sugars and spirits against a wanted profile.
 *
 * Notes are words that the kitchen chose ("chocolate", "orange peel"). Two are the
 * same when they are spelled the same, but for the case of ASCII letters and blanks
 * at the ends. Common practice, no source: a match is counted, nothing is weighted.
 */
#ifndef DAEMON_CALC_NOTES_H
#define DAEMON_CALC_NOTES_H

#include <stdbool.h>
#include <stddef.h>

bool calc_note_same(const char *a, const char *b);

/* Is the note in the list? */
bool calc_note_among(const char *note, const char *const *list, size_t count);

/* How many different notes of `wanted` are among `has`.
 * By hand: {chocolate, Orange, orange} against {orange, nut} is 1. */
size_t calc_notes_match(const char *const *wanted, size_t wanted_n, const char *const *has,
                        size_t has_n);

#endif
