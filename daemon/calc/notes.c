/* notes.c - flavour notes, compared and counted. */
#include "daemon/calc/notes.h"

#include <string.h>

static size_t
trimmed(const char **text)
{
    *text += strspn(*text, " ");
    size_t len = strlen(*text);
    while (len > 0 && (*text)[len - 1] == ' ')
        len--;
    return len;
}

static char
lower(char c)
{
    return (char)(c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c);
}

bool
calc_note_same(const char *a, const char *b)
{
    size_t len = trimmed(&a);
    if (len != trimmed(&b))
        return false;
    for (size_t i = 0; i < len; i++)
        if (lower(a[i]) != lower(b[i]))
            return false;
    return len > 0;
}

bool
calc_note_among(const char *note, const char *const *list, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (calc_note_same(note, list[i]))
            return true;
    return false;
}

size_t
calc_notes_match(const char *const *wanted, size_t wanted_n, const char *const *has, size_t has_n)
{
    size_t n = 0;
    for (size_t i = 0; i < wanted_n; i++)
        if (!calc_note_among(wanted[i], wanted, i) && calc_note_among(wanted[i], has, has_n))
            n++;
    return n;
}
