/* desk.c - see desk.h. */
#include "tests/fuzz/desk.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int64_t
now(void *owner)
{
    return ((struct desk *)owner)->now_ms;
}

static uint64_t
mono(void *owner)
{
    return (uint64_t)(((struct desk *)owner)->now_ms - INT64_C(1767225600000));
}

static bool
sure(void *owner)
{
    (void)owner;
    return true;
}

static void
chance(void *owner, void *bytes, size_t n)
{
    struct desk *desk = owner;
    for (size_t i = 0; i < n; i++) {
        desk->random = desk->random * 6364136223846793005U + 1442695040888963407U;
        ((uint8_t *)bytes)[i] = (uint8_t)(desk->random >> 33);
    }
}

void
desk_open(struct desk *desk, const char *site)
{
    struct err_text why = {.s = ""};
    memset(desk, 0, sizeof *desk);
    const char *place = access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp";
    (void)snprintf(desk->dir, sizeof desk->dir, "%s/knockbox-fuzz-XXXXXX", place);
    if (mkdtemp(desk->dir) == NULL)
        abort();
    desk->now_ms = INT64_C(1772574720000);
    desk->random = 1;
    desk->clock = (struct clock){now, mono, sure, chance, {1, 2, 3}, desk};
    struct store_options options = {
        .site = site, .map_mib = 16, .most_mib = 64, .ballast_kib = 4, .clock = desk->clock};
    if (store_open(desk->dir, &options, &desk->store, &why) != ERR_OK) {
        (void)fprintf(stderr, "desk: %s\n", why.s);
        abort();
    }
}

void
desk_close(struct desk *desk)
{
    static const char *const files[] = {"data.mdb", "lock.mdb", "lock", "ballast"};
    char path[128];
    store_close(desk->store);
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        (void)snprintf(path, sizeof path, "%s/%s", desk->dir, files[i]);
        (void)unlink(path); /* may not be there */
    }
    if (rmdir(desk->dir) != 0)
        abort();
}

bool
next_piece(const uint8_t **data, size_t *size, uint8_t *out_who, const uint8_t **out_bytes,
           size_t *out_len)
{
    if (*size < 3)
        return false;
    size_t len = (size_t)((*data)[1] << 8 | (*data)[2]);
    *out_who = (*data)[0];
    *data += 3;
    *size -= 3;
    *out_len = len < *size ? len : *size;
    *out_bytes = *data;
    *data += *out_len;
    *size -= *out_len;
    return true;
}
