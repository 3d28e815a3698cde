/* fuzz_amount.c - numbers, amounts, days and times as people and peers write them: what is taken
 * prints as text that is taken as the same. */
#include <stdlib.h>
#include <string.h>

#include "client/amount.h"
#include "daemon/base/zone_rule.h"
#include "proto/decimal.h"
#include "proto/text.h"
#include "proto/when.h"
#include "tests/fuzz/fuzz.h"

enum {
    AHEAD_MOST_MS = 5 * 60 * 1000 /* a watch on the wall may be this far ahead */
};

static void
must(bool fact)
{
    if (!fact)
        abort();
}

static void
try_times(const char *text)
{
    char out[WHEN_TEXT];
    int64_t ms = 0, again = 0;
    int offset = 0, minutes = hhmm_minutes(text);
    int32_t day = 0, day_again = 0, month = 0, month_again = 0;
    must(minutes >= -1 && minutes <= 24 * 60);
    if (when_parse(text, &ms, &offset))
        must(when_parse(when_print(ms, offset, out), &again, NULL) && again == ms);
    if (day_parse(text, &day))
        must(day_parse(day_print(day, out), &day_again) && day_again == day);
    if (month_parse(text, &month))
        must(month_parse(month_print(month, out), &month_again) && month_again == month);
}

static void
try_decimal(const char *text)
{
    struct err_text why = {.s = ""};
    struct decimal value, again;
    char out[DECIMAL_TEXT_MAX];
    (void)decimal_text_good(text);
    if (decimal_parse(text, &value, &why) != ERR_OK)
        return;
    must(decimal_is_number(text));
    must(decimal_parse(decimal_print(&value, out), &again, &why) == ERR_OK &&
         decimal_compare(&value, &again) == 0);
    struct decimal half = decimal_round(&value, 3);
    (void)decimal_print_places(&half, 3, out);
    (void)decimal_double(&value);
}

static void
try_names(const char *text)
{
    uint8_t id[UUID_SIZE], again[UUID_SIZE];
    char out[UUID_TEXT];
    if (uuid_parse(text, id))
        must(uuid_parse(uuid_print(id, out), again) && memcmp(id, again, sizeof id) == 0);
    (void)hex_parse(text, sizeof id, id);
}

static void
try_typed(const char *text)
{
    struct err_text why = {.s = ""};
    const struct zone *zone = NULL;
    int64_t grams = 0, ms = 0;
    if (amount_mass("gross", text, &grams, &why) == ERR_OK)
        must(grams >= 0 && grams <= 1000000000);
    if (zone_find("Europe/London", &zone, &why) != ERR_OK)
        return;
    struct amount_day day = {zone, 20515, 240, INT64_C(1772574720000)};
    if (amount_time("frozen", text, &day, &ms, &why) == ERR_OK)
        must(ms <= day.now_ms + AHEAD_MOST_MS);
}

static void
try_rule(const char *text)
{
    struct zone_rule rule;
    if (!zone_rule_parse(text, &rule))
        return;
    for (int64_t at = 0; at < INT64_C(3000000000); at += 123456789)
        must(abs(zone_rule_offset(&rule, at)) <= 26 * 3600);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *text = strndup((const char *)data, size);
    must(text != NULL);
    try_times(text);
    try_decimal(text);
    try_names(text);
    try_typed(text);
    try_rule(text);
    free(text);
    return 0;
}
