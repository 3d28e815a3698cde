/* html.c - see html.h. */
#include "daemon/report/html.h"

#include <stdint.h>
#include <string.h>

static const char replacement[] = "\xef\xbf\xbd"; /* U+FFFD */

/* Bytes of the UTF-8 sequence at `s`, and its code point; 0: not UTF-8. */
static size_t
sequence(const unsigned char *s, uint32_t *out_point)
{
    static const uint32_t least[] = {0, 0, 0x80, 0x800, 0x10000};
    size_t n = s[0] < 0x80             ? 1
               : (s[0] & 0xE0) == 0xC0 ? 2
               : (s[0] & 0xF0) == 0xE0 ? 3
               : (s[0] & 0xF8) == 0xF0 ? 4
                                       : 0;
    uint32_t point = n == 1 ? s[0] : n == 0 ? 0 : s[0] & (0x7Fu >> n);
    for (size_t i = 1; i < n; i++) {
        if ((s[i] & 0xC0) != 0x80)
            return 0;
        point = point << 6 | (s[i] & 0x3Fu);
    }
    if (n == 0 || point < least[n] || point > 0x10FFFF || (point >= 0xD800 && point < 0xE000))
        return 0;
    *out_point = point;
    return n;
}

/* Control signs (line feed and tab apart), those that turn the direction of writing, and what XML
 * has no place for. */
static bool
is_unfit(uint32_t point)
{
    return (point < 0x20 && point != '\n' && point != '\t') || (point >= 0x7F && point < 0xA0) ||
           (point >= 0x202A && point <= 0x202E) || (point >= 0x2066 && point <= 0x2069) ||
           point == 0x200E || point == 0x200F || point == 0xFFFE || point == 0xFFFF;
}

static void
escape(FILE *out, const char *text, const char *signs)
{
    const unsigned char *s = (const unsigned char *)text;
    while (*s != '\0') {
        uint32_t point = 0;
        size_t n = sequence(s, &point);
        if (n == 0 || is_unfit(point))
            (void)fputs(replacement, out);
        else if (n == 1 && strchr(signs, (int)*s) != NULL)
            (void)fprintf(out, "&#%u;", (unsigned)*s);
        else
            (void)fwrite(s, 1, n, out);
        s += n > 0 ? n : 1;
    }
}

void
html_text(FILE *out, const char *text)
{
    escape(out, text, "&<>");
}

void
html_attr(FILE *out, const char *text)
{
    escape(out, text, "&<>\"'`=\n\t");
}

/* ---- pictures */

enum {
    WIDTH = 720
};

void
svg_patterns(FILE *out)
{
    (void)fputs("<svg class=\"defs\" width=\"0\" height=\"0\" aria-hidden=\"true\"><defs>\n"
                "<pattern id=\"hatch\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" "
                "patternTransform=\"rotate(45)\"><rect width=\"6\" height=\"6\" fill=\"#fff\"/>"
                "<rect width=\"2.5\" height=\"6\" fill=\"#8a4b00\"/></pattern>\n"
                "<pattern id=\"dots\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\">"
                "<rect width=\"6\" height=\"6\" fill=\"#fff\"/>"
                "<circle cx=\"3\" cy=\"3\" r=\"1.4\" fill=\"#333\"/></pattern>\n"
                "</defs></svg>\n",
                out);
}

void
svg_begin(FILE *out, const char *id, int height, const char *title)
{
    (void)fprintf(out,
                  "<svg role=\"img\" aria-labelledby=\"%s-t %s-d\" viewBox=\"0 0 %d %d\">\n"
                  "<title id=\"%s-t\">",
                  id, id, WIDTH, height, id);
    html_text(out, title);
    (void)fprintf(out, "</title>\n<desc id=\"%s-d\">", id);
}

void
svg_draw(FILE *out)
{
    (void)fputs("</desc>\n", out);
}

void
svg_end(FILE *out)
{
    (void)fputs("</svg>\n", out);
}

void
svg_bar(FILE *out, int x, int y, int width, int height, enum fill fill)
{
    static const char *const paints[] = {
        [FILL_SOLID] = "fill=\"#1f4e79\" stroke=\"#1f4e79\"",
        [FILL_HATCH] = "fill=\"url(#hatch)\" stroke=\"#8a4b00\"",
        [FILL_DOTS] = "fill=\"url(#dots)\" stroke=\"#333\"",
        [FILL_OPEN] = "fill=\"#fff\" stroke=\"#333\"",
    };
    (void)fprintf(out, "<rect x=\"%d\" y=\"%d\" width=\"%d\" height=\"%d\" %s/>\n", x, y,
                  width > 0 ? width : 1, height > 0 ? height : 1, paints[fill]);
}

void
svg_line(FILE *out, int x1, int y1, int x2, int y2)
{
    (void)fprintf(out,
                  "<line x1=\"%d\" y1=\"%d\" x2=\"%d\" y2=\"%d\" stroke=\"#777\" "
                  "stroke-width=\"1\"/>\n",
                  x1, y1, x2, y2);
}

void
svg_label(FILE *out, int x, int y, const char *anchor, const char *text)
{
    (void)fprintf(out, "<text x=\"%d\" y=\"%d\" text-anchor=\"%s\">", x, y, anchor);
    html_text(out, text);
    (void)fputs("</text>\n", out);
}

void
svg_legend(FILE *out, int x, int y, size_t n, const enum fill *fills, const char *const *words)
{
    for (size_t i = 0; i < n; i++) {
        svg_bar(out, x, y - 10, 20, 11, fills[i]);
        svg_label(out, x + 27, y, "start", words[i]);
        x += 27 + 8 * (int)strlen(words[i]) + 16;
    }
}
