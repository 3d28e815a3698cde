/* One site's part, spans of days and another basis: what must hold between them and the month. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/behind.h"
#include "daemon/report/report_month.h"
#include "proto/when.h"
#include "tests/ledger/random.h"
#include "tests/report/month.h"
#include "tests/report/randoms.h"
#include "tests/report/town.h"

static const char *const sites[] = {"foundry", "kitchen", "quayside"};

static struct span
days(const char *from, const char *to)
{
    struct span span = {.from = 0, .to = 0};
    cr_assert(day_parse(from, &span.from) && day_parse(to, &span.to));
    return span;
}

static int64_t thousandths(const json_t *report, const char *path);

/* Of all rows of a list, whatever their currency: a check sum. */
static int64_t
of_rows(const json_t *report, const char *list, const char *key)
{
    int64_t sum = 0;
    size_t i;
    json_t *row;
    json_array_foreach(json_object_get(report, list), i, row) sum += thousandths(row, key);
    return sum;
}

/* "-0.083" in thousandths; kg and whole numbers alike. "product:bottles": of all rows. */
static int64_t
thousandths(const json_t *report, const char *path)
{
    if (strncmp(path, "product:", 8) == 0)
        return of_rows(report, "product", path + 8);
    const char *text = month_word(report, path), *dot = strchr(text, '.');
    if (text[0] == '-' && text[1] == '\0')
        return 0; /* the row is not there: only zeros */
    int64_t whole = llabs(atoll(text)) * 1000 + (dot != NULL ? atoll(dot + 1) : 0);
    return text[0] == '-' ? -whole : whole;
}

/* What adds up over sites; stock is apart, with in-transit. */
static const char *const flows[] = {
    "grounds.captured_kg",
    "grounds.uncaptured_kg",
    "grounds.generated_kg",
    "grounds.by_method.weighed_kg",
    "grounds.by_method.estimated_kg",
    "first_use_kg",
    "residue.made_kg",
    "waste.generated_kg",
    "waste.diverted_kg",
    "waste.disposed_kg",
    "waste.unknown_kg",
    "waste.drain_kg",
    "waste.onsite_kg",
    "waste.offsite_kg",
    "waste.gap_kg",
    "waste.non_recycled_kg",
    "waste.by_destination.composting.kg",
    "waste.by_destination.landfill.kg",
    "waste.by_destination.animal_feed.kg",
    "waste.by_destination.sewer.kg",
    "waste.by_destination.unknown.kg",
    "emissions.not_quantified_kg",
    "product:bottles",
    "product:made_g",
    "product:sold_minor",
    "product:at_list_minor",
    "stock.filled_kg",
    "stock.rejected_kg",
    "stock.used_kg",
    "stock.unexplained_by.receipt_kg",
    "stock.unexplained_by.overdraw_kg",
    "stock.unexplained_by.empty_kg",
};

/* At the end or the beginning of the time. */
static const char *const balances[] = {"residue.waiting_kg", "waste.waiting_kg",
                                       "waste.waiting_opening_kg", "waste.late_kg"};

static const char *const stock[] = {"opening_kg", "late_kg",       "filled_kg", "received_kg",
                                    "sent_kg",    "rejected_kg",   "used_kg",   "expected_kg",
                                    "closing_kg", "unexplained_kg"};

static bool
is_sum(const char *what, const json_t *whole, json_t *const parts[], size_t n, int64_t more)
{
    int64_t sum = more, want = thousandths(whole, what);
    for (size_t i = 0; i < n; i++)
        sum += thousandths(parts[i], what);
    if (sum != want)
        fprintf(stderr, "%s: parts %lld, whole %lld\n", what, (long long)sum, (long long)want);
    return sum == want;
}

/* Batches stand at the site of their mix: each in one part. */
static bool
batches_are_shared_out(const json_t *whole, json_t *const parts[])
{
    size_t n = 0;
    for (size_t i = 0; i < 3; i++)
        n += json_array_size(json_object_get(parts[i], "batches"));
    return n == json_array_size(json_object_get(whole, "batches"));
}

