/* test_diag.c - what stands in a log line cannot forge another or move a cursor.
 *
 * Source: RFC 3629 for UTF-8; the characters are the usual ones of log injection (common practice,
 * no source). */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "daemon/base/diag.h"

static const struct {
    const char *text, *clean;
} rows[] = {
    {"café tub 12", "café tub 12"},
    {"a\nb", "a\\x0Ab"},
    {"\x1b[2J", "\\x1B[2J"},
    {"tab\there", "tab\\x09here"},
    {"\xC2\x9B"
     "2J",
     "\\xC2\\x9B2J"}, /* C1 control sequence introducer */
    {"a\xE2\x80\xAE"
     "b",
     "a\\xE2\\x80\\xAE"
     "b"},                               /* right-to-left override */
    {"\xFF", "\\xFF"},                   /* no UTF-8 */
    {"\xC3", "\\xC3"},                   /* cut */
    {"\xC0\x80", "\\xC0\\x80"},          /* overlong */
    {"\xED\xA0\x80", "\\xED\\xA0\\x80"}, /* surrogate */
    {"\xF0\x9F\x8D\xB8", "\xF0\x9F\x8D\xB8"},
};

Test(diag, keeps_text_and_shows_control_bytes_as_text)
{
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char out[64];
        size_t n = diag_clean(rows[i].text, out, sizeof out);
        cr_expect(eq(str, out, (char *)rows[i].clean));
        cr_expect(eq(sz, n, strlen(rows[i].clean)));
    }
}

Test(diag, cuts_between_characters)
{
    char out[5];
    diag_clean("aécaé", out, sizeof out); /* a é c fit in 4 bytes */
    cr_expect(eq(str, out, "aéc"));
    diag_clean("a\x01z", out, 4);
    cr_expect(eq(str, out, "a"));
}
