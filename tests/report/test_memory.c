/* Running out of memory anywhere in a report is an answer, not a crash, and leaves nothing behind.
 * Linked with --wrap, so every allocation of ours can be made to fail. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/report_month.h"
#include "tests/report/town.h"

static long left = -1; /* allocations that still succeed; below 0: all do */

static bool
may(void)
{
    if (left < 0)
        return true;
    return left-- > 0;
}

void *__real_malloc(size_t size);
void *__real_calloc(size_t n, size_t size);
void *__real_realloc(void *old, size_t size);
char *__real_strdup(const char *text);

void *
__wrap_malloc(size_t size)
{
    return may() ? __real_malloc(size) : NULL;
}

void *
__wrap_calloc(size_t n, size_t size)
{
    return may() ? __real_calloc(n, size) : NULL;
}

void *
__wrap_realloc(void *old, size_t size)
{
    return may() ? __real_realloc(old, size) : NULL;
}

char *
__wrap_strdup(const char *text)
{
    return may() ? __real_strdup(text) : NULL;
}

static struct play *
busy_month(void)
{
    struct play *play = town_new();
    town_batch(play, "B1", 2, "2026-03-02");
    town_bottle(play, "B1", "L1", 5, "hold", "2026-03-03T10:00:00Z");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-04T10:00:00Z', 'mass_g': 1250, 'stream': "
                   "'food'}");
    play_say(play, "{'kind': 'close', 'at': '2026-03-04T22:00:00Z', 'site': 'quayside', 'day': "
                   "'2026-03-04', 'uncaptured_g': 9, 'uncaptured_method': 'sampled', 'stream': "
                   "'skip'}");
    play_put(play, 0);
    return play;
}

static enum err
print_all(const struct report_input *input, struct err_text *why)
{
    struct table_model *model = NULL;
    char *text = NULL;
    enum err e = report_build(input, &model, why);
    if (e == ERR_OK)
        e = report_text(model, &text, why);
    free(text);
    text = NULL;
    if (e == ERR_OK)
        e = report_html(model, &text, why);
    free(text);
    text = NULL;
    if (e == ERR_OK)
        e = report_sheet(model, &text, why);
    free(text);
    table_free(model);
    return e;
}

Test(memory, every_failed_allocation_of_a_build_is_an_answer)
{
    struct play *play = busy_month();
    struct catalogue *catalogue = NULL;
    struct books *books = play_books_catalogue(play, INT64_MAX, &catalogue);
    struct report_input input = {.month = play_month("2026-03"),
                                 .hub_site = "kitchen",
                                 .books = books,
                                 .catalogue = catalogue,
                                 .pictures = true};
    enum err e = ERR_MEM;
    long n = 0;
    for (; e != ERR_OK && n < 20000; n++) {
        struct err_text why = {.s = ""};
        left = n;
        e = print_all(&input, &why);
        left = -1;
        cr_assert(e == ERR_OK || e == ERR_MEM, "allocation %ld: %d", n, (int)e);
    }
    cr_expect(eq(int, e, ERR_OK));
    cr_expect(ge(long, n, 100));
    books_free(books);
    catalogue_free(catalogue);
    play_free(play);
}

/* The folds run inside the ledger's own view of an earlier moment. */
Test(memory, every_failed_allocation_of_the_folds_is_an_answer)
{
    struct play *play = busy_month();
    enum err e = ERR_MEM;
    long n = 0;
    for (; e != ERR_OK && n < 20000; n++) {
        struct err_text why = {.s = ""};
        struct books *books = NULL;
        struct catalogue *catalogue = NULL;
        left = n;
        e = ledger_books(play_ledger(play), play_ms("2026-04-01T00:00:00Z"), &books, &catalogue,
                         &why);
        left = -1;
        books_free(books);
        catalogue_free(catalogue);
        cr_assert(e == ERR_OK || e == ERR_MEM, "allocation %ld: %d %s", n, (int)e, why.s);
    }
    cr_expect(eq(int, e, ERR_OK));
    play_free(play);
}
