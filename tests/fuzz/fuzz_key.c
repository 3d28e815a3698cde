/* fuzz_key.c - a key file: what is taken prints as a file that is taken with the same content. */
#include <stdlib.h>
#include <string.h>

#include "daemon/sync/keys.h"
#include "tests/fuzz/fuzz.h"

static void
expect_same_again(const struct key_file *file)
{
    struct err_text why = {.s = ""};
    struct key_file again;
    char text[KEY_FILE_TEXT];
    size_t len = key_file_print(file, text);
    if (key_file_parse("print", text, len, &again, &why) != ERR_OK ||
        memcmp(&again, file, sizeof again) != 0)
        abort();
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct err_text why = {.s = ""};
    struct key_file file;
    char *text = malloc(size + 1);
    if (text == NULL)
        abort();
    memcpy(text, data, size);
    text[size] = '\0';
    enum err e = key_file_parse("file", text, size, &file, &why);
    if (e == ERR_OK)
        expect_same_again(&file);
    else if (why.s[0] == '\0')
        abort();
    free(text);
    return 0;
}
