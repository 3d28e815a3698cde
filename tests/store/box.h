/* box.h - a folder, a clock and a store of its own for one test; records to put in.
 */
#ifndef TESTS_STORE_BOX_H
#define TESTS_STORE_BOX_H

#include <stdbool.h>
#include "daemon/store/store.h"

/* One test's world. The clock stands still unless the test moves now_ms; random bytes come from
 * `random`, so a test is the same each time. */
struct box {
    char dir[256];
    int64_t now_ms;
    uint64_t random;
    uint64_t next_id;
    struct store *store; /* NULL while closed */
    struct store_options options;
};

void box_init(struct box *box, const char *site); /* an empty folder, nothing opened */
void box_done(struct box *box);                   /* closes, removes the folder */
void box_open(struct box *box);                   /* must work */
void box_close(struct box *box);
void box_reopen(struct box *box);

/* A note record of `text` with the next id. Lent until the next call. */
Knockbox__Record *box_note(struct box *box, const char *text);
/* Appends `n` notes to the log of `site` in one transaction; must work. */
void box_write(struct box *box, const char *site, unsigned n);
/* The same with texts that make the packed record about `bytes` long. */
void box_write_sized(struct box *box, const char *site, unsigned n, size_t bytes);
/* How far the own log of `site` goes; seq 0 when there is none. */
struct log_mark box_mark(struct box *box, const char *site);
/* A record read by arrival number into memory that lives as long as the box's store. */
uint64_t box_count(struct box *box); /* the last arrival number */

/* The whole of a file, malloc'ed. */
uint8_t *box_slurp(const char *dir, const char *name, size_t *out_len);
void box_spill(const char *dir, const char *name, const void *bytes, size_t len);

#endif
