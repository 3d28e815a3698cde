/* err.h - what can go wrong, in codes that programs act on and words for people.
 *
 * A function returns an error or logs it, never both. The code says what a
 * caller can do about it; `struct err_text` says it to a person, and holds the
 * field, what was given and what was wanted when bad input is the reason.
 */
#ifndef PROTO_ERR_H
#define PROTO_ERR_H

enum err {
    ERR_OK = 0,
    ERR_INPUT = 1,     /* what was given is not acceptable: ask again */
    ERR_USAGE = 2,     /* the command line or the request makes no sense */
    ERR_NOT_FOUND = 3, /* what was named is not there */
    ERR_DENIED = 4,    /* this person or machine may not do that */
    ERR_PEER = 5,      /* no answer, or nonsense, from the other side: retry later */
    ERR_FULL = 6,      /* no room on the disk or in the map: stop and shout */
    ERR_IO = 7,        /* the operating system said no */
    ERR_MEM = 8,       /* out of memory, or over a budget */
    ERR_FORMAT = 9,    /* written by a newer release, or by another program */
    ERR_DAMAGED = 10,  /* bytes on disk are not what was written */
    ERR_BUSY = 11,     /* somebody else holds it: a second daemon, a port in use */
};

/* `s` is one sentence for a person; "" means nothing to say. `field`, `got` and
 * `want` are "" where they do not apply. */
struct err_text {
    char s[512];
    char field[64];
    char got[96];
    char want[160];
};

/* The stable word of a code, as `--json` prints it: "input", "usage", ... */
const char *err_word(enum err e);

/* The exit status of the contract for a code: 0 to 5. */
int err_exit_status(enum err e);

/* Fill `why` (NULL is fine) and return `e`, so that a caller can `return err_set(...)`.
 * Text is cut at the size of the field, on a UTF-8 boundary. */
enum err err_set(enum err e, struct err_text *why, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* ERR_INPUT for one field: "gross_g: -5: expected 1 to 60000 (grams)". */
enum err err_input(struct err_text *why, const char *field, const char *got, const char *want);

/* Puts context in front of what `why` says: "cafe.conf line 14: ". */
void err_prefix(struct err_text *why, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

#if defined(__clang_analyzer__) || defined(KNOCKBOX_ANALYZER)
/* What analyzers of one file at a time cannot know: it returns what it was given. */
#define err_set(e, ...) ((void)(err_set)((e), __VA_ARGS__), (e))
#define err_input(...) ((void)(err_input)(__VA_ARGS__), ERR_INPUT)
#endif

#endif
