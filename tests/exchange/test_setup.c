/* test_setup.c - delivery.conf: the example, secrets, and when a schedule falls due.
 *
 * Sources: instants of clock changes of 2026 from tzdata, worked out by hand; the rest is the
 * promise of docs/operations.md, "Delivery". */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <criterion/parameterized.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/exchange/schedule.h"
#include "daemon/exchange/setup.h"
#include "proto/when.h"

static const struct config_table *const tables[] = {&setup_targets, &setup_schedules,
                                                    &setup_alerts};

/* Every key stands in the example, with its words, and in the manual. */
Test(setup, the_example_and_the_manual_name_every_key)
{
    char *example = NULL, *manual = NULL;
    size_t len = 0;
    cr_assert(file_read(TEST_SOURCE "/deploy/delivery.conf", &example, &len, NULL) == ERR_OK);
    cr_assert(file_read(TEST_SOURCE "/docs/man/knockbox-hub.8", &manual, &len, NULL) == ERR_OK);
    for (size_t t = 0; t < 3; t++)
        for (size_t i = 0; i < tables[t]->n; i++) {
            char line[128];
            snprintf(line, sizeof line, "\n#%s ", tables[t]->items[i].key);
            cr_expect(strstr(example, line) != NULL, "%s", line);
            cr_expect(strstr(example, tables[t]->items[i].doc) != NULL, "%s", line);
            snprintf(line, sizeof line, ".It Cm %s\n", tables[t]->items[i].key);
            cr_expect(strstr(manual, line) != NULL, "%s", line);
        }
    free(example);
    free(manual);
}

Test(setup, the_number_of_the_line_is_right_in_a_later_section)
{
    static const char text[] = "# one\n\ntarget a\nurl https://h/\n\nalerts\nto a\nevery never\n";
    struct setup *setup = NULL;
    struct err_text why = {.s = ""};
    cr_assert(setup_parse("/tmp", "x.conf", text, strlen(text), &setup, &why) == ERR_INPUT);
    cr_expect(strstr(why.s, "x.conf line 8: every") != NULL, "%s", why.s);
}

Test(setup, a_secret_is_read_and_never_repeated_in_a_message)
{
    char dir[] = "/tmp/knockbox-setup-XXXXXX", path[64];
    static const char text[] = "target a\nurl https://h/\ncredentials s\n";
    struct setup *setup = NULL;
    struct err_text why = {.s = ""};
    struct secret secret;
    cr_assert(mkdtemp(dir) != NULL);
    snprintf(path, sizeof path, "%s/s", dir);
    cr_assert(file_write(dir, "s", "user mara\npassword a b\n", 23, 0600, &why) == ERR_OK);
    cr_assert(setup_parse(dir, "x", text, strlen(text), &setup, &why) == ERR_OK, "%s", why.s);
    const struct target *target = setup_target(setup, "a");
    cr_assert(setup_secret(setup, target, &secret, &why) == ERR_OK);
    cr_expect(eq(str, secret.user, "mara"));
    cr_expect(eq(str, secret.password, "a b"));
    cr_assert(file_write(dir, "s", "user mara\npasword sesame\n", 25, 0600, &why) == ERR_OK);
    cr_assert(setup_secret(setup, target, &secret, &why) == ERR_INPUT);
    cr_expect(strstr(why.s, "line 2") != NULL && strstr(why.s, "sesame") == NULL, "%s", why.s);
    cr_assert(chmod(path, 0640) == 0);
    cr_expect(setup_secret(setup, target, &secret, &why) == ERR_DENIED);
    setup_free(setup);
    unlink(path);
    rmdir(dir);
}

static const struct {
    const char *name, *zone;
    int day, minute;
    const char *month, *instant;
} dues[] = {
    {"winter", "Europe/London", 3, 420, "2026-02", "2026-02-03T07:00:00+00:00"},
    {"summer", "Europe/London", 3, 420, "2026-06", "2026-06-03T06:00:00+00:00"},
    {"an hour that comes twice is the first", "Europe/London", 25, 90, "2026-10",
     "2026-10-25T00:30:00+00:00"},
    {"an hour that does not come is one later", "America/New_York", 8, 150, "2026-03",
     "2026-03-08T07:30:00+00:00"},
    {"east of the date line of UTC", "Pacific/Auckland", 1, 0, "2026-01",
     "2025-12-31T11:00:00+00:00"},
};

Test(schedule, falls_due_on_the_clock_of_the_site)
{
    for (size_t i = 0; i < sizeof dues / sizeof dues[0]; i++) {
        struct schedule schedule = {.day = dues[i].day, .minute = dues[i].minute};
        const struct zone *zone = NULL;
        int32_t month = 0;
        char text[WHEN_TEXT];
        cr_assert(zone_find(dues[i].zone, &zone, NULL) == ERR_OK);
        cr_assert(month_parse(dues[i].month, &month));
        int64_t at = schedule_instant(&schedule, zone, month);
        cr_expect(eq(str, when_print(at, 0, text), (char *)dues[i].instant), "%s", dues[i].name);
        cr_expect(eq(i32, schedule_last(&schedule, zone, at), month), "%s", dues[i].name);
        cr_expect(eq(i32, schedule_last(&schedule, zone, at - 1), month - 1), "%s", dues[i].name);
    }
}
