/* test_config.c - settings are read, refused in words, and printed as understood.
 *
 * Sources: tests/data/config (own pairs X.conf / X.printed), design page "Settings"; the bad lines
 * are common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <criterion/parameterized.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/config.h"
#include "daemon/base/folder.h"

static const struct {
    const char *name;
    const struct config_table *table;
} pairs[] = {{"full.hub", &config_hub}, {"empty.hub", &config_hub}, {"joined.cafe", &config_cafe}};

static char *
text_of(const char *name, const char *end, size_t *out_len)
{
    char path[PATH_SIZE];
    char *text = NULL;
    snprintf(path, sizeof path, "%s/config/%s.%s", TEST_DATA, name, end);
    cr_assert(file_read(path, &text, out_len, NULL) == ERR_OK, "%s", path);
    return text;
}

Test(config, prints_each_file_of_the_pairs_as_understood)
{
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        struct err_text why = {.s = ""};
        struct config *config = NULL;
        size_t len = 0, printed_len = 0;
        char *text = text_of(pairs[i].name, "conf", &len);
        char *want = text_of(pairs[i].name, "printed", &printed_len);
        enum err e = config_parse(pairs[i].name, text, len, pairs[i].table, &config, &why);
        cr_assert(e == ERR_OK, "%s", why.s);
        char *got = NULL;
        size_t got_len = 0;
        FILE *out = open_memstream(&got, &got_len);
        config_print(config, out);
        fclose(out);
        cr_assert(eq(str, got, want), "%s", pairs[i].name);
        config_free(config);
        free(text);
        free(want);
        free(got);
    }
}

Test(config, reads_its_own_print_to_the_same)
{
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        struct config *config = NULL;
        size_t len = 0;
        char *text = text_of(pairs[i].name, "printed", &len);
        struct err_text why = {.s = ""};
        enum err e = config_parse("printed", text, len, pairs[i].table, &config, &why);
        cr_assert(e == ERR_OK, "%s", why.s);
        config_free(config);
        free(text);
    }
}

static const struct {
    const char *text, *says;
} bad[] = {
    {"sync.grup 5\n", "hub.conf line 1: sync.grup: unknown key"},
    {"# fine\n\nsync.group 0\n", "hub.conf line 3: sync.group \"0\": expected 1 to 5000"},
    {"sync.group 5001\n", "expected 1 to 5000"},
    {"sync.group 5x\n", "sync.group \"5x\": expected 1 to 5000"},
    {"sync.group -5\n", "expected 1 to 5000"},
    {"sync.group\n", "sync.group \"\": expected 1 to 5000"},
    {"sync.group 99999999999999999999\n", "expected 1 to 5000"},
    {"sync.group 5\nsync.group 6\n", "line 2: sync.group stands in line 1 already"},
    {"listen ipc:///tmp/x\n", "expected tcp://HOST:PORT"},
    {"listen tcp://:7749\n", "expected tcp://HOST:PORT"},
    {"listen tcp://host:70000\n", "expected tcp://HOST:PORT"},
    {"listen udp://host:7749\n", "expected tcp://HOST:PORT"},
    {"listen tcp://ho st:7749\n", "expected tcp://HOST:PORT"},
    {"listen.public tcp://*:7749\n", "expected tcp://HOST:PORT, port 1 to 65535"},
    {"listen.public tcp://host:0\n", "expected tcp://HOST:PORT, port 1 to 65535"},
    {"role.group owner staff\n", "expected ROLE GROUP"},
    {"role.group office\n", "expected ROLE GROUP"},
    {"role.group office a b\n", "expected ROLE GROUP"},
    {"site.name two words\n", "expected 1 to 64 bytes without spaces"},
    {"site.zone a\x01z\n", "expected text of 0 to 64 bytes"},
};

Test(config, names_file_line_key_and_what_was_expected)
{
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct err_text why = {.s = ""};
        struct config *config = NULL;
        size_t len = strlen(bad[i].text);
        enum err e = config_parse("hub.conf", bad[i].text, len, &config_hub, &config, &why);
        cr_expect(e == ERR_INPUT, "row %zu", i);
        cr_expect(strstr(why.s, bad[i].says) != NULL, "row %zu says: %s", i, why.s);
        cr_expect(config == NULL);
    }
}

Test(config, refuses_a_nul_and_a_line_without_end)
{
    struct err_text why = {.s = ""};
    struct config *config = NULL;
    char longest[2000];
    memset(longest, 'a', sizeof longest);
    enum err e = config_parse("c", longest, sizeof longest, &config_hub, &config, &why);
    cr_expect(e == ERR_INPUT);
    e = config_parse("c", "site.name a\0b\n", 14, &config_hub, &config, &why);
    cr_expect(e == ERR_INPUT);
}

static const struct {
    const char *text;
    int64_t ms;
} times[] = {{"5s", 5000}, {"5500ms", 5500}, {"2m", 120000}, {"1h", 3600000}, {"4999ms", -1},
             {"2h", -1},   {"30", -1},       {"s", -1},      {"1w", -1},      {"1.5s", -1}};

Test(config, times_have_a_unit_and_a_range)
{
    for (size_t i = 0; i < sizeof times / sizeof times[0]; i++) {
        char line[64];
        struct config *config = NULL;
        int len = snprintf(line, sizeof line, "sync.retry %s\n", times[i].text);
        enum err e = config_parse("c", line, (size_t)len, &config_cafe, &config, NULL);
        bool fine = e == ERR_OK;
        cr_expect(fine == (times[i].ms >= 0), "%s", times[i].text);
        if (e == ERR_OK)
            cr_expect(eq(i64, config_number(config, "sync.retry"), times[i].ms));
        config_free(config);
    }
}

/* deploy/hub.conf and deploy/cafe.conf have each key, commented out at its standard. */
Test(config, the_examples_name_every_key)
{
    static const struct config_table *const tables[] = {&config_hub, &config_cafe};
    for (size_t t = 0; t < 2; t++) {
        char path[PATH_SIZE];
        char *text = NULL;
        size_t len = 0;
        struct config *config = NULL;
        struct err_text why = {.s = ""};
        snprintf(path, sizeof path, "%s/deploy/%s", TEST_SOURCE, tables[t]->file);
        cr_assert(file_read(path, &text, &len, NULL) == ERR_OK, "%s", path);
        cr_assert(config_parse(path, text, len, tables[t], &config, &why) == ERR_OK, "%s", why.s);
        for (size_t i = 0; i < tables[t]->n; i++) {
            char want[128];
            const struct config_item *item = &tables[t]->items[i];
            snprintf(want, sizeof want, "\n#%s ", item->key);
            cr_expect(strstr(text, want) != NULL, "%s has no line %s", path, want + 1);
            cr_expect(strstr(text, item->doc) != NULL, "%s does not say \"%s\"", path, item->doc);
        }
        config_free(config);
        free(text);
    }
}

