/* fuzz_setup.c - settings of delivery: what is taken can be printed, and every name in it found. */
#include <stdlib.h>
#include <string.h>

#include "daemon/exchange/setup.h"
#include "tests/fuzz/fuzz.h"

static void
walk(const struct setup *setup)
{
    char word[SETUP_NAME];
    const struct schedule *schedule = NULL;
    for (size_t i = 0; (schedule = setup_schedule(setup, i)) != NULL; i++)
        for (size_t k = 0; setup_word(config_text(schedule->config, "to"), k, word, sizeof word);
             k++)
            if (setup_target(setup, word) == NULL)
                abort();
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct err_text why = {.s = ""};
    struct setup *setup = NULL;
    char *text = malloc(size + 1), *printed = NULL;
    size_t len = 0;
    FILE *out = open_memstream(&printed, &len);
    if (text == NULL || out == NULL)
        abort();
    memcpy(text, data, size);
    text[size] = '\0';
    enum err e = setup_parse("/nowhere", "file", text, size, &setup, &why);
    if (e == ERR_OK) {
        walk(setup);
        setup_print(setup, out);
    } else if (why.s[0] == '\0') {
        abort();
    }
    setup_free(setup);
    (void)fclose(out);
    free(printed);
    free(text);
    return 0;
}
