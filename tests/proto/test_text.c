/* test_text.c - letters, decimals and hexadecimal. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "proto/nearest.h"
#include "proto/text.h"

static const struct {
    const char *text;
    bool free, code;
} texts[] = {
    {"T-0001", true, true},
    {"\xC3\x89"
     "B",
     true, true},                       /* an accented capital and B */
    {"a b", true, false},               /* a space */
    {"a\tb\nc", true, false},           /* tab, line feed */
    {"a\rb", false, false},             /* carriage return */
    {"a\x1b[2J", false, false},         /* a terminal's escape */
    {"a\x7F", false, false},            /* delete */
    {"\xC2\x85", false, false},         /* next line, a C1 control */
    {"\xC2\xA0", true, false},          /* no-break space */
    {"\xE2\x80\xAE", true, false},      /* right-to-left override */
    {"\xC0\x80", false, false},         /* overlong NUL */
    {"\xC1\xBF", false, false},         /* overlong */
    {"\xE0\x80\x80", false, false},     /* overlong */
    {"\xED\xA0\x80", false, false},     /* a surrogate */
    {"\xF4\x90\x80\x80", false, false}, /* behind U+10FFFF */
    {"\xF5\x80\x80\x80", false, false},
    {"\x80", false, false},
    {"\xE2\x82", false, false}, /* cut */
    {"\xF0\x9F\x91\x8D", true, true},
};

Test(text, only_strict_utf_8_without_controls_passes)
{
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        cr_expect(text_good(texts[i].text, TEXT_FREE, 0, 100) == texts[i].free, "row %zu", i);
        cr_expect(text_good(texts[i].text, TEXT_CODE, 1, 64) == texts[i].code, "row %zu", i);
    }
}

Test(text, length_is_counted_in_bytes)
{
    cr_expect(text_good("", TEXT_FREE, 0, 5));
    cr_expect(text_good("", TEXT_FREE, 1, 5) == false);
    cr_expect(text_good("12345", TEXT_FREE, 1, 5));
    cr_expect(text_good("123456", TEXT_FREE, 1, 5) == false);
}

Test(text, what_is_shown_cannot_move_a_cursor)
{
    char out[8];
    cr_expect(eq(str, text_shown("a\x1b[2J\xFF", out, sizeof out), "a?[2J?"));
    cr_expect(eq(str, text_shown("a\xE2\x80\xAEz", out, sizeof out), "a?z")); /* right to left */
    cr_expect(eq(str, text_shown("12345\xC3\x89", out, sizeof out), "12345\xC3\x89"));
    cr_expect(eq(str, text_shown("123456\xC3\x89", out, sizeof out), "123456"));
}

Test(text, decimals)
{
    static const char *const good[] = {"0", "-0", "17.4", "-17.40", "007", "0.1"};
    static const char *const bad[] = {"",
                                      "-",
                                      ".",
                                      "1.",
                                      ".5",
                                      "+1",
                                      "1e3",
                                      "1,5",
                                      " 1",
                                      "0x1",
                                      "--1",
                                      "1.2.3",
                                      "123456789012345678901234567890.123"};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++)
        cr_expect(decimal_text_good(good[i]), "%s", good[i]);
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_expect(eq(int, decimal_text_good(bad[i]), 0), "%s", bad[i]);
}

Test(text, decimals_are_compared_exactly)
{
    static const char *const rising[] = {"-100", "-99.91", "-99.9", "-1",  "-0.01", "0",
                                         "0.1",  "0.11",   "0.2",   "1.9", "2",     "10"};
    size_t n = sizeof rising / sizeof rising[0];
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            int order = decimal_text_compare(rising[i], rising[j]);
            cr_expect(eq(int, (order > 0) - (order < 0), (i > j) - (i < j)), "%s %s", rising[i],
                      rising[j]);
        }
    cr_expect(eq(int, decimal_text_compare("-0.0", "0"), 0));
    cr_expect(eq(int, decimal_text_compare("007.50", "7.5"), 0));
}

Test(text, hexadecimal_and_ids)
{
    uint8_t bytes[UUID_SIZE];
    char out[UUID_TEXT];
    cr_assert(hex_parse("00fFA1", 3, bytes));
    cr_expect(eq(str, hex_print(bytes, 3, out), "00ffa1"));
    cr_expect(hex_parse("00fFA", 3, bytes) == false);
    cr_expect(hex_parse("00fFA1B", 3, bytes) == false);
    cr_expect(hex_parse("00fFAg", 3, bytes) == false);
    /* RFC 9562, appendix A.6: the example of a UUIDv7. */
    cr_assert(uuid_parse("017F22E2-79B0-7CC3-98C4-DC0C0C07398F", bytes));
    cr_expect(eq(str, uuid_print(bytes, out), "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"));
    cr_expect(uuid_parse("017F22E279B07CC398C4DC0C0C07398F", bytes) == false);
    cr_expect(uuid_parse("017F22E2-79B0-7CC3-98C4-DC0C0C07398F0", bytes) == false);
}

Test(text, times_of_day)
{
    cr_expect(eq(int, hhmm_minutes("00:00"), 0));
    cr_expect(eq(int, hhmm_minutes("23:59"), 1439));
    cr_expect(eq(int, hhmm_minutes("24:00"), -1));
    cr_expect(eq(int, hhmm_minutes("4:00"), -1));
    cr_expect(eq(int, hhmm_minutes(""), -1));
}

Test(text, the_nearest_word_is_named_and_a_far_one_is_not)
{
    struct nearest near = {"gros_g", NULL, 0};
    nearest_offer(&near, "tare_g");
    nearest_offer(&near, "gross_g");
    cr_expect(eq(str, (char *)near.best, "gross_g"));
    struct nearest swapped = {"tbu", NULL, 0};
    nearest_offer(&swapped, "tub");
    cr_expect(eq(str, (char *)swapped.best, "tub"));
    struct nearest far = {"zebra", NULL, 0};
    nearest_offer(&far, "gross_g");
    cr_expect(far.best == NULL);
}
