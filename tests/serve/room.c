/* room.c - see room.h. */
#include "tests/serve/room.h"

#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include "daemon/record/kind.h"
#include "daemon/record/record.h"
#include "proto/when.h"

const char saltmere_catalogue[] =
    "{'kind':'site','code':'kitchen','role':'kitchen','zone':'Europe/London','currency':'GBP',"
    "'joined':'2026-02-01','day_start':'04:00'}\n"
    "{'kind':'site','code':'quayside','name':'Quayside','role':'cafe','zone':'Europe/London',"
    "'currency':'GBP','joined':'2026-02-25','day_start':'04:00'}\n"
    "{'kind':'coffee','code':'house-dark','name':'House dark'}\n"
    "{'kind':'coffee','code':'single-light'}\n"
    "{'kind':'place','code':'quayside-f1','for_site':'quayside','class':'freezer'}\n"
    "{'kind':'place','code':'kitchen-f1','for_site':'kitchen','class':'freezer'}\n"
    "{'kind':'stream','code':'general','for_site':'quayside','destination':'landfill',"
    "'settles':'at-once','material':'mixed'}\n"
    "{'kind':'stream','code':'food-caddy','destination':'composting','settles':'on-collection',"
    "'material':'food'}";

struct room {
    char dir[256];
    char site[SITE_SIZE], enrolled[SITE_SIZE];
    bool is_hub, other_hub;
    int64_t now_ms;
    uint64_t random;
    struct store *store;
    struct ledger *ledger;
    struct serve *serve;
    struct caller caller;
    size_t wrote;
    uint32_t number;
    char *text;
    size_t len;
    json_t *answer;
    enum err code;
    char why[600], field[65];
};

static void
must(enum err e, const struct err_text *why, const char *doing)
{
    if (e == ERR_OK)
        return;
    fprintf(stderr, "room: %s: %s: %s\n", doing, err_word(e), why->s);
    abort();
}

static int64_t
clock_now(void *owner)
{
    return ((struct room *)owner)->now_ms;
}

static uint64_t
clock_mono(void *owner)
{
    (void)owner;
    return 12345;
}

static bool
clock_sure(void *owner)
{
    (void)owner;
    return true;
}

static void
clock_random(void *owner, void *bytes, size_t n)
{
    struct room *room = owner;
    for (size_t i = 0; i < n; i++) {
        room->random = room->random * 6364136223846793005u + 1442695040888963407u;
        ((uint8_t *)bytes)[i] = (uint8_t)(room->random >> 33);
    }
}

static size_t
tell_sites(void *owner, struct site_state *out, size_t most)
{
    struct room *room = owner;
    if (room->enrolled[0] == '\0' || most == 0)
        return 0;
    out[0] = (struct site_state){.enrolled = true,
                                 .online = true,
                                 .last_seen_ms = room->now_ms,
                                 .other_hub = room->other_hub};
    memcpy(out[0].site, room->enrolled, sizeof out[0].site);
    return 1;
}

static void
note_wrote(void *owner)
{
    ((struct room *)owner)->wrote++;
}

static void
room_open(struct room *room)
{
    struct err_text why = {.s = ""};
    struct clock clock = {clock_now, clock_mono, clock_sure, clock_random, {1, 2, 3}, room};
    struct store_options options = {
        .site = room->site, .map_mib = 16, .most_mib = 64, .ballast_kib = 4, .clock = clock};
    must(store_open(room->dir, &options, &room->store, &why), &why, "store");
    must(ledger_open(room->store, &room->ledger, &why), &why, "ledger");
    struct serve_options serve = {.store = room->store,
                                  .ledger = room->ledger,
                                  .clock = clock,
                                  .is_hub = room->is_hub,
                                  .site = room->site,
                                  .hub_site = "kitchen",
                                  .zone = "Europe/London",
                                  .sites = tell_sites,
                                  .wrote = note_wrote,
                                  .owner = room};
    must(serve_new(&serve, &room->serve, &why), &why, "serve");
}

