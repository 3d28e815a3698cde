/* texts.h - texts, each kept once: found by hash, numbered in order of arrival.
 *
 * What the ledger asks for by name all the time (sites, subjects, keys of the catalogue) is one
 * step away, however many there are.
 */
#ifndef DAEMON_LEDGER_TEXTS_H
#define DAEMON_LEDGER_TEXTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct text {
    const char *s; /* with a NUL behind it; stays where it is until texts_clear() */
    uint32_t len, hash;
};

struct texts {
    struct text *at; /* at[0..n) in order of arrival */
    size_t n, room;
    uint32_t *slots; /* open addressing: number + 1, 0 for empty; twice as many as `room` */
    struct block *blocks;
};

enum {
    TEXTS_NONE = UINT32_MAX
};

/* The number of the text; it is added when it is not there. `s` is any bytes, `len` of them.
 * false: out of memory, nothing changed. */
bool texts_add(struct texts *texts, const void *s, size_t len, uint32_t *out_number);
/* TEXTS_NONE: not there. */
uint32_t texts_find(const struct texts *texts, const void *s, size_t len);
void texts_clear(struct texts *texts); /* costs what is in it, not what it had room for */
void texts_done(struct texts *texts);

#endif
