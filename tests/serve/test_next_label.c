/* Labels on a roll. Hand-worked. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include "daemon/serve/next_label.h"
#include "proto/when.h"

static const struct {
    const char *last, *site, *next;
} labels[] = {
    {"Q-0303-1", "quayside", "Q-0303-2"}, {"Q-0303-9", "quayside", "Q-0303-10"},
    {"Q-0302-7", "quayside", "Q-0303-1"}, {"TQUAe-0009", "quayside", "TQUAe-0010"},
    {"T999", "quayside", "T1000"},        {"", "quayside", "Q-0303-1"},
    {"red", "foundry", "F-0303-1"},       {"12", "quayside", "13"},
    {"Q-9903-1", "quayside", "Q-9903-2"},
};

Test(next_label, goes_on_where_the_roll_is)
{
    int32_t day = day_make(2026, 3, 3);
    for (size_t i = 0; i < sizeof labels / sizeof labels[0]; i++) {
        char out[LABEL_TEXT];
        next_label(labels[i].last, labels[i].site, day, out);
        cr_assert(eq(str, out, (char *)labels[i].next), "%s", labels[i].last);
    }
}
