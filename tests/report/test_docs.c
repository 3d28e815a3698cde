/* docs/report.md names every key that a report prints. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "tests/report/town.h"

static char *
read_page(void)
{
    FILE *file = fopen(TEST_SOURCE "/docs/report.md", "r");
    cr_assert(ne(ptr, file, NULL));
    char *text = calloc(1, 65536);
    size_t len = fread(text, 1, 65535, file);
    cr_assert(ge(sz, len, 1000));
    fclose(file);
    return text;
}

static bool
names(const char *page, const char *key)
{
    size_t len = strlen(key);
    for (const char *at = strstr(page, key); at != NULL; at = strstr(at + 1, key))
        if (strchr("`.{,", at[-1]) != NULL && strchr("`.{,}[", at[len]) != NULL)
            return true;
    fprintf(stderr, "docs/report.md does not name %s\n", key);
    return false;
}

static bool
names_all(const char *page, const json_t *json)
{
    bool all = true;
    const char *key;
    json_t *value;
    size_t i;
    json_array_foreach(json, i, value) all = names_all(page, value) && all;
    json_object_foreach((json_t *)(uintptr_t)json, key, value)
    {
        all = names(page, key) && names_all(page, value) && all;
    }
    return all;
}

Test(docs, every_key_of_a_report_is_on_the_page)
{
    static const char *const months[] = {"2026-02", "2026-03", "2026-04"};
    char *page = read_page();
    struct play *play = play_new("kitchen");
    play_read(play, TEST_DATA "/example-month/catalogue.jsonl");
    play_read(play, TEST_DATA "/example-month/records.jsonl");
    play_put(play, 0);
    for (size_t i = 0; i < 3; i++) {
        json_t *report = month_json(play, months[i]);
        cr_expect(names_all(page, report), "%s", months[i]);
        json_decref(report);
    }
    play_free(play);
    free(page);
}
