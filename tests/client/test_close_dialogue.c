/* The guided close, typed line by line. Common practice of forms, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <string.h>
#include "client/close_dialogue.h"
#include "client/command.h"
#include "client/show.h"
#include "proto/when.h"

static int64_t
ms_of(const char *text)
{
    int64_t ms = 0;
    cr_assert(when_parse(text, &ms, NULL), "%s", text);
    return ms;
}

static int32_t
day_of(const char *text)
{
    int32_t day = 0;
    cr_assert(day_parse(text, &day), "%s", text);
    return day;
}

static void
choice(struct close_choices *choices, const char *code)
{
    snprintf(choices->list[choices->n].code, SHEET_CODE, "%s", code);
    choices->n++;
}

/* Quayside at 21:52 on Tuesday 3 March, nothing else open. */
static struct close_hints
quayside(void)
{
    struct close_hints h = {.site = "quayside",
                            .name = "Quayside",
                            .now_ms = ms_of("2026-03-03T21:52:00Z"),
                            .today = day_of("2026-03-03"),
                            .n_open_days = 1,
                            .label = "Q-0303-1",
                            .coffee = "house-dark",
                            .by = "RK",
                            .tare_g = 180,
                            .waste_stream = "food-caddy",
                            .bin_stream = "general",
                            .bin_method = "estimated",
                            .warm_value = "240",
                            .warm_comparator = "<=",
                            .warm_limit_min = 240};
    struct err_text why;
    cr_assert(zone_find("Europe/London", &h.zone, &why) == ERR_OK);
    h.open_days[0] = h.today;
    choice(&h.coffees, "house-dark");
    choice(&h.coffees, "single-light");
    choice(&h.freezers, "quayside-f1");
    choice(&h.streams, "food-caddy");
    choice(&h.streams, "general");
    return h;
}

static enum err
label_taken(void *owner, const char *label, struct err_text *why)
{
    (void)owner;
    return strcmp(label, "Q-0301-1") == 0
               ? err_input(why, "tub", label, "a label that is not in use")
               : ERR_OK;
}

static const struct close_help help = {label_taken, NULL};

/* Everything that was on the screen. */
static char screen[65536];

static struct close_dialogue *
begin(const struct close_hints *hints)
{
    struct close_dialogue *d = NULL;
    struct err_text why;
    cr_assert(close_new(hints, &help, &d, &why) == ERR_OK);
    snprintf(screen, sizeof screen, "%s", close_screen(d));
    return d;
}

/* Types lines, separated by | ; the state after the last. */
static enum close_state
type(struct close_dialogue *d, const char *lines, int64_t now_ms)
{
    enum close_state state = CLOSE_ASKS;
    char line[256];
    for (const char *at = lines;; at++) {
        size_t len = strcspn(at, "|");
        snprintf(line, sizeof line, "%.*s", (int)len, at);
        state = close_line(d, line, now_ms);
        strncat(screen, line, sizeof screen - strlen(screen) - 1);
        strncat(screen, "\n", sizeof screen - strlen(screen) - 1);
        strncat(screen, close_screen(d), sizeof screen - strlen(screen) - 1);
        at += len;
        if (*at == '\0')
            return state;
    }
}

static void
check_widths(void)
{
    for (char *line = strtok(screen, "\n"); line != NULL; line = strtok(NULL, "\n"))
        cr_assert(show_width(line) <= TEXT_WIDTH, "%zu: %s", show_width(line), line);
}

