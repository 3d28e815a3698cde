/* play.c - see play.h. */
#include "tests/ledger/play.h"

#include <errno.h>
#include <ftw.h>
#include <jansson.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include "daemon/base/zone.h"
#include "proto/json.h"
#include "proto/when.h"

struct play_zone {
    char site[SITE_SIZE];
    char name[64];
};

struct play {
    char dir[256];
    char site[SITE_SIZE];
    struct clock clock;
    uint64_t random;
    struct store *store;
    struct ledger *ledger;
    char **lines;
    size_t n, room;
    struct play_zone zones[64];
    size_t n_zones;
    int64_t last_at_ms;
    uint64_t next_id;
    struct arena arena;
};

static void
must(enum err e, const struct err_text *why, const char *doing)
{
    if (e == ERR_OK)
        return;
    fprintf(stderr, "play: %s: %s: %s\n", doing, err_word(e), why->s);
    abort();
}

static int64_t
clock_now(void *owner)
{
    (void)owner;
    return 1893456000000; /* 2030-01-01 */
}

static uint64_t
clock_mono(void *owner)
{
    (void)owner;
    return 1;
}

static bool
clock_sure(void *owner)
{
    (void)owner;
    return true;
}

static uint64_t
next_random(uint64_t *state) /* splitmix64, public domain algorithm */
{
    uint64_t z = (*state += 0x9E3779B97F4A7C15U);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9U;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBU;
    return z ^ (z >> 31);
}

static void
clock_random(void *owner, void *bytes, size_t n)
{
    struct play *play = owner;
    for (size_t i = 0; i < n; i++)
        ((uint8_t *)bytes)[i] = (uint8_t)next_random(&play->random);
}

static void
open_all(struct play *play)
{
    struct err_text why = {.s = ""};
    struct store_options options = {
        .site = play->site, .map_mib = 64, .most_mib = 4096, .clock = play->clock};
    must(store_open(play->dir, &options, &play->store, &why), &why, "store_open");
    must(ledger_open(play->store, &play->ledger, &why), &why, "ledger_open");
}

static void
close_all(struct play *play)
{
    ledger_close(play->ledger);
    store_close(play->store);
    play->ledger = NULL;
    play->store = NULL;
}

struct play *
play_new(const char *site)
{
    struct play *play = calloc(1, sizeof *play);
    if (play == NULL)
        abort();
    const char *tmp = getenv("TMPDIR");
    if (tmp == NULL) /* memory, where there is one: a flush costs nothing */
        tmp = access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp";
    (void)snprintf(play->dir, sizeof play->dir, "%s/ledger-XXXXXX", tmp);
    if (mkdtemp(play->dir) == NULL)
        abort();
    (void)snprintf(play->site, sizeof play->site, "%s", site);
    play->clock = (struct clock){clock_now, clock_mono, clock_sure, clock_random, {1}, play};
    struct err_text why = {.s = ""};
    must(arena_init(&play->arena, ARENA_BIG_RECORD, &why), &why, "arena");
    open_all(play);
    return play;
}

static int
remove_one(const char *path, const struct stat *info, int type, struct FTW *place)
{
    (void)info;
    (void)type;
    (void)place;
    return remove(path);
}

void
play_free(struct play *play)
{
    if (play == NULL)
        return;
    close_all(play);
    for (size_t i = 0; i < play->n; i++)
        free(play->lines[i]);
    free(play->lines);
    arena_done(&play->arena);
    (void)nftw(play->dir, remove_one, 8, FTW_DEPTH | FTW_PHYS);
    free(play);
}

void
play_restart(struct play *play)
{
    close_all(play);
    open_all(play);
}

void
play_shut(struct play *play)
{
    close_all(play);
}

void
play_open(struct play *play)
{
    open_all(play);
}