/* What is on the road is at no site: tubs are handed over, lost and found there too. */
static int64_t
in_transit(const json_t *whole, const char *key)
{
    char van[64];
    if (strncmp(key, "stock.", 6) != 0)
        return 0;
    snprintf(van, sizeof van, "stock.sites.in-transit.%s", key + 6);
    return thousandths(whole, van);
}

static bool
sites_make_the_whole(struct play *play, struct report_ask ask)
{
    json_t *whole = month_asked(play, &ask), *parts[3];
    bool fine = true;
    for (size_t i = 0; i < 3; i++) {
        ask.site = sites[i];
        parts[i] = month_asked(play, &ask);
        fine = fine && strcmp(month_word(parts[i], "site"), sites[i]) == 0;
    }
    for (size_t i = 0; i < sizeof flows / sizeof flows[0]; i++)
        fine = is_sum(flows[i], whole, parts, 3, in_transit(whole, flows[i])) && fine;
    for (size_t i = 0; i < 3 && strcmp(month_word(whole, "basis"), "waste") != 0; i++)
        fine = is_sum(balances[i], whole, parts, 3, 0) && fine;
    for (size_t i = 0; i < sizeof stock / sizeof stock[0]; i++) {
        char key[64];
        snprintf(key, sizeof key, "stock.%s", stock[i]);
        fine = is_sum(key, whole, parts, 3, in_transit(whole, key)) && fine;
    }
    fine = batches_are_shared_out(whole, parts) && fine;
    for (size_t i = 0; i < 3; i++)
        json_decref(parts[i]);
    json_decref(whole);
    return fine;
}

Test(span, a_sites_sum_equals_the_whole_in_open_and_closed_random_months_and_spans)
{
    static const char *const months[] = {"2026-02", "2026-03", "2026-04"};
    struct span span = days("2026-02-20", "2026-03-17");
    uint64_t first = randoms_number("TEST_SEED", 77), n = randoms_number("TEST_MONTHS", 6);
    fprintf(stderr, "seeds %llu and on\n", (unsigned long long)first);
    for (uint64_t i = 0; i < n; i++) {
        struct play *play = random_months(first + i, i % 3 == 2);
        play_put(play, 0);
        for (size_t j = 0; j < 3; j++)
            cr_expect(
                sites_make_the_whole(play, (struct report_ask){.month = play_month(months[j])}),
                "seed %llu, %s", (unsigned long long)(first + i), months[j]);
        cr_expect(sites_make_the_whole(play, (struct report_ask){.span = &span}), "seed %llu",
                  (unsigned long long)(first + i));
        play_free(play);
    }
}

Test(span, a_span_of_one_open_month_is_that_month_byte_for_byte)
{
    static const struct {
        const char *month, *from, *to;
    } rows[] = {{"2026-02", "2026-02-01", "2026-02-28"},
                {"2026-03", "2026-03-01", "2026-03-31"},
                {"2026-04", "2026-04-01", "2026-04-30"}};
    for (uint64_t seed = 500; seed < 506; seed++) {
        struct play *play = random_open_months(seed, seed % 3 == 2);
        play_put(play, 0);
        for (size_t i = 0; i < 3; i++) {
            struct span span = days(rows[i].from, rows[i].to);
            json_t *month = month_json(play, rows[i].month);
            json_t *same = month_asked(play, &(struct report_ask){.span = &span});
            char *a = json_dumps(month, JSON_INDENT(1)), *b = json_dumps(same, JSON_INDENT(1));
            cr_expect(eq(str, a, b), "seed %d, %s", (int)seed, rows[i].month);
            free(a);
            free(b);
            json_decref(month);
            json_decref(same);
        }
        play_free(play);
    }
}

static enum err
hear(void *owner, const struct outcome_told *told)
{
    (void)owner;
    (void)told;
    return ERR_OK;
}

/* The lines of the books of a span; while somebody listens they are folded. Yours. */
static char *
span_text(struct play *play, const struct span *span, bool folded)
{
    struct err_text why = {.s = ""};
    struct books *books = NULL;
    struct behind behind = {.held_most_ms = INT64_MAX,
                            .span = span,
                            .classes = BEHIND_ALL,
                            .told = folded ? hear : NULL};
    cr_assert(eq(int, ledger_behind(play_ledger(play), &behind, &books, NULL, &why), ERR_OK), "%s",
              why.s);
    char *text = play_text(books);
    books_free(books);
    return text;
}

