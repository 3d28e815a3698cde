/* test_clock.c - ids and the machine's clocks. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "daemon/base/clock.h"
#include "proto/text.h"

static int64_t
example_now(void *owner)
{
    (void)owner;
    return 0x017F22E279B0;
}

/* The random bits of the example: 0xCC3, then 0x18C4DC0C0C07398F in the last 62. */
static void
example_random(void *owner, void *bytes, size_t n)
{
    static const uint8_t bits[] = {0x0C, 0xC3, 0x18, 0xC4, 0xDC, 0x0C, 0x0C, 0x07, 0x39, 0x8F};
    (void)owner;
    memcpy(bytes, bits, n);
}

Test(clock, the_uuid_v7_of_rfc_9562_comes_out) /* appendix A.6 */
{
    struct clock clock = {.now_ms = example_now, .random = example_random};
    uint8_t id[16];
    char out[UUID_TEXT];
    clock_new_id(&clock, id);
    cr_expect(eq(str, uuid_print(id, out), "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"));
}

Test(clock, the_machine_has_a_clock_a_boot_and_randomness)
{
    struct clock clock = clock_system();
    struct clock again = clock_system();
    static const uint8_t none[16] = {0};
    uint8_t a[16];
    uint8_t b[16];
    cr_expect(clock.now_ms(NULL) > INT64_C(1700000000000));
    uint64_t before = clock.mono_ms(NULL);
    cr_expect(clock.mono_ms(NULL) >= before);
    cr_expect(memcmp(clock.boot, again.boot, 8) == 0);
    cr_expect(memcmp(clock.boot, none, 8) != 0);
    (void)clock.synchronised(NULL);
    clock_new_id(&clock, a);
    clock_new_id(&clock, b);
    cr_expect(memcmp(a, b, 16) != 0);
}