Test(close_dialogue, two_tubs_take_a_few_keys)
{
    struct close_hints h = quayside();
    struct close_dialogue *d = begin(&h);
    /* initials, label, coffee, origin, weight, knock-out, freezer, another ... */
    cr_assert(type(d, "||||3.62 kg|18:10||y||sing||2900|20:05||n|1.9 kg|y", h.now_ms) ==
              CLOSE_WRITES);
    const struct close_sheet *s = close_sheet(d);
    cr_assert(eq(sz, s->n_tubs, 2));
    cr_assert(eq(str, (char *)s->by, "RK"));
    cr_assert(eq(str, (char *)s->tubs[0].label, "Q-0303-1"));
    cr_assert(eq(str, (char *)s->tubs[0].coffee, "house-dark"));
    cr_assert(eq(str, (char *)s->tubs[0].place, "quayside-f1"));
    cr_assert(eq(i64, s->tubs[0].gross_g, 3620));
    cr_assert(eq(i64, s->tubs[0].tare_g, 180));
    cr_assert(eq(i64, s->tubs[0].first_knock_ms, ms_of("2026-03-03T18:10:00Z")));
    cr_assert(eq(i64, s->tubs[0].frozen_ms, h.now_ms));
    cr_assert(eq(str, (char *)s->tubs[1].label, "Q-0303-2"));
    cr_assert(eq(str, (char *)s->tubs[1].coffee, "single-light"));
    cr_assert(eq(i64, s->tubs[1].gross_g, 2900));
    cr_assert(eq(i64, s->bin_g, 1900));
    cr_assert(eq(str, (char *)s->bin_method, "estimated"));
    cr_assert(eq(str, (char *)s->bin_stream, "general"));
    cr_assert(strstr(screen, "box 0.18 kg, grounds 3.44 kg") != NULL);
    check_widths();
    close_free(d);
}

Test(close_dialogue, a_tub_over_the_warm_limit_is_thrown_away_unless_kept)
{
    struct close_hints h = quayside();
    struct close_dialogue *d = begin(&h);
    cr_assert(type(d, "||||3.62 kg|17:40||t||n||y", h.now_ms) == CLOSE_WRITES);
    cr_assert(strstr(screen, "4 h 12 min warm") != NULL);
    const struct close_sheet *s = close_sheet(d);
    cr_assert(s->tubs[0].thrown);
    cr_assert(eq(str, (char *)s->tubs[0].reason, "stood too long"));
    json_t *records = close_sheet_records(s, &h);
    cr_assert(eq(sz, json_array_size(records), 3));
    const json_t *discard = json_array_get(records, 1);
    cr_assert(eq(str, (char *)json_string_value(json_object_get(discard, "kind")), "discard"));
    cr_assert(eq(str, (char *)json_string_value(json_object_get(discard, "stream")), "food-caddy"));
    const json_t *close = json_array_get(records, 2);
    cr_assert_null(json_object_get(close, "nothing_kept"));
    cr_assert_null(json_object_get(close, "uncaptured_g")); /* enter: not known */
    json_decref(records);
    check_widths();
    close_free(d);
}

Test(close_dialogue, exactly_the_limit_is_over_only_when_the_limit_says_less_than)
{
    struct close_hints h = quayside();
    struct close_tub tub = {.first_knock_ms = 0, .frozen_ms = 240 * 60000};
    cr_assert(not(close_is_warm(&h, &tub)));
    snprintf(h.warm_comparator, sizeof h.warm_comparator, "<");
    cr_assert(close_is_warm(&h, &tub));
    tub.frozen_ms -= 1;
    cr_assert(not(close_is_warm(&h, &tub)));
}

Test(close_dialogue, a_warm_tub_can_be_kept)
{
    struct close_hints h = quayside();
    struct close_dialogue *d = begin(&h);
    cr_assert(type(d, "||||3.62 kg|17:40||k|n||y", h.now_ms) == CLOSE_WRITES);
    cr_assert(not(close_sheet(d)->tubs[0].thrown));
    close_free(d);
}

Test(close_dialogue, nothing_kept_today_takes_three_answers)
{
    struct close_hints h = quayside();
    struct close_dialogue *d = begin(&h);
    cr_assert(type(d, "|none|4.2|y", h.now_ms) == CLOSE_WRITES);
    json_t *records = close_sheet_records(close_sheet(d), &h);
    cr_assert(eq(sz, json_array_size(records), 1));
    bool nothing = json_is_true(json_object_get(json_array_get(records, 0), "nothing_kept"));
    cr_assert(nothing);
    cr_assert(eq(i64,
                 json_integer_value(json_object_get(json_array_get(records, 0), "uncaptured_g")),
                 4200));
    json_decref(records);
    close_free(d);
}

static const struct {
    const char *name, *lines, *says;
} nonsense[] = {
    {"label in use", "|Q-0301-1", "a label that is not in use"},
    {"label with a blank", "|Q 1", "a label without blanks"},
    {"unknown coffee", "||hose-drk", "house-dark, single-light"},
    {"weight without a unit", "||||5", "kg or g behind the number"},
    {"net of nothing", "||||0.18 kg", "more than the empty box"},
    {"a lorry", "||||900 kg", "1 g to 60 kg"},
    {"no weight", "||||", "a weight such as"},
    {"knocked out tomorrow", "||||3.62 kg|23:30", "a time that has been"},
    {"frozen before knocked out", "||||3.62 kg|18:10|17:00", "a time after the first knock-out"},
    {"frozen in the future", "||||3.62 kg|18:10|23:10", "a time that has been"},
};

