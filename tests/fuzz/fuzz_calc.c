/* fuzz_calc.c - any words to the bench calculator.
 *
 * Input: words parted by line ends. Whatever they are, the answer is one JSON
 * object on stdout and exit 0, or one error object on stderr and exit 2 or 3; no
 * number is NaN or infinite. Build: -DKNOCKBOX_FUZZ=ON with clang.
 */
#include <jansson.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "client/calc/calc.h"

enum {
    WORDS_MOST = 40
};

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* Cuts the text at line ends; returns how many words. */
static int
cut(char *text, char *argv[WORDS_MOST])
{
    int argc = 0;
    char *rest = text;
    for (char *word = strsep(&rest, "\n"); word != NULL && argc < WORDS_MOST;
         word = strsep(&rest, "\n"))
        if (strcmp(word, "--help") != 0 && strcmp(word, "-h") != 0)
            argv[argc++] = word;
    return argc;
}

static void
must(int fact)
{
    if (!fact)
        abort();
}

static void
must_be_one_object(const char *text, const char *silent)
{
    json_t *json = json_loads(text, JSON_REJECT_DUPLICATES, NULL); /* NaN does not parse */
    must(json_is_object(json));
    must(silent[0] == '\0');
    json_decref(json);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *argv[WORDS_MOST];
    char *text = strndup((const char *)data, size);
    char *answer = NULL, *failure = NULL;
    size_t answer_size = 0, failure_size = 0;
    FILE *out = open_memstream(&answer, &answer_size);
    FILE *err = open_memstream(&failure, &failure_size);
    must(text != NULL && out != NULL && err != NULL);
    int status = calc_command(cut(text, argv), argv, true, out, err);
    (void)fclose(out);
    (void)fclose(err);
    must(status == 0 || status == 2 || status == 3);
    must_be_one_object(status == 0 ? answer : failure, status == 0 ? failure : answer);
    free(answer);
    free(failure);
    free(text);
    return 0;
}
