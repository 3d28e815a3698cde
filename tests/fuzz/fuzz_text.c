/* fuzz_text.c - text that somebody chose, on its way to a log or a terminal: what comes out is one
 * line that moves no cursor and turns no direction. */
#include <stdlib.h>
#include <string.h>

#include "daemon/base/diag.h"
#include "proto/text.h"
#include "tests/fuzz/fuzz.h"

static void
expect_harmless(const char *line)
{
    static const char *const marks[] = {"\xE2\x80\xA8", "\xE2\x80\xA9", "\xE2\x80\xAA",
                                        "\xE2\x80\xAB", "\xE2\x80\xAC", "\xE2\x80\xAD",
                                        "\xE2\x80\xAE", "\xE2\x81\xA6", "\xE2\x81\xA7",
                                        "\xE2\x81\xA8", "\xE2\x81\xA9", "\xC2\x9B"};
    for (const char *c = line; *c != '\0'; c++)
        if ((unsigned char)*c < ' ' || *c == 0x7F)
            abort();
    for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++)
        if (strstr(line, marks[i]) != NULL)
            abort();
    if (line[0] != '\0' && !text_good(line, TEXT_FREE, 0, DIAG_LINE * 4))
        abort();
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char line[DIAG_LINE], shown[300];
    char *text = strndup((const char *)data, size);
    if (text == NULL)
        abort();
    if (diag_clean(text, line, sizeof line) != strlen(line))
        abort();
    expect_harmless(line);
    expect_harmless(text_shown(text, shown, sizeof shown));
    (void)text_good(text, TEXT_CODE, 1, 64);
    free(text);
    return 0;
}