Test(close_dialogue, nonsense_is_asked_again_at_once)
{
    struct close_hints h = quayside();
    for (size_t i = 0; i < sizeof nonsense / sizeof nonsense[0]; i++) {
        struct close_dialogue *d = begin(&h);
        cr_assert(type(d, nonsense[i].lines, h.now_ms) == CLOSE_ASKS);
        cr_assert(strstr(close_screen(d), nonsense[i].says) != NULL, "%s: %s", nonsense[i].name,
                  close_screen(d));
        check_widths();
        close_free(d);
    }
}

Test(close_dialogue, b_goes_back_one_question_and_offers_what_was_typed)
{
    struct close_hints h = quayside();
    struct close_dialogue *d = begin(&h);
    cr_assert(type(d, "||||3.62 kg|18:10|b", h.now_ms) == CLOSE_ASKS);
    cr_assert(strstr(close_screen(d), "First knock-out [18:10]") != NULL, "%s", close_screen(d));
    cr_assert(type(d, "b", h.now_ms) == CLOSE_ASKS);
    cr_assert(strstr(close_screen(d), "Gross weight    [3.62 kg]") != NULL, "%s", close_screen(d));
    cr_assert(type(d, "3.26 kg|||n||y", h.now_ms) == CLOSE_WRITES);
    cr_assert(eq(i64, close_sheet(d)->tubs[0].gross_g, 3260));
    cr_assert(eq(i64, close_sheet(d)->tubs[0].first_knock_ms, ms_of("2026-03-03T18:10:00Z")));
    close_free(d);
}

Test(close_dialogue, b_works_from_the_sheet_back_to_the_first_question)
{
    struct close_hints h = quayside();
    struct close_dialogue *d = begin(&h);
    cr_assert(type(d, "||||3.62 kg|18:10||n|1.9 kg", h.now_ms) == CLOSE_ASKS);
    for (int i = 0; i < 12; i++)
        cr_assert(type(d, "b", h.now_ms) == CLOSE_ASKS);
    cr_assert(strstr(close_screen(d), "Your initials") != NULL, "%s", close_screen(d));
    cr_assert(eq(sz, close_sheet(d)->n_tubs, 0));
    close_free(d);
}

Test(close_dialogue, another_box_is_said_at_the_weight)
{
    struct close_hints h = quayside();
    struct close_dialogue *d = begin(&h);
    cr_assert(type(d, "||||box 0.21|3.62|18:10||n||y", h.now_ms) == CLOSE_WRITES);
    cr_assert(eq(i64, close_sheet(d)->tubs[0].tare_g, 210));
    close_free(d);
}

Test(close_dialogue, the_first_box_of_a_site_is_asked)
{
    struct close_hints h = quayside();
    h.tare_g = -1;
    struct close_dialogue *d = begin(&h);
    cr_assert(type(d, "||||3.62|0.2|18:10||n||y", h.now_ms) == CLOSE_WRITES);
    cr_assert(eq(i64, close_sheet(d)->tubs[0].tare_g, 200));
    close_free(d);
}

Test(close_dialogue, the_morning_after_offers_the_evening_before)
{
    struct close_hints h = quayside();
    h.now_ms = ms_of("2026-03-04T00:30:00Z");
    h.today = day_of("2026-03-04");
    h.n_open_days = 2;
    h.open_days[0] = day_of("2026-03-03");
    h.open_days[1] = h.today;
    struct close_dialogue *d = begin(&h);
    cr_assert(strstr(screen, "Which day       [yesterday]") != NULL, "%s", screen);
    cr_assert(type(d, "|||||3.62|21:30|00:20|n||y", h.now_ms) == CLOSE_WRITES);
    const struct close_sheet *s = close_sheet(d);
    cr_assert(eq(i32, s->day, day_of("2026-03-03")));
    cr_assert(eq(i64, s->tubs[0].first_knock_ms, ms_of("2026-03-03T21:30:00Z")));
    cr_assert(eq(i64, s->tubs[0].frozen_ms, ms_of("2026-03-04T00:20:00Z")));
    close_free(d);
}

