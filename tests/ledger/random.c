/* random.c - see random.h. */
#include "tests/ledger/random.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "proto/when.h"

enum {
    IDS_MOST = 4000,
    BODY_MOST = 700
};

struct made {
    char id[40];
    char kind[16];
    char body[BODY_MOST]; /* fields without braces */
};

struct maker {
    struct play *play;
    uint64_t seed;
    struct made made[IDS_MOST];
    size_t n;
};

static uint64_t
next(struct maker *m)
{
    uint64_t z = (m->seed += 0x9E3779B97F4A7C15U);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9U;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBU;
    return z ^ (z >> 31);
}

static int
below(struct maker *m, int n)
{
    return (int)(next(m) % (uint64_t)n);
}

static const char *const sites[] = {"kitchen", "alpha", "beta"};
static const char *const streams[] = {"bin", "caddy", "sink", "nowhere"};

static const char *
site(struct maker *m)
{
    return sites[below(m, 3)];
}

/* Four days of March from the 29th on, on the hour: ties, a month's end, a change of clocks. */
static int64_t
instant(struct maker *m)
{
    return play_ms("2026-03-28T22:00:00Z") + below(m, 96) * (int64_t)3600000;
}

static void
tub_body(struct maker *m, char *out)
{
    int64_t knock = instant(m);
    char a[WHEN_TEXT], b[WHEN_TEXT];
    (void)snprintf(out, BODY_MOST,
                   "'tub': 'T%d', 'coffee': 'house', 'origin': 'filter', 'gross_g': %d, 'tare_g': "
                   "180, 'method': '%s', 'first_knock': '%s', 'frozen': '%s', 'place': '%s-f%d'",
                   below(m, 12), 1000 + below(m, 3000), below(m, 2) ? "weighed" : "estimated",
                   when_print(knock, 0, a), when_print(knock + below(m, 6) * 3600000, 0, b),
                   site(m), 1 + below(m, 3));
}

static void
close_body(struct maker *m, char *out)
{
    (void)snprintf(out, BODY_MOST, "'day': '2026-03-%02d'%s%s", 28 + below(m, 4),
                   below(m, 3) ? ", 'uncaptured_g': 500, 'uncaptured_method': 'weighed', 'stream': "
                                 "'bin'"
                               : "",
                   below(m, 3) ? "" : ", 'nothing_kept': true");
}

static void
shift_body(struct maker *m, char *out)
{
    static const char *const states[] = {", 'state': 'chilled'", ", 'state': 'frozen'",
                                         ", 'state': 'thawing'", ""};
    int64_t from = instant(m);
    char a[WHEN_TEXT], b[WHEN_TEXT];
    (void)snprintf(out, BODY_MOST, "'tub': 'T%d', 'from': '%s', 'to': '%s'%s", below(m, 12),
                   when_print(from, 0, a), when_print(from + 3600000 * (1 + below(m, 5)), 0, b),
                   states[below(m, 4)]);
}

static void
discard_body(struct maker *m, char *out)
{
    static const char *const what[] = {"tub", "lot", "batch"};
    static const char *const codes[] = {"T", "L", "B"};
    int i = below(m, 3);
    (void)snprintf(
        out, BODY_MOST, "'what': '%s', 'code': '%s%d', '%s': %d, 'reason': 'soft', 'stream': '%s'",
        what[i], codes[i], below(m, i == 0 ? 12 : 4), below(m, 2) || i == 2 ? "mass_g" : "count",
        1 + below(m, 900), streams[below(m, 4)]);
}

static size_t
list_tubs(struct maker *m, char *out, size_t n)
{
    size_t at = 0;
    for (size_t i = 0; i < n; i++)
        at += (size_t)sprintf(out + at, "%s'T%d'", i > 0 ? ", " : "", below(m, 13));
    return at;
}

static void
stocktake_body(struct maker *m, char *out)
{
    char tubs[200] = "";
    (void)list_tubs(m, tubs, (size_t)below(m, 6));
    int n = snprintf(out, BODY_MOST, "'place': '%s-f%d'", site(m), 1 + below(m, 3));
    if (below(m, 4) > 0)
        n += snprintf(out + n, BODY_MOST - (size_t)n, ", 'tubs': [%s]", tubs);
    if (below(m, 3) == 0)
        (void)snprintf(out + n, BODY_MOST - (size_t)n, ", 'bottles': [{'lot': 'L%d', 'count': %d}]",
                       below(m, 4), below(m, 9));
}

