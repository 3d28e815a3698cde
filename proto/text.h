/* text.h - is this text what a field may hold? Letters, decimals, hexadecimal.
 */
#ifndef PROTO_TEXT_H
#define PROTO_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum text_form {
    TEXT_FREE, /* any letters; of control characters only line feed and tab */
    TEXT_CODE, /* no white space, no control or formatting characters */
};

/* Strict UTF-8 (no overlong forms, no surrogates) of the form, `least` to `most` bytes long. */
bool text_good(const char *text, enum text_form form, size_t least, size_t most);

/* A copy for messages: what is not good to print or turns the direction of text becomes `?`; cut at
 * `size` on a whole letter.
 * Returns `out`. */
char *text_shown(const char *text, char *out, size_t size);

/* -?[0-9]+(\.[0-9]+)?, at most 32 characters. */
bool decimal_text_good(const char *text);

/* Exact: below 0, 0 or above 0 as a is less than, equal to or more than b. Both are good. */
int decimal_text_compare(const char *a, const char *b);

/* HH:MM of a day as minutes, -1 when it is none. */
int hhmm_minutes(const char *text);

/* `n` bytes as 2 n small letters and a NUL. Returns `out`. */
char *hex_print(const uint8_t *bytes, size_t n, char *out);
/* false: not exactly n bytes. */
bool hex_parse(const char *text, size_t n, uint8_t *out_bytes);

enum {
    UUID_SIZE = 16,
    UUID_TEXT = 37
};
char *uuid_print(const uint8_t id[UUID_SIZE], char out[UUID_TEXT]);
bool uuid_parse(const char *text, uint8_t out_id[UUID_SIZE]);

#endif