static void
room_close(struct room *room)
{
    serve_free(room->serve);
    ledger_close(room->ledger);
    store_close(room->store);
}

void
room_restart(struct room *room)
{
    room_close(room);
    room_open(room);
}

struct room *
room_new(const char *site, bool is_hub)
{
    struct room *room = calloc(1, sizeof *room);
    const char *tmp = getenv("TMPDIR");
    snprintf(room->dir, sizeof room->dir, "%s/room.XXXXXX", tmp != NULL ? tmp : "/tmp");
    if (mkdtemp(room->dir) == NULL)
        abort();
    snprintf(room->site, sizeof room->site, "%s", site);
    room->random = 1 + (is_hub ? 0 : 977); /* ids of two rooms differ */
    room_now(room, "2026-03-03T21:52:00Z");
    room->is_hub = is_hub;
    room_open(room);
    room->caller.roles = ROLE_BIT_ALL;
    snprintf(room->caller.via, sizeof room->caller.via, "uid 1000 (mara)");
    return room;
}

static int
remove_one(const char *path, const struct stat *stat, int type, struct FTW *ftw)
{
    (void)stat;
    (void)type;
    (void)ftw;
    return remove(path);
}

void
room_free(struct room *room)
{
    room_close(room);
    (void)nftw(room->dir, remove_one, 16, FTW_DEPTH | FTW_PHYS);
    json_decref(room->answer);
    free(room->text);
    free(room);
}

void
room_roles(struct room *room, unsigned roles)
{
    room->caller.roles = roles;
}

void
room_now(struct room *room, const char *rfc3339)
{
    if (!when_parse(rfc3339, &room->now_ms, NULL))
        abort();
}

void
room_enrol(struct room *room, const char *site)
{
    snprintf(room->enrolled, sizeof room->enrolled, "%s", site);
}

static enum err
receive(void *owner, const Knockbox__Reply *reply)
{
    struct room *room = owner;
    size_t len = reply->has_data ? reply->data.len : 0;
    room->text = realloc(room->text, room->len + len + 1);
    if (len > 0)
        memcpy(room->text + room->len, reply->data.data, len);
    room->len += len;
    room->text[room->len] = '\0';
    if (reply->has_more && reply->more)
        return ERR_OK;
    room->code = (enum err)reply->code;
    snprintf(room->why, sizeof room->why, "%s", reply->text != NULL ? reply->text : "");
    snprintf(room->field, sizeof room->field, "%s", reply->field != NULL ? reply->field : "");
    return ERR_OK;
}

/* The next part of a text up to `end`; NULL at its end. Yours. */
static char *
part(const char **at, char end)
{
    if (*at == NULL || **at == '\0')
        return NULL;
    const char *stop = strchr(*at, end);
    size_t len = stop != NULL ? (size_t)(stop - *at) : strlen(*at);
    char *copy = strndup(*at, len);
    *at = stop != NULL ? stop + 1 : *at + len;
    return copy;
}

