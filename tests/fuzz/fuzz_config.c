/* fuzz_config.c - a settings file: what is taken prints as settings that are taken and print alike.
 */
#include <stdlib.h>
#include <string.h>

#include "daemon/base/config.h"
#include "daemon/sync/keys.h"
#include "tests/fuzz/fuzz.h"

static char *
print(const struct config *config)
{
    char *text = NULL;
    size_t len = 0;
    FILE *out = open_memstream(&text, &len);
    if (out == NULL)
        abort();
    config_print(config, out);
    (void)fclose(out);
    return text;
}

static void
expect_same_again(const struct config_table *table, const char *text, size_t len)
{
    struct err_text why = {.s = ""};
    struct config *config = NULL, *again = NULL;
    enum err e = config_parse("file", text, len, table, &config, &why);
    if (e != ERR_OK && why.s[0] == '\0')
        abort();
    if (e != ERR_OK)
        return;
    char *first = print(config);
    if (config_parse("print", first, strlen(first), table, &again, &why) != ERR_OK)
        abort();
    char *second = print(again);
    if (strcmp(first, second) != 0)
        abort();
    free(first);
    free(second);
    config_free(config);
    config_free(again);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char host[ENDPOINT_SIZE];
    unsigned port = 0;
    char *text = malloc(size + 1);
    if (text == NULL)
        abort();
    memcpy(text, data, size);
    text[size] = '\0';
    expect_same_again(&config_hub, text, size);
    expect_same_again(&config_cafe, text, size);
    if (endpoint_split(text, host, sizeof host, &port) && port > 65535)
        abort();
    free(text);
    return 0;
}
