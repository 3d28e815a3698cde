/* facts.h - the index of facts by subject, read in T5 order.
 */
#ifndef DAEMON_LEDGER_FACTS_H
#define DAEMON_LEDGER_FACTS_H

#include "daemon/ledger/effect.h"
#include "daemon/ledger/subjects.h"

struct fact_list {
    struct fact *at;
    size_t n, room;
};

enum err fact_list_add(struct fact_list *list, const struct fact *fact, struct err_text *why);
void fact_list_done(struct fact_list *list);

/* What an index entry says. */
struct entry {
    enum subject_class class;
    const char *code; /* lent by the key */
    int64_t at_ms;
    uint64_t lsn, fix_lsn;
    int64_t held_ms;
    uint32_t kind;
};

enum {
    ENTRY_VALUE = 24
}; /* at most */

struct key entry_key(enum subject_class class, const char *code, const struct effect *effect);
/* Returns how many bytes. */
size_t entry_value(const struct effect *effect, uint8_t out[ENTRY_VALUE]);
/* ERR_DAMAGED: not such a row. */
enum err entry_read(const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
                    struct entry *out, struct err_text *why);

/* Records that a view sees otherwise than the index has them: `hidden` are passed over, `items`
 * come in. Both sorted. */
struct overlay_item {
    enum subject_class class;
    char *code;
    uint64_t lsn, fix_lsn;
    uint32_t kind;
};

struct hidden {
    uint64_t lsn;
    uint8_t id[ID_SIZE];
};

struct overlay {
    struct overlay_item *items;
    size_t n, room;
    struct hidden *hidden;
    size_t n_hidden, room_hidden;
};

/* Appends the facts of a subject to `list`, in T5 order. kind 0: all; else those of that kind.
 * Records are lent by the pool. */
enum err facts_load(const struct view *view, enum subject_class class, const char *code,
                    uint32_t kind, struct pool *pool, struct fact_list *list, struct err_text *why);

/* The next subject of a class after `code` ("": the first) into `code`. ERR_NOT_FOUND: no more. */
enum err facts_next_subject(const struct view *view, enum subject_class class,
                            char code[SUBJECT_CODE_MAX], struct err_text *why);

/* Walks the subjects of a class in order, each with where its facts lie: one pass over the index
 * instead of a look for each. For views without an overlay that hide nothing. */
struct stream;

struct places {
    struct place_of {
        uint64_t lsn, fix_lsn;
    } * at;
    size_t n, room;
};

/* From the first subject after `code` on. End with stream_close(). */
enum err stream_open(const struct view *view, enum subject_class class, const char *code,
                     struct stream **out_stream, struct err_text *why);
/* The next subject; its places are lent until the next call. ERR_NOT_FOUND: no more. */
enum err stream_next(struct stream *stream, char out_code[SUBJECT_CODE_MAX],
                     const struct places **out_places, struct err_text *why);
void stream_close(struct stream *stream); /* NULL is fine */
enum err facts_load_places(const struct view *view, enum subject_class class,
                           const struct places *places, struct pool *pool, struct fact_list *list,
                           struct err_text *why);

/* Stocktakes of all sites, stripped of their lists, in T5 order. */
struct counts {
    struct fact_list tubs, lots;
    struct pool pool;
};

enum err counts_load(const struct view *view, struct counts *counts, struct err_text *why);
void counts_done(struct counts *counts);

#endif
