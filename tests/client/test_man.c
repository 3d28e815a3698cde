/* knockbox(1) and the table of commands say the same. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include "client/command.h"

#define PAGE TEST_SOURCE "/docs/man/knockbox.1"

static char page[65536];

static void
read_page(void)
{
    FILE *f = fopen(PAGE, "r");
    cr_assert_not_null(f);
    page[fread(page, 1, sizeof page - 1, f)] = '\0';
    fclose(f);
}

/* The part of the page from a word's own tag to the next word's. */
static const char *
part_of(const char *word)
{
    static char part[8192];
    char tag[64];
    snprintf(tag, sizeof tag, "\n.It Cm %s", word);
    const char *at = strstr(page, tag);
    while (at != NULL && strchr(" \n", at[strlen(tag)]) == NULL)
        at = strstr(at + 1, tag);
    if (at == NULL)
        return NULL;
    const char *end = strstr(at + 1, "\n.It Cm ");
    if (end == NULL)
        end = strstr(at, "\n.Sh ");
    snprintf(part, sizeof part, "%.*s", (int)(end - at), at);
    return part;
}

static bool
names_option(const char *text, const char *option)
{
    char tag[64];
    bool full = strncmp(option, "--", 2) == 0;
    snprintf(tag, sizeof tag, "\n.It Fl %s%s", full ? "Fl " : "", option + (full ? 2 : 1));
    const char *at = strstr(text, tag);
    while (at != NULL && strchr(" \n", at[strlen(tag)]) == NULL)
        at = strstr(at + 1, tag);
    return at != NULL;
}

static size_t
count(const char *text, const char *tag)
{
    size_t n = 0;
    for (; (text = strstr(text, tag)) != NULL; text++)
        n++;
    return n;
}

Test(man, names_every_command_with_each_of_its_options_and_no_other)
{
    size_t n;
    const struct command *const *table = command_table(&n);
    read_page();
    for (size_t i = 0; i < n; i++) {
        const char *part = part_of(table[i]->word);
        size_t options = 0;
        cr_assert(part != NULL, "no part about %s", table[i]->word);
        for (; options < OPTIONS_MOST && table[i]->options[options].name != NULL; options++)
            cr_assert(names_option(part, table[i]->options[options].name), "%s %s", table[i]->word,
                      table[i]->options[options].name);
        cr_assert(eq(sz, count(part, "\n.It Fl "), options), "%s", table[i]->word);
    }
    cr_assert(eq(sz, count(page, "\n.It Cm "), n));
}

Test(man, names_the_common_options)
{
    read_page();
    for (size_t i = 0; common_options[i].name != NULL; i++)
        cr_assert(names_option(page, common_options[i].name), "%s", common_options[i].name);
}

Test(man, is_clean_to_the_formatter)
{
    if (access("/usr/bin/mandoc", X_OK) != 0)
        cr_skip_test("mandoc is not here");
    cr_assert(system("mandoc -Tlint -Wwarning " PAGE) == 0);
}
