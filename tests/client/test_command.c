/* The command line and its help: common practice of command lines, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <string.h>
#include "client/command.h"
#include "client/show.h"

enum {
    MOST = 20
};

/* Splits at blanks and parses; false: misuse. */
static bool
parse(const char *line, struct given *out_given, struct err_text *why)
{
    static char text[512], *argv[MOST];
    static const char *args[MOST];
    int argc = 0;
    (void)snprintf(text, sizeof text, "%s", line);
    for (char *word = strtok(text, " "); word != NULL && argc < MOST; word = strtok(NULL, " "))
        argv[argc++] = word;
    return command_parse(argc, argv, args, out_given, why) == ERR_OK;
}

Test(command, takes_options_before_and_after_its_words)
{
    struct given given;
    struct err_text why = {.s = ""};
    cr_assert(parse("knockbox --json --at /srv/box log note text=a --force", &given, &why));
    cr_assert(eq(str, (char *)given.command->word, "log"));
    cr_assert(eq(str, (char *)given.at, "/srv/box"));
    cr_assert(given.output == OUTPUT_JSON);
    cr_assert(eq(sz, given.n_args, 2));
    cr_assert(given_flag(&given, "--force"));
}

Test(command, takes_a_value_after_a_blank_or_an_equals_sign)
{
    struct given given;
    struct err_text why = {.s = ""};
    cr_assert(parse("knockbox export --from 2026-03-01 --to=2026-03-31", &given, &why));
    cr_assert(eq(str, (char *)given_value(&given, "--from"), "2026-03-01"));
    cr_assert(eq(str, (char *)given_value(&given, "--to"), "2026-03-31"));
}

Test(command, words_after_two_dashes_are_no_options)
{
    struct given given;
    struct err_text why = {.s = ""};
    cr_assert(parse("knockbox log note -- --json", &given, &why));
    cr_assert(eq(sz, given.n_args, 2));
    cr_assert(given.output == OUTPUT_TEXT);
}

Test(command, a_negative_number_is_no_option)
{
    struct given given;
    struct err_text why = {.s = ""};
    cr_assert(parse("knockbox log reading -18.5", &given, &why));
}

static const struct {
    const char *line, *says;
} misuses[] = {
    {"knockbox exprot", "did you mean export?"},
    {"knockbox export --form 2026-03-01", "did you mean --from?"},
    {"knockbox export --fro 2026-03-01", "did you mean --from?"},
    {"knockbox export --jsn", "did you mean --json?"},
    {"knockbox export --from", "--from wants a value"},
    {"knockbox export --json=yes", "--json takes no value"},
    {"knockbox import", "too few words"},
    {"knockbox import a b", "too many words"},
    {"knockbox frobnicate", "see knockbox help"},
};

Test(command, says_what_is_wrong_and_what_is_near)
{
    for (size_t i = 0; i < sizeof misuses / sizeof misuses[0]; i++) {
        struct given given;
        struct err_text why = {.s = ""};
        cr_assert(not(parse(misuses[i].line, &given, &why)), "%s", misuses[i].line);
        cr_assert(strstr(why.s, misuses[i].says) != NULL, "%s: %s", misuses[i].line, why.s);
    }
}

Test(command, takes_no_shortened_option)
{
    struct given given;
    struct err_text why = {.s = ""};
    cr_assert(not(parse("knockbox export --jso", &given, &why)));
}

/* Everything that help_print() puts out, through a file. */
static const char *
help_of(const struct command *command)
{
    static char text[8192];
    fflush(stdout);
    FILE *kept = stdout, *f = tmpfile();
    stdout = f;
    help_print(command);
    stdout = kept;
    rewind(f);
    text[fread(text, 1, sizeof text - 1, f)] = '\0';
    fclose(f);
    return text;
}

static void
check_width(const char *what, const char *text)
{
    char line[1024];
    for (const char *at = text; *at != '\0';) {
        size_t len = strcspn(at, "\n");
        (void)snprintf(line, sizeof line, "%.*s", (int)len, at);
        cr_assert(show_width(line) <= TEXT_WIDTH, "%s: %s", what, line);
        at += len + (at[len] == '\n');
    }
}

Test(command, every_help_fits_72_columns)
{
    size_t n;
    const struct command *const *table = command_table(&n);
    check_width("list", help_of(NULL));
    for (size_t i = 0; i < n; i++)
        check_width(table[i]->word, help_of(table[i]));
}

Test(command, every_command_has_two_examples_that_parse)
{
    size_t n;
    const struct command *const *table = command_table(&n);
    for (size_t i = 0; i < n; i++) {
        size_t k = 0;
        for (; k < EXAMPLES_MOST && table[i]->examples[k] != NULL; k++)
            cr_assert(strstr(table[i]->examples[k], table[i]->word) != NULL, "%s",
                      table[i]->examples[k]);
        cr_assert(k >= 2, "%s has %zu examples", table[i]->word, k);
    }
}
