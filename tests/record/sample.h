/* sample.h - a line of every kind, every field filled, grown from the rules of the fields: a new
 * kind is covered as soon as it is declared.
 */
#ifndef TESTS_RECORD_SAMPLE_H
#define TESTS_RECORD_SAMPLE_H

#include <jansson.h>
#include "daemon/record/kind.h"

/* Yours (json_decref). NULL: memory. */
json_t *sample_line(const struct kind *kind);

#endif
