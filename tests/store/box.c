/* box.c - see box.h. */
#include "tests/store/box.h"

#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static void
must(bool good, const char *doing, const struct err_text *why)
{
    if (good)
        return;
    fprintf(stderr, "box: %s: %s\n", doing, why != NULL ? why->s : "");
    abort();
}

static int64_t
now(void *owner)
{
    return ((struct box *)owner)->now_ms;
}

static uint64_t
mono(void *owner)
{
    (void)owner;
    return 1;
}

static bool
sure(void *owner)
{
    (void)owner;
    return true;
}

static void
random_bytes(void *owner, void *bytes, size_t n)
{
    struct box *box = owner;
    for (size_t i = 0; i < n; i++) {
        box->random = box->random * 6364136223846793005u + 1442695040888963407u; /* Knuth, MMIX */
        ((uint8_t *)bytes)[i] = (uint8_t)(box->random >> 56);
    }
}

void
box_init(struct box *box, const char *site)
{
    const char *tmp = getenv("TMPDIR");
    memset(box, 0, sizeof *box);
    box->now_ms = 1772574000000; /* 2026-03-03T21:40:00Z */
    box->random = 7;
    (void)snprintf(box->dir, sizeof box->dir, "%s/store-XXXXXX", tmp != NULL ? tmp : "/tmp");
    must(mkdtemp(box->dir) != NULL, "make a folder", NULL);
    box->options = (struct store_options){
        .site = site,
        .map_mib = 64,
        .most_mib = 1024,
        .ballast_kib = 64,
        .clock = {.now_ms = now,
                  .mono_ms = mono,
                  .synchronised = sure,
                  .random = random_bytes,
                  .owner = box},
    };
}

static int
remove_one(const char *path, const struct stat *st, int type, struct FTW *place)
{
    (void)st;
    (void)type;
    (void)place;
    return remove(path);
}

void
box_done(struct box *box)
{
    box_close(box);
    (void)nftw(box->dir, remove_one, 8, FTW_DEPTH | FTW_PHYS);
}

void
box_open(struct box *box)
{
    struct err_text why = {.s = ""};
    must(store_open(box->dir, &box->options, &box->store, &why) == ERR_OK, "open", &why);
}

void
box_close(struct box *box)
{
    store_close(box->store);
    box->store = NULL;
}

void
box_reopen(struct box *box)
{
    box_close(box);
    box_open(box);
}

Knockbox__Record *
box_note(struct box *box, const char *text)
{
    static Knockbox__Record record;
    static Knockbox__Note note;
    static uint8_t id[ID_SIZE];
    static char words[RECORD_BIG_MAX + 1];
    (void)snprintf(words, sizeof words, "%s", text);
    knockbox__record__init(&record);
    knockbox__note__init(&note);
    note.text = words;
    uint64_t ms = (uint64_t)box->now_ms, n = ++box->next_id;
    for (int i = 0; i < 6; i++)
        id[i] = (uint8_t)(ms >> (40 - 8 * i));
    id[6] = 0x70;
    id[8] = 0x80;
    for (int i = 0; i < 6; i++)
        id[10 + i] = (uint8_t)(n >> (40 - 8 * i));
    record.id = (ProtobufCBinaryData){.len = sizeof id, .data = id};
    record.has_id = record.has_at_ms = record.has_logged_ms = 1;
    record.at_ms = record.logged_ms = box->now_ms;
    record.by = (char *)"RK";
    record.body_case = KNOCKBOX__RECORD__BODY_NOTE;
    record.note = &note;
    return &record;
}

static void
write_notes(struct box *box, const char *site, unsigned n, const char *text)
{
    struct err_text why = {.s = ""};
    struct store_txn *txn = NULL;
    must(store_begin(box->store, &txn, &why) == ERR_OK, "begin", &why);
    for (unsigned i = 0; i < n; i++) {
        struct stored stored;
        must(store_append(txn, site, box_note(box, text), &stored, &why) == ERR_OK, "append", &why);
    }
    must(store_commit(&txn, &why) == ERR_OK, "commit", &why);
}

void
box_write(struct box *box, const char *site, unsigned n)
{
    write_notes(box, site, n, "tub lid was loose");
}

void
box_write_sized(struct box *box, const char *site, unsigned n, size_t bytes)
{
    char text[RECORD_BIG_MAX] = "";
    size_t rest = knockbox__record__get_packed_size(box_note(box, "")) + strlen(site) + 20;
    must(bytes > rest && bytes - rest < sizeof text, "size", NULL);
    memset(text, 'x', bytes - rest);
    write_notes(box, site, n, text);
}

struct log_mark
box_mark(struct box *box, const char *site)
{
    struct err_text why = {.s = ""};
    struct store_view *view = NULL;
    struct log_mark marks[32] = {0};
    size_t n = 0;
    must(store_look(box->store, &view, &why) == ERR_OK, "look", &why);
    must(store_marks(view, site, marks, 32, &n, &why) == ERR_OK, "marks", &why);
    store_done(&view);
    return marks[n > 0 ? n - 1 : 0];
}

uint64_t
box_count(struct box *box)
{
    struct store_view *view = NULL;
    must(store_look(box->store, &view, NULL) == ERR_OK, "look", NULL);
    uint64_t last = store_last(view);
    store_done(&view);
    return last;
}

uint8_t *
box_slurp(const char *dir, const char *name, size_t *out_len)
{
    char path[512];
    struct stat st;
    (void)snprintf(path, sizeof path, "%s/%s", dir, name);
    FILE *file = fopen(path, "rb");
    must(file != NULL && fstat(fileno(file), &st) == 0, path, NULL);
    uint8_t *bytes = malloc((size_t)st.st_size + 1);
    must(bytes != NULL && fread(bytes, 1, (size_t)st.st_size, file) == (size_t)st.st_size, path,
         NULL);
    (void)fclose(file);
    *out_len = (size_t)st.st_size;
    return bytes;
}

void
box_spill(const char *dir, const char *name, const void *bytes, size_t len)
{
    char path[512];
    (void)snprintf(path, sizeof path, "%s/%s", dir, name);
    FILE *file = fopen(path, "wb");
    must(file != NULL && fwrite(bytes, 1, len, file) == len && fclose(file) == 0, path, NULL);
}
