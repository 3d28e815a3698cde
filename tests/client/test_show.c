/* Text for terminals. Widths: Unicode Standard Annex 11; the rest: common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>
#include "client/show.h"

static const struct {
    const char *name, *text, *safe;
} texts[] = {
    {"plain", "house-dark", "house-dark"},
    {"accents stay", "Café Élan", "Café Élan"},
    {"escape sequence", "\033[2Jgone", "?[2Jgone"},
    {"carriage return", "a\rb", "a?b"},
    {"bell and backspace", "\a\b", "??"},
    {"C1 control in UTF-8",
     "\xc2\x9b"
     "2J",
     "?2J"},
    {"right-to-left override",
     "ab\xe2\x80\xae"
     "cd",
     "ab?cd"},
    {"broken UTF-8", "a\xff\xfe", "a??"},
    {"line feed", "a\nb", "a?b"},
};

Test(show, nothing_in_the_data_moves_the_cursor)
{
    char out[64];
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        cr_assert(eq(str, show_safe(texts[i].text, out, sizeof out), (char *)texts[i].safe), "%s",
                  texts[i].name);
}

Test(show, safe_text_is_cut_on_a_whole_letter)
{
    char out[5];
    cr_assert(eq(str, show_safe("abcé", out, sizeof out), "abc"));
}

Test(show, width_is_what_a_terminal_shows)
{
    cr_assert(eq(sz, show_width("abc"), 3));
    cr_assert(eq(sz, show_width("Café"), 4));
    cr_assert(eq(sz, show_width("e\xcc\x81"), 1));                /* e and a combining accent */
    cr_assert(eq(sz, show_width("\xe5\x92\x96\xe5\x95\xa1"), 4)); /* two wide letters */
}

Test(show, long_text_is_cut_with_a_mark)
{
    char out[64];
    cr_assert(eq(str, show_cut("single-light", 8, out, sizeof out), "single-…"));
    cr_assert(eq(str, show_cut("short", 8, out, sizeof out), "short"));
}

Test(show, masses_are_as_on_a_scale)
{
    char out[32];
    cr_assert(eq(str, show_mass(3444, out), "3.44 kg"));
    cr_assert(eq(str, show_mass(3995, out), "4.00 kg"));
    cr_assert(eq(str, show_mass(85, out), "85 g"));
    cr_assert(eq(str, show_mass(-2500, out), "-2.50 kg"));
    cr_assert(eq(str, show_volume(14200, out), "14.2 l"));
}

Test(show, times_are_the_site_s_own_clock)
{
    char out[32];
    cr_assert(eq(str, show_when("2026-02-26T22:04:00+00:00", out), "26 Feb 22:04"));
    cr_assert(eq(str, show_date("2026-03-01", out), " 1 Mar"));
    cr_assert(eq(str, show_span(252, out), "4 h 12 min"));
}