static void
note_zone(struct play *play, json_t *object)
{
    const char *kind = json_string_value(json_object_get(object, "kind"));
    const char *code = json_string_value(json_object_get(object, "code"));
    const char *zone = json_string_value(json_object_get(object, "zone"));
    if (kind == NULL || code == NULL || zone == NULL || strcmp(kind, "site") != 0)
        return;
    if (play->n_zones == sizeof play->zones / sizeof play->zones[0])
        abort();
    struct play_zone *z = &play->zones[play->n_zones++];
    (void)snprintf(z->site, sizeof z->site, "%s", code);
    (void)snprintf(z->name, sizeof z->name, "%s", zone);
}

/* What the line leaves out is settled now, so that a shuffle does not change the content. */
static void
complete(struct play *play, json_t *object)
{
    char text[WHEN_TEXT], id_text[ID_TEXT];
    const char *at = json_string_value(json_object_get(object, "at"));
    int offset = 0;
    if (at != NULL && !when_parse(at, &play->last_at_ms, &offset))
        abort();
    if (at == NULL) {
        play->last_at_ms += 60000;
        json_object_set_new(object, "at", json_string(when_print(play->last_at_ms, 0, text)));
    }
    if (json_object_get(object, "held") == NULL)
        json_object_set_new(object, "held", json_string(when_print(play->last_at_ms, 0, text)));
    if (json_object_get(object, "site") == NULL)
        json_object_set_new(object, "site", json_string(play->site));
    if (json_object_get(object, "by") == NULL)
        json_object_set_new(object, "by", json_string("AB"));
    if (json_object_get(object, "id") == NULL) {
        uint64_t number = ++play->next_id;
        (void)snprintf(id_text, sizeof id_text, "019c0000-0000-7000-8000-%012llx",
                       (unsigned long long)number);
        json_object_set_new(object, "id", json_string(id_text));
    }
}

void
play_line(struct play *play, const char *line)
{
    struct err_text why = {.s = ""};
    json_t *object = NULL;
    must(json_parse(line, strlen(line), &object, &why), &why, line);
    note_zone(play, object);
    complete(play, object);
    if (play->n == play->room) {
        play->room = play->room * 2 + 64;
        play->lines = realloc(play->lines, play->room * sizeof *play->lines);
        if (play->lines == NULL)
            abort();
    }
    play->lines[play->n++] = json_dumps(object, JSON_COMPACT);
    json_decref(object);
}

void
play_lines(struct play *play, const char *const *lines, size_t n)
{
    for (size_t i = 0; i < n; i++)
        play_line(play, lines[i]);
}

void
play_say(struct play *play, const char *format, ...)
{
    char line[8192];
    va_list args;
    va_start(args, format);
    int n = vsnprintf(line, sizeof line, format, args);
    va_end(args);
    if (n < 0 || (size_t)n >= sizeof line)
        abort();
    for (char *c = line; *c != '\0'; c++)
        *c = (char)(*c == '\'' ? '"' : *c);
    play_line(play, line);
}

void
play_read(struct play *play, const char *path)
{
    FILE *file = fopen(path, "r");
    if (file == NULL) {
        fprintf(stderr, "play: %s: %s\n", path, strerror(errno));
        abort();
    }
    char *line = NULL;
    size_t size = 0;
    while (getline(&line, &size, file) > 0)
        play_line(play, line);
    free(line);
    (void)fclose(file);
}

void
play_shuffle(struct play *play, uint64_t seed)
{
    for (size_t i = play->n; i > 1; i--) {
        size_t j = (size_t)(next_random(&seed) % i);
        char *line = play->lines[i - 1];
        play->lines[i - 1] = play->lines[j];
        play->lines[j] = line;
    }
}

void
play_keep_held(struct play *play, int64_t held_most_ms)
{
    size_t n = 0;
    for (size_t i = 0; i < play->n; i++) {
        json_t *object = json_loads(play->lines[i], 0, NULL);
        const char *held = json_string_value(json_object_get(object, "held"));
        if (held == NULL)
            abort();
        if (play_ms(held) <= held_most_ms)
            play->lines[n++] = play->lines[i];
        else
            free(play->lines[i]);
        json_decref(object);
    }
    play->n = n;
}

