/* world_people.c - what people write down in the world, and what is remembered of it. */
#include <stdio.h>

#include "daemon/record/kind.h"
#include "proto/json.h"
#include "tests/world/world_int.h"

static void
fill_envelope(struct box *b, Knockbox__Record *record, uint8_t id[16])
{
    knockbox__record__init(record);
    clock_new_id(&b->clock, id);
    record->has_id = record->has_at_ms = record->has_logged_ms = true;
    record->id = (ProtobufCBinaryData){16, id};
    record->at_ms = record->logged_ms = box_now(b);
}

static void
append(struct world *w, struct box *b, struct store_txn *txn, bool hidden)
{
    Knockbox__Record record;
    Knockbox__Note note = KNOCKBOX__NOTE__INIT;
    Knockbox__Coffee coffee = KNOCKBOX__COFFEE__INIT;
    struct stored stored;
    struct written *written = &w->written[w->n_written++];
    char text[64];
    cr_assert(w->n_written < IDS_MOST);
    fill_envelope(b, &record, written->id);
    snprintf(text, sizeof text, "record-%u", w->n_written);
    if (b->number == WORLD_HUB && !hidden) {
        record.body_case = KNOCKBOX__RECORD__BODY_COFFEE;
        record.coffee = &coffee;
        coffee.code = text;
    } else {
        record.body_case = KNOCKBOX__RECORD__BODY_NOTE;
        record.note = &note;
        note.text = text;
    }
    must(store_append(txn, b->site, &record, &stored, why));
    written->hidden = hidden;
    written->site = b->number;
    for (int i = 0; i < b->number; i++) /* a clone writes for the site of its card */
        if (strcmp(w->cafes[i].site, b->site) == 0) {
            written->site = i;
            break;
        }
}

static void
write_some(struct world *w, int who, unsigned n, bool hidden)
{
    struct box *b = box_of(w, who);
    while (n > 0) {
        struct store_txn *txn = NULL;
        unsigned now = n < 50 ? n : 50;
        must(store_begin(b->store, &txn, why));
        for (unsigned i = 0; i < now; i++)
            append(w, b, txn, hidden);
        must(store_commit(&txn, why));
        n -= now;
    }
    if (who == WORLD_HUB)
        hub_machine_wrote(b->hub_machine);
    else
        must(site_machine_wrote(b->site_machine, why));
}

void
world_write(struct world *w, int who, unsigned n)
{
    write_some(w, who, n, false);
}

void
world_write_hidden(struct world *w, unsigned n)
{
    write_some(w, WORLD_HUB, n, true);
}

static Knockbox__Record *
read_line(const char *quoted, struct arena *lines)
{
    Knockbox__Record *record = NULL;
    json_t *line = NULL;
    char text[4096];
    (void)snprintf(text, sizeof text, "%s", quoted);
    for (char *at = text; *at != '\0'; at++)
        *at = *at == '\'' ? '"' : *at;
    must(json_parse(text, strlen(text), &line, why));
    must(record_from_json(line, lines, &record, why));
    json_decref(line);
    return record;
}

void
world_write_line(struct world *w, const char *line, bool seen)
{
    struct box *b = &w->hub;
    struct arena lines;
    struct store_txn *txn = NULL;
    struct stored stored;
    Knockbox__Record record;
    struct written *written = &w->written[w->n_written++];
    must(arena_init(&lines, ARENA_BIG_RECORD, why));
    Knockbox__Record *said = read_line(line, &lines);
    fill_envelope(b, &record, written->id);
    if (said->has_id)
        memcpy(written->id, said->id.data, sizeof written->id);
    record.body_case = said->body_case;
    record.close = said->close; /* all bodies are pointers in one union */
    must(store_begin(b->store, &txn, why));
    must(store_append(txn, b->site, &record, &stored, why));
    must(store_commit(&txn, why));
    arena_done(&lines);
    written->hidden = !seen;
    written->site = WORLD_HUB;
    hub_machine_wrote(b->hub_machine);
}

void
world_last_id(const struct world *w, uint8_t out_id[16])
{
    memcpy(out_id, w->written[w->n_written - 1].id, 16);
}