enum err
room_ask_in_pieces(struct room *room, const char *word, const char *args, const char *lines,
                   size_t piece)
{
    Knockbox__Request request = KNOCKBOX__REQUEST__INIT;
    Knockbox__Arg arg[16], *arg_list[16];
    ProtobufCBinaryData line[1000];
    char *text;
    room->len = 0;
    room->code = ERR_PEER; /* as long as no last reply came */
    json_decref(room->answer);
    room->answer = NULL;
    request.version = 1;
    request.number = ++room->number;
    request.word = (char *)(uintptr_t)word;
    request.args = arg_list;
    request.lines = line;
    while ((text = part(&args, ' ')) != NULL) {
        size_t n = request.n_args++;
        knockbox__arg__init(&arg[n]);
        arg_list[n] = &arg[n];
        arg[n].name = text;
        arg[n].value = strchr(text, '=') + 1;
        arg[n].value[-1] = '\0';
    }
    bool more = true;
    while (more) {
        request.n_lines = 0;
        while (request.n_lines < piece && (text = part(&lines, '\n')) != NULL) {
            for (char *c = text; *c != '\0'; c++)
                *c = *c == '\'' ? '"' : *c;
            size_t len = strlen(text);
            if (len == 0) { /* an empty one has no bytes at all on the wire */
                free(text);
                text = NULL;
            }
            line[request.n_lines].data = (uint8_t *)text;
            line[request.n_lines++].len = len;
        }
        more = lines != NULL && *lines != '\0';
        request.has_more = request.more = more;
        serve_request(room->serve, 7, &room->caller, &request, receive, room);
        for (size_t i = 0; i < request.n_lines; i++)
            free(line[i].data);
    }
    for (size_t i = 0; i < request.n_args; i++)
        free(arg[i].name);
    return room->code;
}

enum err
room_ask(struct room *room, const char *word, const char *args, const char *lines)
{
    return room_ask_in_pieces(room, word, args, lines, 1000);
}

const char *
room_why(const struct room *room)
{
    return room->why;
}

const char *
room_field(const struct room *room)
{
    return room->field;
}

const char *
room_text(const struct room *room)
{
    return room->len > 0 ? room->text : "";
}

const json_t *
room_answer(struct room *room)
{
    if (room->answer == NULL)
        room->answer = json_loads(room_text(room), 0, NULL);
    return room->answer;
}

int64_t
room_number(struct room *room, const char *name)
{
    return json_integer_value(json_object_get(room_answer(room), name));
}

struct serve *
room_serve(struct room *room)
{
    return room->serve;
}

struct store *
room_store(struct room *room)
{
    return room->store;
}

struct ledger *
room_ledger(struct room *room)
{
    return room->ledger;
}

size_t
room_wrote(const struct room *room)
{
    return room->wrote;
}

void
room_other_hub(struct room *room)
{
    room_enrol(room, room->site);
    room->other_hub = true;
}

/* One record of the hub's log, when the café may see it. */
static void
take_record(struct room *cafe, struct store_txn *txn, const struct stored *record,
            const uint8_t prev[HASH_SIZE])
{
    struct err_text why = {.s = ""};
    enum accept_result result;
    struct arena arena;
    Knockbox__Record *decoded = NULL;
    must(arena_init(&arena, ARENA_BIG_RECORD, &why), &why, "memory");
    must(record_decode(record->bytes, record->len, true, &arena, &decoded, &why), &why, "decode");
    if (kind_visible(decoded, cafe->site))
        must(store_accept_part(txn, "kitchen", record->epoch, record->mark, prev, record,
                               cafe->now_ms, &result, &why),
             &why, "follow");
    arena_done(&arena);
}

void
room_follow(struct room *cafe, struct room *hub)
{
    struct err_text why = {.s = ""};
    struct store_view *view = NULL;
    struct store_txn *txn = NULL;
    struct log_mark marks[8];
    size_t n = 0;
    must(store_look(hub->store, &view, &why), &why, "look");
    must(store_marks(view, "kitchen", marks, 8, &n, &why), &why, "marks");
    must(store_begin(cafe->store, &txn, &why), &why, "begin");
    for (size_t i = 0; i < n; i++) {
        uint8_t prev[HASH_SIZE] = {0};
        for (uint64_t seq = 1; seq <= marks[i].seq; seq++) {
            struct stored record;
            size_t found = 0;
            must(store_read_log(view, "kitchen", marks[i].epoch, marks[i].mark, seq, 1, 100000,
                                &record, &found, &why),
                 &why, "read");
            take_record(cafe, txn, &record, prev);
            memcpy(prev, record.hash, HASH_SIZE);
        }
    }
    must(store_commit(&txn, &why), &why, "commit");
    store_done(&view);
}