Test(config, the_manuals_name_every_key_with_its_standard)
{
    static const struct {
        const struct config_table *table;
        const char *page;
    } pages[] = {{&config_hub, "knockbox-hub.8"}, {&config_cafe, "knockbox-cafe.8"}};
    for (size_t t = 0; t < 2; t++) {
        char path[PATH_SIZE], want[128];
        char *text = NULL;
        size_t len = 0;
        snprintf(path, sizeof path, "%s/docs/man/%s", TEST_SOURCE, pages[t].page);
        cr_assert(file_read(path, &text, &len, NULL) == ERR_OK, "%s", path);
        for (size_t i = 0; i < pages[t].table->n; i++) {
            const struct config_item *item = &pages[t].table->items[i];
            snprintf(want, sizeof want, ".It Cm %s", item->key);
            const char *at = strstr(text, want);
            cr_expect(at != NULL, "%s has no %s", pages[t].page, item->key);
            snprintf(want, sizeof want, "Standard: %s", item->standard ? item->standard : "");
            bool told = at != NULL && item->standard != NULL && item->standard[0] != '\0';
            if (told && strcmp(item->key, "hub.site") != 0) {
                const char *found = strstr(at, want);
                const char *next = strstr(at + 1, ".It ");
                cr_expect(found != NULL && (next == NULL || found < next), "%s: %s: no \"%s\"",
                          pages[t].page, item->key, want);
            }
        }
        free(text);
    }
}
