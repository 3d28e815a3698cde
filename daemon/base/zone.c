/* zone.c - zoneinfo files (RFC 9636): found by name, read once, kept. */
#include "daemon/base/zone.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/zone_rule.h"
#include "proto/text.h"
#include "proto/when.h"

#define ZONE_FOLDER "/usr/share/zoneinfo/"

enum {
    NAME_MOST = 64,
    FILE_MOST = 256 * 1024,
    HEADER_SIZE = 44,
    TYPE_SIZE = 6,
    RULE_TEXT = 128,
};

struct zone {
    struct zone *next;
    char name[NAME_MOST + 1];
    size_t n;          /* changes */
    int64_t *at_s;     /* when, rising */
    int32_t *offset_s; /* what holds from then on */
    int32_t first_s;   /* what holds before all of them */
    bool has_rule;
    struct zone_rule rule; /* what holds after all of them */
};

/* Every zone that was asked for. One thread asks. */
static struct zone *known;

/* ---- the file's bytes */

struct reader {
    const uint8_t *at;
    size_t left;
};

/* n bytes, NULL when there are not so many. */
static const uint8_t *
take(struct reader *reader, size_t n)
{
    if (n > reader->left)
        return NULL;
    const uint8_t *at = reader->at;
    reader->at += n;
    reader->left -= n;
    return at;
}

static int64_t
big_endian(const uint8_t *bytes, int n)
{
    uint64_t value = bytes[0] >= 0x80 ? UINT64_MAX : 0;
    for (int i = 0; i < n; i++)
        value = value << 8 | bytes[i];
    return (int64_t)value;
}

/* The six counts of a header, in the file's order. */
struct counts {
    uint8_t version;
    size_t isut, isstd, leap, time, type, letters;
};

static bool
read_counts(struct reader *reader, struct counts *counts)
{
    size_t *const fields[] = {&counts->isut, &counts->isstd, &counts->leap,
                              &counts->time, &counts->type,  &counts->letters};
    const uint8_t *header = take(reader, HEADER_SIZE);
    if (header == NULL || memcmp(header, "TZif", 4) != 0)
        return false;
    counts->version = header[4];
    for (size_t i = 0; i < 6; i++)
        *fields[i] = (size_t)(uint32_t)big_endian(header + 20 + 4 * i, 4);
    return true;
}

/* Bytes of the data behind a header, with times of `time_size` bytes. */
static size_t
data_size(const struct counts *counts, size_t time_size)
{
    return counts->time * (time_size + 1) + counts->type * TYPE_SIZE + counts->letters +
           counts->leap * (time_size + 4) + counts->isstd + counts->isut;
}

static bool
read_changes(struct zone *zone, const struct counts *counts, const uint8_t *data)
{
    const uint8_t *indices = data + counts->time * 8;
    const uint8_t *types = indices + counts->time;
    zone->n = counts->time;
    zone->at_s = calloc(zone->n + 1, sizeof *zone->at_s);
    zone->offset_s = calloc(zone->n + 1, sizeof *zone->offset_s);
    if (zone->at_s == NULL || zone->offset_s == NULL)
        return false;
    zone->first_s = (int32_t)big_endian(types, 4);
    for (size_t i = 0; i < zone->n; i++) {
        if (indices[i] >= counts->type)
            return false;
        zone->at_s[i] = big_endian(data + i * 8, 8);
        zone->offset_s[i] = (int32_t)big_endian(types + (size_t)indices[i] * TYPE_SIZE, 4);
    }
    return true;
}

/* "\nGMT0BST,M3.5.0/1,M10.5.0\n"; nothing between means no rule. */
static bool
read_footer(struct zone *zone, struct reader *reader)
{
    char text[RULE_TEXT];
    const uint8_t *begin = take(reader, 1);
    const uint8_t *end = begin != NULL ? memchr(reader->at, '\n', reader->left) : NULL;
    if (end == NULL || *begin != '\n' || (size_t)(end - reader->at) >= sizeof text)
        return false;
    size_t n = (size_t)(end - reader->at);
    memcpy(text, reader->at, n);
    text[n] = '\0';
    zone->has_rule = n > 0;
    return n == 0 || zone_rule_parse(text, &zone->rule);
}

static bool
read_zone(struct zone *zone, struct reader reader)
{
    struct counts counts = {0};
    if (!read_counts(&reader, &counts) || counts.version < '2')
        return false;
    if (take(&reader, data_size(&counts, 4)) == NULL || !read_counts(&reader, &counts))
        return false;
    const uint8_t *data = take(&reader, data_size(&counts, 8));
    return data != NULL && counts.type > 0 && read_changes(zone, &counts, data) &&
           read_footer(zone, &reader);
}

/* ---- finding */