/* Whole months are read from the lines by month, line for line what a fold gives. */
Test(span, a_span_of_whole_months_has_the_books_of_a_fold_line_for_line)
{
    static const char *const rows[][2] = {
        {"2026-02-01", "2026-02-28"}, {"2026-02-01", "2026-03-31"}, {"2026-03-01", "2026-04-30"},
        {"2025-01-01", "2026-12-31"}, {"2026-03-01", "2026-03-31"}, {"2024-01-01", "2024-12-31"}};
    for (uint64_t seed = 700; seed < 712; seed++) {
        struct play *play =
            seed % 2 == 0 ? random_months(seed, seed % 3 == 2) : play_new("kitchen");
        if (seed % 2 != 0)
            random_month(play, seed, 400);
        play_put(play, 50);
        for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
            struct span span = days(rows[i][0], rows[i][1]);
            char *folded = span_text(play, &span, true), *read = span_text(play, &span, false);
            cr_expect(eq(str, folded, read), "seed %d, %s", (int)seed, rows[i][0]);
            free(folded);
            free(read);
        }
        play_free(play);
    }
}

/* Pieces one behind the other: flows add up, each opens as the one before closed. */
static bool
pieces_make_the_whole(struct play *play, const char *const ends[], size_t n)
{
    json_t *parts[8];
    bool fine = true;
    struct span all = days(ends[0], ends[n]);
    all.to--;
    json_t *whole = month_asked(play, &(struct report_ask){.span = &all});
    for (size_t i = 0; i < n; i++) {
        struct span span = days(ends[i], ends[i + 1]);
        span.to--;
        parts[i] = month_asked(play, &(struct report_ask){.span = &span});
    }
    for (size_t i = 0; i < sizeof flows / sizeof flows[0]; i++)
        fine = is_sum(flows[i], whole, parts, n, 0) && fine;
    static const char *const chains[][2] = {{"stock.opening_kg", "stock.closing_kg"},
                                            {"waste.waiting_opening_kg", "waste.waiting_kg"}};
    for (size_t c = 0; c < 2; c++) {
        const char *opening = chains[c][0], *closing = chains[c][1];
        fine = fine && thousandths(parts[0], opening) == thousandths(whole, opening) &&
               thousandths(parts[n - 1], closing) == thousandths(whole, closing);
        for (size_t i = 1; i < n; i++)
            fine = fine && thousandths(parts[i], opening) == thousandths(parts[i - 1], closing);
    }
    for (size_t i = 0; i < n; i++)
        json_decref(parts[i]);
    json_decref(whole);
    return fine;
}

Test(span, spans_one_behind_the_other_make_the_whole)
{
    static const char *const months[] = {"2026-02-01", "2026-03-01", "2026-04-01", "2026-05-01"};
    static const char *const odd[] = {"2026-02-09", "2026-02-10", "2026-03-01",
                                      "2026-03-29", "2026-03-30", "2026-04-22"};
    for (uint64_t seed = 600; seed < 606; seed++) {
        struct play *play = random_months(seed, seed % 3 == 2);
        play_put(play, 0);
        cr_expect(pieces_make_the_whole(play, months, 3), "seed %d", (int)seed);
        cr_expect(pieces_make_the_whole(play, odd, 5), "seed %d", (int)seed);
        play_free(play);
    }
}

/* A night that ends at four: the tub of 03:30 on the 2nd belongs to the 1st (T3). */
Test(span, T3_days_of_a_span_are_business_days)
{
    struct play *play = town_new();
    town_tub(play, "quayside", "T1", 1000, "2026-03-02T03:30:00Z");
    town_tub(play, "quayside", "T2", 300, "2026-03-02T04:30:00Z");
    play_put(play, 0);
    struct span first = days("2026-03-01", "2026-03-01"), second = days("2026-03-02", "2026-03-02");
    json_t *a = month_asked(play, &(struct report_ask){.span = &first});
    json_t *b = month_asked(play, &(struct report_ask){.span = &second});
    cr_expect(eq(str, (char *)month_word(a, "grounds.captured_kg"), "1.000"));
    cr_expect(eq(str, (char *)month_word(b, "grounds.captured_kg"), "0.300"));
    cr_expect(eq(str, (char *)month_word(b, "stock.opening_kg"), "1.000"));
    cr_expect(eq(str, (char *)month_word(b, "period.start"), "2026-03-02"));
    json_decref(a);
    json_decref(b);
    play_free(play);
}