static void
handover_body(struct maker *m, char *out)
{
    char tubs[200];
    (void)list_tubs(m, tubs, (size_t)1 + (size_t)below(m, 4));
    (void)snprintf(out, BODY_MOST, "'run': 'R%d', 'tubs': [%s]", below(m, 3), tubs);
}

static void
receive_body(struct maker *m, char *out)
{
    int n = snprintf(out, BODY_MOST, "'run': 'R%d', 'tubs': [", below(m, 3));
    for (int i = 1 + below(m, 3); i > 0; i--)
        n += snprintf(out + n, BODY_MOST - (size_t)n, "{'tub': 'T%d'%s%s}%s", below(m, 13),
                      below(m, 2) ? ", 'gross_g': 1900" : "",
                      below(m, 4) ? "" : ", 'accepted': false", i > 1 ? ", " : "]");
}

static void
supply_body(struct maker *m, char *out)
{
    (void)snprintf(out, BODY_MOST,
                   "'lot': 'L%d', 'item': 'spirit', 'supplier': 'Still', 'received': '2026-03-28', "
                   "'%s': %d",
                   4 + below(m, 3), below(m, 2) ? "mass_g" : "volume_ml", 500 + below(m, 3000));
}

static void
thaw_body(struct maker *m, char *out)
{
    char tubs[200], a[WHEN_TEXT];
    (void)list_tubs(m, tubs, (size_t)1 + (size_t)below(m, 3));
    (void)snprintf(out, BODY_MOST, "'tubs': [%s], 'method': 'in-sugar', 'started': '%s'", tubs,
                   when_print(instant(m), 0, a));
}

static void
mix_body(struct maker *m, char *out)
{
    char a[WHEN_TEXT];
    int n = snprintf(out, BODY_MOST,
                     "'batch': 'B%d', 'recipe': 'r%d', 'vessel': 'V', 'started': '%s', 'inputs': [",
                     below(m, 4), below(m, 2), when_print(instant(m), 0, a));
    for (int i = 1 + below(m, 3); i > 0; i--) {
        bool tub = below(m, 3) > 0;
        n += snprintf(out + n, BODY_MOST - (size_t)n, "{'%s': '%s%d', 'mass_g': %d%s}%s",
                      tub ? "tub" : "lot", tub ? "T" : "L", below(m, tub ? 13 : 8), below(m, 2500),
                      tub && below(m, 3) == 0 ? ", 'empty': true" : "", i > 1 ? ", " : "]");
    }
}

static void
strain_body(struct maker *m, char *out)
{
    (void)snprintf(out, BODY_MOST,
                   "'batch': 'B%d', 'station': 'F', 'event': '%s', 'residue_g': %d, 'product_g': "
                   "%d, 'product_ml': 400",
                   below(m, 5), below(m, 2) ? "end" : "start", below(m, 900), below(m, 900));
}

static void
bottle_body(struct maker *m, char *out)
{
    (void)snprintf(out, BODY_MOST, "'batch': 'B%d', 'lot': 'L%d', 'bottle_ml': 500, 'count': %d",
                   below(m, 5), below(m, 4), 1 + below(m, 20));
}

static void
release_body(struct maker *m, char *out)
{
    (void)snprintf(out, BODY_MOST, "'lot': 'L%d', 'decision': '%s'", below(m, 5),
                   below(m, 3) ? "release" : "hold");
}

static void
dispatch_body(struct maker *m, char *out)
{
    (void)snprintf(out, BODY_MOST, "'lot': 'L%d', 'to_site': '%s', 'count': %d", below(m, 5),
                   site(m), 1 + below(m, 6));
}

static void
accept_body(struct maker *m, char *out)
{
    (void)snprintf(out, BODY_MOST, "'lot': 'L%d', 'count': %d, 'broken': %d", below(m, 5),
                   2 + below(m, 6), below(m, 2));
}

static void
sale_body(struct maker *m, char *out)
{
    if (below(m, 3) > 0)
        (void)snprintf(out, BODY_MOST,
                       "'lot': 'L%d', 'count': 2, 'unit_minor': 500, 'currency': 'GBP'",
                       below(m, 5));
    else
        (void)snprintf(out, BODY_MOST,
                       "'product': 'liqueur', 'bottle_ml': 500, 'count': 1, 'unit_minor': 700, "
                       "'currency': 'GBP'");
}