static bool
print_line(void *owner, const struct posting *line)
{
    char month[MONTH_TEXT];
    fprintf(owner, "%d %s %s %s %lld\n", (int)line->measure, month_print(line->month, month),
            line->site, line->key, (long long)line->amount);
    return true;
}

char *
play_text(const struct books *books)
{
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    if (file == NULL)
        abort();
    books_walk_all(books, print_line, file);
    if (fclose(file) != 0)
        abort();
    return text;
}

static void
set_zone(struct play *play, Knockbox__Record *record)
{
    for (size_t i = 0; i < play->n_zones; i++) {
        if (strcmp(play->zones[i].site, record->site) != 0)
            continue;
        const struct zone *zone = NULL;
        struct err_text why = {.s = ""};
        must(zone_find(play->zones[i].name, &zone, &why), &why, "zone");
        record->zone = play->zones[i].name;
        record->has_at_offset_min = 1;
        record->at_offset_min = zone_offset_min(zone, record->at_ms);
    }
}

static void
append(struct play *play, struct store_txn *txn, const char *line)
{
    struct err_text why = {.s = ""};
    json_t *object = NULL;
    must(json_parse(line, strlen(line), &object, &why), &why, line);
    Knockbox__Record *record = NULL;
    arena_reset(&play->arena);
    must(record_from_json(object, &play->arena, &record, &why), &why, line);
    json_decref(object);
    set_zone(play, record);
    record->has_logged_ms = 1;
    record->logged_ms = record->at_ms;
    struct stored stored;
    must(store_append(txn, record->site, record, &stored, &why), &why, line);
}

static void
append_lines(struct play *play, size_t from, size_t to)
{
    struct err_text why = {.s = ""};
    struct store_txn *txn = NULL;
    must(store_begin(play->store, &txn, &why), &why, "store_begin");
    for (size_t i = from; i < to; i++) {
        append(play, txn, play->lines[i]);
        free(play->lines[i]);
    }
    must(store_commit(&txn, &why), &why, "store_commit");
}

void
play_append(struct play *play)
{
    append_lines(play, 0, play->n);
    play->n = 0;
}

void
play_put_some(struct play *play, size_t n, size_t group)
{
    struct err_text why = {.s = ""};
    if (n > play->n)
        n = play->n;
    for (size_t i = 0; i < n;) {
        size_t end = group == 0 || group > n - i ? n : i + group;
        append_lines(play, i, end);
        i = end;
        must(ledger_catch_up(play->ledger, &why), &why, "ledger_catch_up");
    }
    memmove(play->lines, play->lines + n, (play->n - n) * sizeof *play->lines);
    play->n -= n;
}

void
play_put(struct play *play, size_t group)
{
    play_put_some(play, play->n, group);
}

struct ledger *
play_ledger(struct play *play)
{
    return play->ledger;
}

struct store *
play_store(struct play *play)
{
    return play->store;
}

struct books *
play_books_catalogue(struct play *play, int64_t held_most_ms, struct catalogue **out_catalogue)
{
    struct err_text why = {.s = ""};
    struct books *books = NULL;
    must(ledger_books(play->ledger, held_most_ms, &books, out_catalogue, &why), &why,
         "ledger_books");
    return books;
}

struct books *
play_books(struct play *play, int64_t held_most_ms)
{
    struct catalogue *catalogue = NULL;
    struct books *books = play_books_catalogue(play, held_most_ms, &catalogue);
    catalogue_free(catalogue);
    return books;
}

void
play_digest(struct play *play, uint8_t out_digest[32])
{
    struct err_text why = {.s = ""};
    must(ledger_digest(play->ledger, out_digest, &why), &why, "ledger_digest");
}

size_t
play_size(const struct play *play)
{
    return play->n;
}

int64_t
play_ms(const char *text)
{
    int64_t ms = 0;
    int offset = 0;
    if (!when_parse(text, &ms, &offset))
        abort();
    return ms;
}

int32_t
play_month(const char *text)
{
    int32_t month = 0;
    if (!month_parse(text, &month))
        abort();
    return month;
}