Test(span, a_span_over_a_closed_month_takes_what_came_late_and_names_the_month)
{
    struct play *play = town_new();
    struct span both = days("2026-02-01", "2026-03-31");
    town_tub(play, "quayside", "T1", 1000, "2026-02-10T18:00:00Z");
    play_say(play, "{'kind': 'period-close', 'at': '2026-03-02T12:00:00Z', 'month': '2026-02', "
                   "'edition': 'UK-2024'}");
    play_say(play, "{'kind': 'close', 'at': '2026-02-11T20:00:00Z', 'held': "
                   "'2026-03-03T12:00:00Z', 'site': 'quayside', 'day': '2026-02-11', "
                   "'uncaptured_g': 500, 'uncaptured_method': 'estimated', 'stream': 'bin'}");
    play_put(play, 0);
    json_t *span = month_asked(play, &(struct report_ask){.span = &both});
    cr_expect(eq(str, (char *)month_word(span, "grounds.generated_kg"), "1.500"));
    cr_expect(ne(ptr, strstr(month_word(span, "cautions.0"), "2026-02"), NULL), "%s",
              month_word(span, "cautions.0"));
    json_decref(span);
    play_free(play);
}

Test(span, a_span_is_not_backwards_and_not_over_ten_years)
{
    static const char *const rows[][2] = {{"2026-03-02", "2026-03-01"},
                                          {"2016-01-01", "2026-03-01"}};
    struct play *play = town_new();
    play_put(play, 0);
    for (size_t i = 0; i < 2; i++) {
        struct span span = days(rows[i][0], rows[i][1]);
        struct report_ask ask = {.span = &span};
        struct table_model *model = NULL;
        struct err_text why = {.s = ""};
        cr_expect(eq(int, report_month(play_ledger(play), play_store(play), &ask, &model, &why),
                     ERR_INPUT));
        cr_expect(ne(ptr, strstr(why.s, "3660"), NULL), "%s", why.s);
    }
    play_free(play);
}

/* ---- basis */

Test(span, W10_a_basis_that_is_asked_for_gives_the_figures_of_that_basis_and_says_so)
{
    static const char *const same[] = {"basis",
                                       "waste.generated_kg",
                                       "waste.diverted_kg",
                                       "waste.waiting_kg",
                                       "waste.waiting_opening_kg",
                                       "waste.taken_up_kg",
                                       "waste.drain_kg",
                                       "emissions.inventory_kg_co2e"};
    struct play *by_product = random_open_months(9, false), *waste = random_open_months(9, false);
    play_say(waste, "{'kind': 'basis', 'at': '2026-01-03T00:00:00Z', 'basis': 'waste', 'stage': "
                    "'food-service', 'from': '2026-01-01', 'reason': 'x', 'decided_by': 'OF'}");
    play_put(by_product, 0);
    play_put(waste, 0);
    struct report_ask ask = {.month = play_month("2026-03"), .basis = REPORT_BASIS_WASTE};
    json_t *asked = month_asked(by_product, &ask), *pinned = month_json(waste, "2026-03");
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++)
        cr_expect(eq(str, (char *)month_word(asked, same[i]), (char *)month_word(pinned, same[i])),
                  "%s", same[i]);
    cr_expect(eq(str, (char *)month_word(asked, "basis_in_force"), "by-product"));
    cr_expect(ne(ptr, strstr(month_word(asked, "cautions.0"), "asked for"), NULL));
    cr_expect(eq(str, (char *)month_word(pinned, "basis_in_force"), "-"));
    json_t *again = month_asked(waste, &ask); /* the one that is in force: nothing to say */
    cr_expect(json_equal(again, pinned));
    json_decref(asked);
    json_decref(pinned);
    json_decref(again);
    play_free(by_product);
    play_free(waste);
}