static void
residue_body(struct maker *m, char *out)
{
    int n = below(m, 2) ? snprintf(out, BODY_MOST, "'batch': 'B%d', ", below(m, 5)) : 0;
    (void)snprintf(out + n, BODY_MOST - (size_t)n, "'mass_g': %d, 'stream': '%s'",
                   1 + below(m, 700), streams[below(m, 4)]);
}

static void
collection_body(struct maker *m, char *out)
{
    (void)snprintf(out, BODY_MOST, "'stream': '%s', 'mass_g': %d, 'destination': 'composting'%s",
                   streams[below(m, 4)], below(m, 1500), below(m, 2) ? ", 'emptied': true" : "");
}

static void
reading_body(struct maker *m, char *out)
{
    (void)snprintf(out, BODY_MOST, "'place': '%s-f%d', 'temp_c': '-%d.%d'", site(m),
                   1 + below(m, 3), 13 + below(m, 5), below(m, 10));
}

static void
measure_body(struct maker *m, char *out)
{
    (void)snprintf(out, BODY_MOST,
                   "'%s%d', 'what': 'abv', 'value': '2%d.1', 'unit': '%%', 'method': 'density'",
                   below(m, 2) ? "batch': 'B" : "lot': 'L", below(m, 5), below(m, 10));
}

static const struct {
    const char *kind;
    void (*body)(struct maker *m, char *out);
    int weight;
} writers[] = {
    {"tub", tub_body, 7},
    {"close", close_body, 2},
    {"shift", shift_body, 2},
    {"discard", discard_body, 4},
    {"stocktake", stocktake_body, 4},
    {"handover", handover_body, 4},
    {"receive", receive_body, 5},
    {"supply", supply_body, 2},
    {"thaw", thaw_body, 2},
    {"mix", mix_body, 6},
    {"strain", strain_body, 3},
    {"bottle", bottle_body, 3},
    {"release", release_body, 2},
    {"dispatch", dispatch_body, 2},
    {"accept", accept_body, 2},
    {"sale", sale_body, 3},
    {"residue", residue_body, 2},
    {"collection", collection_body, 2},
    {"reading", reading_body, 2},
    {"measure", measure_body, 1},
};
enum {
    WRITERS = sizeof writers / sizeof writers[0]
};

static int
any_kind(struct maker *m)
{
    int sum = 0, k = 0;
    for (int i = 0; i < WRITERS; i++)
        sum += writers[i].weight;
    int at = below(m, sum);
    while (at >= writers[k].weight)
        at -= writers[k++].weight;
    return k;
}

static void
say_record(struct maker *m, const char *site_code, const char *kind, const char *body)
{
    char at_text[WHEN_TEXT], held_text[WHEN_TEXT];
    int64_t at = instant(m);
    int64_t held = at + (below(m, 10) == 0 ? -1200000 : below(m, 60) * (int64_t)3600000);
    struct made *made = &m->made[m->n++];
    (void)snprintf(made->id, sizeof made->id, "019c%04x-0000-7000-8000-%012zx", below(m, 65536),
                   m->n);
    (void)snprintf(made->kind, sizeof made->kind, "%s", kind);
    (void)snprintf(made->body, sizeof made->body, "%s", body);
    play_say(m->play, "{'kind': '%s', 'id': '%s', 'site': '%s', 'at': '%s', 'held': '%s', %s}",
             kind, made->id, site_code, when_print(at, 0, at_text), when_print(held, 0, held_text),
             body);
}

/* A correction of anything so far: void, a body of the same kind, or one that does not fit. */
static void
say_correction(struct maker *m)
{
    char body[BODY_MOST + 200], new_body[BODY_MOST], at[WHEN_TEXT];
    const struct made *target = &m->made[below(m, (int)m->n)];
    const char *id = below(m, 20) == 0 ? "019cffff-0000-7000-8000-00000000beef" : target->id;
    int k = any_kind(m);
    for (int i = 0; i < WRITERS && below(m, 10) > 0; i++)
        if (strcmp(writers[i].kind, target->kind) == 0)
            k = i;
    writers[k].body(m, new_body);
    if (below(m, 4) == 0)
        (void)snprintf(body, sizeof body, "'record': '%s', 'void': true, 'reason': 'no'", id);
    else if (below(m, 3) == 0)
        (void)snprintf(body, sizeof body,
                       "'record': '%s', 'body': {%s, 'at': '%s'}, 'reason': 'moved'", id, new_body,
                       when_print(instant(m), 60, at));
    else
        (void)snprintf(body, sizeof body, "'record': '%s', 'body': {%s}, 'reason': 'read again'",
                       id, new_body);
    say_record(m, site(m), "correct", body);
    /* a correction of it gets a body for what it corrects */
    memmove(m->made[m->n - 1].kind, target->kind, sizeof target->kind);
}

