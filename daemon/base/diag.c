/* diag.c - log lines that cannot be forged by what stands in them. */
#include "daemon/base/diag.h"

#include <errno.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* Bytes of the UTF-8 character at `s` and its value; 0: not UTF-8 (RFC 3629). */
static size_t
character(const unsigned char *s, uint32_t *out_value)
{
    static const struct {
        unsigned char mask, lead;
        uint32_t least;
    } forms[] = {{0x80, 0x00, 0}, {0xE0, 0xC0, 0x80}, {0xF0, 0xE0, 0x800}, {0xF8, 0xF0, 0x10000}};
    for (size_t n = 0; n < 4; n++) {
        if ((s[0] & forms[n].mask) != forms[n].lead)
            continue;
        uint32_t value = s[0] & (unsigned char)~forms[n].mask;
        for (size_t i = 1; i <= n; i++) {
            if ((s[i] & 0xC0) != 0x80)
                return 0;
            value = value << 6 | (s[i] & 0x3F);
        }
        bool surrogate = value >= 0xD800 && value <= 0xDFFF;
        *out_value = value;
        return value < forms[n].least || value > 0x10FFFF || surrogate ? 0 : n + 1;
    }
    return 0;
}

static bool
harmless(uint32_t c)
{
    if (c < 0x20 || (c >= 0x7F && c < 0xA0))
        return false; /* C0, DEL, C1 */
    if (c == 0x200E || c == 0x200F || c == 0x2028 || c == 0x2029 || c == 0x061C)
        return false;
    return !(c >= 0x202A && c <= 0x202E) && !(c >= 0x2066 && c <= 0x2069); /* bidi */
}

size_t
diag_clean(const char *text, char *out, size_t size)
{
    const unsigned char *s = (const unsigned char *)text;
    size_t used = 0;
    while (*s != '\0') {
        uint32_t value = 0;
        size_t n = character(s, &value);
        bool keep = n > 0 && harmless(value);
        size_t take = n > 0 ? n : 1;
        if (used + (keep ? take : 4 * take) >= size)
            break;
        for (size_t i = 0; i < take; i++)
            if (keep)
                out[used++] = (char)s[i];
            else
                used += (size_t)snprintf(out + used, size - used, "\\x%02X", s[i]);
        s += take;
    }
    if (size > 0)
        out[used] = '\0';
    return used;
}

void
diag_say(enum diag_level level, const char *format, ...)
{
    char raw[DIAG_LINE];
    char line[DIAG_LINE + 8];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(raw, sizeof raw, format, args);
    va_end(args);
    int head = snprintf(line, sizeof line, "<%d>", (int)level);
    size_t len = (size_t)head;
    len += diag_clean(raw, line + head, sizeof line - (size_t)head - 1);
    line[len++] = '\n';
    while (write(STDERR_FILENO, line, len) < 0 && errno == EINTR) /* else: nobody listens */
        continue;
}

/* FNV-1a, 64 bits (Fowler, Noll, Vo); never 0. */
static unsigned long long
digest(const char *text)
{
    unsigned long long hash = 14695981039346656037ULL;
    for (; *text != '\0'; text++)
        hash = (hash ^ (unsigned char)*text) * 1099511628211ULL;
    return hash != 0 ? hash : 1;
}

void
diag_changed(struct diag_memory *memory, unsigned long long mono_ms, enum diag_level level,
             const char *format, ...)
{
    char text[DIAG_LINE];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    unsigned long long hash = digest(text);
    if (hash == memory->said && mono_ms - memory->at_ms < DIAG_AGAIN_MS)
        return;
    memory->said = hash;
    memory->at_ms = mono_ms;
    diag_say(level, "%s", text);
}

void
diag_fine(struct diag_memory *memory)
{
    memory->said = 0;
}