Test(close_dialogue, a_day_that_is_closed_takes_tubs_only)
{
    struct close_hints h = quayside();
    h.n_open_days = 0;
    h.closed_today = true;
    struct close_dialogue *d = begin(&h);
    cr_assert(type(d, "||||3.62|20:10||n|y", h.now_ms) == CLOSE_WRITES);
    json_t *records = close_sheet_records(close_sheet(d), &h);
    cr_assert(eq(sz, json_array_size(records), 1));
    json_decref(records);
    close_free(d);
}

Test(close_dialogue, what_was_typed_is_offered_another_time)
{
    struct close_hints h = quayside();
    struct close_dialogue *d = begin(&h);
    const char *const typed[] = {"RK", "Q-0303-1", "single-light", "filter", "3.62 kg", "18:10"};
    close_offer(d, typed, 6);
    cr_assert(type(d, "|||||||n||y", h.now_ms) == CLOSE_WRITES);
    cr_assert(eq(str, (char *)close_sheet(d)->tubs[0].coffee, "single-light"));
    cr_assert(eq(str, (char *)close_sheet(d)->tubs[0].origin, "filter"));
    cr_assert(eq(i64, close_sheet(d)->tubs[0].gross_g, 3620));
    close_free(d);
}

Test(close_dialogue, hostile_input_and_names_do_not_reach_the_terminal)
{
    struct close_hints h = quayside();
    snprintf(h.name, sizeof h.name, "Quay\033[2Jside");
    struct close_dialogue *d = begin(&h);
    cr_assert(type(d, "\033[1mRK|\033]0;x\a|b|b", h.now_ms) == CLOSE_ASKS);
    for (const char *c = close_screen(d); *c != '\0'; c++)
        cr_assert(ne(chr, *c, '\033'));
    close_free(d);
}

Test(close_dialogue, any_lines_at_all_keep_it_standing)
{
    static const char *const bits[] = {"",     "b",  "y", "n",    "none", "3.62 kg",  "17:40",
                                       "now",  "k",  "t", "\xff", "0",    "box",      "box 1",
                                       "back", "-1", "b", "Q-9",  "x y",  "1.9, w, g"};
    struct close_hints h = quayside();
    unsigned seed = 20260303;
    for (int round = 0; round < 200; round++) {
        struct close_dialogue *d = begin(&h);
        for (int i = 0; i < 60; i++) {
            seed = seed * 1103515245u + 12345u;
            if (close_line(d, bits[(seed >> 16) % (sizeof bits / sizeof bits[0])], h.now_ms) !=
                CLOSE_ASKS)
                break;
        }
        close_free(d);
    }
}

Test(close_dialogue, freezers_that_are_read_are_asked_and_a_warm_one_wants_words)
{
    struct close_hints h = quayside();
    h.freezers.list[0].is_read = true;
    snprintf(h.freezers.list[0].max_c, sizeof h.freezers.list[0].max_c, "-15");
    struct close_dialogue *d = begin(&h);
    cr_assert(type(d, "|none|warm|-14,9 C|door was open, shut it|still hard, kept|0|y", h.now_ms) ==
              CLOSE_WRITES);
    const struct close_sheet *s = close_sheet(d);
    cr_assert(eq(sz, s->n_readings, 1));
    cr_assert(eq(str, (char *)s->readings[0].temp_c, "-14.9"));
    cr_assert(eq(str, (char *)s->readings[0].disposition, "still hard, kept"));
    json_t *records = close_sheet_records(s, &h);
    cr_assert(eq(sz, json_array_size(records), 2));
    json_decref(records);
    check_widths();
    close_free(d);

    d = begin(&h);
    cr_assert(type(d, "|none|-18.5|0|y", h.now_ms) == CLOSE_WRITES);
    cr_assert(eq(sz, close_sheet(d)->n_readings, 1));
    close_free(d);

    d = begin(&h); /* enter: not read; and back over it */
    cr_assert(type(d, "|none|-18.5|b||b|-20||y", h.now_ms) == CLOSE_WRITES);
    cr_assert(eq(str, (char *)close_sheet(d)->readings[0].temp_c, "-20"));
    cr_assert(eq(sz, close_sheet(d)->n_readings, 1));
    close_free(d);
}