static void
say_catalogue(struct maker *m)
{
    static const char *const lines[] = {
        "site|'code': 'kitchen', 'role': 'kitchen', 'zone': 'Europe/London', 'day_start': '04:00', "
        "'currency': 'GBP', 'joined': '2026-03-01'",
        "site|'code': 'alpha', 'role': 'cafe', 'zone': 'Europe/London', 'day_start': '04:00', "
        "'currency': 'GBP', 'joined': '2026-03-29'",
        "site|'code': 'alpha', 'role': 'cafe', 'zone': 'Europe/London', 'day_start': '05:00', "
        "'currency': 'GBP', 'joined': '2026-03-29', 'from': '2026-03-31'",
        "site|'code': 'beta', 'role': 'cafe', 'zone': 'Europe/Dublin', 'currency': 'EUR', "
        "'joined': "
        "'2026-03-01', 'left': '2026-03-31'",
        "place|'code': 'kitchen-f1', 'for_site': 'kitchen', 'class': 'freezer', 'max_c': '-15'",
        "place|'code': 'kitchen-f2', 'for_site': 'kitchen', 'class': 'freezer', 'max_c': '-15'",
        "place|'code': 'alpha-f1', 'for_site': 'alpha', 'class': 'freezer', 'max_c': '-15.5'",
        "place|'code': 'alpha-f2', 'for_site': 'alpha', 'class': 'freezer'",
        "place|'code': 'beta-f1', 'for_site': 'beta', 'class': 'freezer', 'min_c': '-14'",
        "stream|'code': 'bin', 'destination': 'landfill', 'settles': 'at-once', 'material': "
        "'mixed'",
        "stream|'code': 'caddy', 'destination': 'composting', 'settles': 'on-collection', "
        "'material': 'food'",
        "stream|'code': 'sink', 'destination': 'sewer', 'settles': 'at-once', 'material': 'food'",
        "item|'code': 'spirit', 'name': 'Spirit', 'class': 'spirit', 'abv_pct': '40'",
        "product|'code': 'liqueur', 'name': 'Liqueur', 'class': 'liqueur'",
        "recipe|'code': 'r0', 'product': 'liqueur', 'parts': [{'input': 'grounds', 'parts': '1'}]",
        "recipe|'code': 'r1', 'product': 'liqueur', 'parts': [{'input': 'grounds', 'parts': '2'}]",
        "price|'product': 'liqueur', 'bottle_ml': 500, 'currency': 'GBP', 'list_minor': 1800, "
        "'transfer_minor': 900, 'from': '2026-01-01'",
        "price|'product': 'liqueur', 'bottle_ml': 500, 'currency': 'EUR', 'list_minor': 2000, "
        "'transfer_minor': 950, 'from': '2026-03-30'",
        "limits|'code': 'warm-time', 'value': '120', 'unit': 'min', 'comparator': '<', 'source': "
        "'house', 'dated': '2026-01-01', 'for_site': 'alpha'",
        "limits|'code': 'weight-difference', 'value': '30', 'unit': 'g', 'comparator': '<=', "
        "'source': 'house', 'dated': '2026-01-01'",
        "recall|'code': 'RC', 'of': 'tub', 'of_code': 'T3', 'reason': 'glass'",
    };
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        char kind[16];
        const char *bar = strchr(lines[i], '|');
        (void)snprintf(kind, sizeof kind, "%.*s", (int)(bar - lines[i]), lines[i]);
        say_record(m, "kitchen", kind, bar + 1);
    }
}

void
random_month(struct play *play, uint64_t seed, size_t n)
{
    struct maker *m = calloc(1, sizeof *m);
    if (m == NULL || n + 100 > IDS_MOST)
        abort();
    m->play = play;
    m->seed = seed;
    say_catalogue(m);
    for (size_t i = 0; i < n; i++) {
        char body[BODY_MOST];
        int k = any_kind(m);
        if (below(m, 8) == 0) {
            say_correction(m);
            continue;
        }
        writers[k].body(m, body);
        say_record(m, site(m), writers[k].kind, body);
    }
    if (below(m, 2))
        say_record(m, "kitchen", "period-close", "'month': '2026-03', 'edition': 'UK-2025'");
    free(m);
}