/* No way out of the folder, none of the copies that count leap seconds. */
static bool
name_good(const char *name)
{
    static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789"
                                  "_+-/";
    static const char *const others[] = {"Factory", "localtime", "posixrules"};
    size_t n = strlen(name);
    if (n == 0 || n > NAME_MOST || name[strspn(name, letters)] != '\0' || name[0] == '/')
        return false;
    if (strncmp(name, "right/", 6) == 0 || strncmp(name, "posix/", 6) == 0)
        return false;
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (strcmp(name, others[i]) == 0)
            return false;
    return true;
}

static bool
read_file(struct zone *zone)
{
    char path[sizeof ZONE_FOLDER + NAME_MOST];
    (void)snprintf(path, sizeof path, "%s%s", ZONE_FOLDER, zone->name);
    FILE *file = fopen(path, "re");
    uint8_t *bytes = file != NULL ? malloc(FILE_MOST) : NULL;
    size_t n = bytes != NULL ? fread(bytes, 1, FILE_MOST, file) : 0; /* a folder gives nothing */
    bool good = n > 0 && read_zone(zone, (struct reader){bytes, n});
    free(bytes);
    if (file != NULL)
        (void)fclose(file);
    return good;
}

static void
zone_free(struct zone *zone)
{
    if (zone == NULL)
        return;
    free(zone->at_s);
    free(zone->offset_s);
    free(zone);
}

enum err
zone_find(const char *name, const struct zone **out_zone, struct err_text *why)
{
    for (const struct zone *zone = known; zone != NULL; zone = zone->next)
        if (strcmp(zone->name, name) == 0) {
            *out_zone = zone;
            return ERR_OK;
        }
    struct zone *zone = calloc(1, sizeof *zone);
    if (zone == NULL)
        return err_set(ERR_MEM, why, "no memory for a time zone");
    char shown[NAME_MOST + 1];
    (void)snprintf(zone->name, sizeof zone->name, "%s", name);
    if (!name_good(name) || !read_file(zone)) {
        zone_free(zone);
        return err_input(why, "zone", text_shown(name, shown, sizeof shown),
                         "an IANA time zone such as Europe/London");
    }
    zone->next = known;
    known = zone;
    *out_zone = zone;
    return ERR_OK;
}

/* ---- asking */

/* The number of changes not after the instant. */
static size_t
changes_until(const struct zone *zone, int64_t at_s)
{
    size_t low = 0;
    size_t high = zone->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (zone->at_s[middle] <= at_s)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static int
offset_min(const struct zone *zone, int64_t at_s)
{
    size_t n = changes_until(zone, at_s);
    if (n == zone->n && zone->has_rule)
        return zone_rule_offset(&zone->rule, at_s) / 60;
    return (n == 0 ? zone->first_s : zone->offset_s[n - 1]) / 60;
}

int
zone_offset_min(const struct zone *zone, int64_t at_ms)
{
    return offset_min(zone, at_ms / 1000 - (at_ms % 1000 < 0));
}

/* Instants whose wall clock is `local_s`: none, one, or two in rising order. A change lies at most
 * 26 h from a wall clock taken for UTC, so the offsets around it are all there can be. */
static int
candidates(const struct zone *zone, int64_t local_s, int64_t out_s[2])
{
    enum {
        STEP_S = 13 * 3600,
        WIDE_S = 2 * STEP_S
    };
    int n = 0;
    for (int64_t near = local_s - WIDE_S; near <= local_s + WIDE_S; near += STEP_S) {
        int offset = offset_min(zone, near);
        int64_t at = local_s - (int64_t)offset * 60;
        bool seen = (n > 0 && out_s[0] == at) || (n > 1 && out_s[1] == at);
        if (n < 2 && !seen && offset_min(zone, at) == offset)
            out_s[n++] = at;
    }
    if (n == 2 && out_s[1] < out_s[0]) {
        int64_t later = out_s[0];
        out_s[0] = out_s[1];
        out_s[1] = later;
    }
    return n;
}

enum err
zone_instant(const struct zone *zone, int32_t day, int minute_of_day, int64_t *out_ms,
             bool *out_twice, struct err_text *why)
{
    int64_t at_s[2] = {0, 0};
    int n = candidates(zone, (int64_t)day * 86400 + (int64_t)minute_of_day * 60, at_s);
    if (n == 0) {
        char date[DAY_TEXT];
        char got[32];
        char want[128];
        (void)snprintf(got, sizeof got, "%s %02d:%02d", day_print(day, date),
                       minute_of_day / 60 % 100, minute_of_day % 60);
        (void)snprintf(want, sizeof want, "a local time that exists: clocks go forward in %s",
                       zone->name);
        return err_input(why, "time", got, want);
    }
    *out_ms = at_s[0] * 1000;
    if (out_twice != NULL)
        *out_twice = n == 2;
    return ERR_OK;
}
