/* outcome.h - what a fold gave, collected, packed into bytes and read back.
 *
 * The bytes are the same for the same set of gifts: postings of one line are summed, sums of 0 are
 * left out, all is sorted. The ledger keeps them per subject, to take back what was given.
 */
#ifndef DAEMON_LEDGER_OUTCOME_H
#define DAEMON_LEDGER_OUTCOME_H

#include "daemon/ledger/fold.h"

enum err outcome_new(struct outcome **out_outcome, struct err_text *why);
void outcome_free(struct outcome *outcome); /* NULL is fine */
void outcome_clear(struct outcome *outcome);

/* A look at another subject's facts: folded again when that one changes. */
enum err outcome_depends(struct outcome *outcome, enum subject_class class, const char *code);

/* Every posting as it is given, with the fact behind it (NULL: nobody's alone), while somebody
 * listens; `told` NULL: nobody does. An error of `told` is the posting's. */
struct outcome_told {
    struct posting posting;
    const struct fact *by;
    enum subject_class class; /* of the fold, and its code */
    const char *code;
    const char *batch; /* outcome_about() */
    const struct fact *from;
};
typedef enum err outcome_listen(void *owner, const struct outcome_told *told);
void outcome_tell(struct outcome *outcome, outcome_listen *told, void *owner);
/* Whose fold it is; lent. */
void outcome_of(struct outcome *outcome, enum subject_class class, const char *code);

/* All that was given, in bytes; n is 0 when there was nothing. Lent until the next outcome_*. */
enum err outcome_pack(struct outcome *outcome, const uint8_t **out_bytes, size_t *out_len);

enum outcome_item_type {
    OUTCOME_POSTING = 1,
    OUTCOME_ROW = 2,     /* bytes, len */
    OUTCOME_WASTE = 3,   /* id, site, amount */
    OUTCOME_STAY = 4,    /* site, from_ms, to_ms */
    OUTCOME_DEPENDS = 5, /* class, key: the code */
};

struct outcome_item {
    enum outcome_item_type type;
    enum measure measure;
    int32_t month;
    const char *site, *key;
    int64_t amount;
    const uint8_t *bytes;
    size_t len;
    uint8_t id[16];
    int64_t from_ms, to_ms;
    enum subject_class class;
};

/* Reads item after item, in the order of packing. */
struct outcome_reader {
    const uint8_t *bytes, *end;
    const char *sites; /* the texts that items name by number, one behind the other */
    uint64_t n_sites;
    const char *site; /* the one named last, and its number */
    uint64_t at;
    int32_t month; /* of the posting before */
};

void outcome_read(struct outcome_reader *reader, const uint8_t *bytes, size_t len);
/* false at the end. What the item points to lies in the bytes. */
bool outcome_next(struct outcome_reader *reader, struct outcome_item *out_item);

/* The order of packing, and of what differs in nothing else the amount; 0: the same gift. */
int outcome_compare(const struct outcome_item *a, const struct outcome_item *b);

#endif
