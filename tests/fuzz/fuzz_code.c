/* fuzz_code.c - a one-time code as somebody typed it: what is taken is a code that prints and is
 * taken again. */
#include <stdlib.h>
#include <string.h>

#include "daemon/sync/keys.h"
#include "tests/fuzz/fuzz.h"

/* The same bytes as a code whose check fits: past the check is where the rest is tried. */
static void
expect_any_place(const uint8_t *data, size_t size)
{
    struct err_text why = {.s = ""};
    struct join_code code, again;
    char text[CODE_TEXT];
    memset(&code, 0, sizeof code);
    if (size < KEY_SIZE + SECRET_SIZE)
        return;
    memcpy(code.hub, data, KEY_SIZE);
    memcpy(code.secret, data + KEY_SIZE, SECRET_SIZE);
    data += KEY_SIZE + SECRET_SIZE;
    size -= KEY_SIZE + SECRET_SIZE;
    memcpy(code.endpoint, "tcp://", 6);
    for (size_t i = 0; i < size && i < 100 && data[i] != '\0'; i++)
        code.endpoint[6 + i] = (char)data[i];
    if (code.endpoint[6] == '\0' || code_print(&code, text, &why) != ERR_OK)
        return;
    if (code_parse(text, &again, &why) != ERR_OK || memcmp(&code, &again, sizeof code) != 0)
        abort();
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct err_text why = {.s = ""};
    struct join_code code, again;
    char text[CODE_TEXT];
    uint8_t key[KEY_SIZE];
    char *typed = strndup((const char *)data, size);
    if (typed == NULL)
        abort();
    if (code_parse(typed, &code, &why) == ERR_OK && code_print(&code, text, &why) == ERR_OK &&
        (code_parse(text, &again, &why) != ERR_OK || memcmp(&code, &again, sizeof code) != 0))
        abort();
    (void)key_parse(typed, key);
    expect_any_place(data, size);
    free(typed);
    return 0;
}
