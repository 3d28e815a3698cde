/* refold.c - folds subjects again and books the difference to what they gave before. */
#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/kept.h"

struct booking {
    struct ledger *ledger;
    const struct view *view;
    enum subject_class class;
    const char *code;
    struct err_text *why;
};

/* ---- one item of an outcome, given (+1) or taken back (-1) */

static enum err
book_posting(struct booking *b, const struct outcome_item *item, int sign)
{
    struct posting posting = {item->measure, item->month, item->site, item->key,
                              sign * item->amount};
    return books_post(b->ledger->delta, &posting, b->why);
}

/* `number` NULL: the row is all key. */
static enum err
book_row(struct booking *b, MDB_dbi table, const struct key *key, const int64_t *number, int sign)
{
    uint8_t value[8];
    if (key->over)
        return ERR_OK;
    if (sign < 0)
        return kv_del(b->view->kv, table, key->bytes, key->n, b->why);
    if (number != NULL)
        put_i64(value, *number);
    size_t len = number != NULL ? sizeof value : 0;
    return kv_put(b->view->kv, table, key->bytes, key->n, value, len, false, b->why);
}

static enum err
book_waste(struct booking *b, const struct outcome_item *item, int sign)
{
    struct key key = {.n = 0, .over = false};
    key_bytes(&key, item->id, ID_SIZE);
    enum err e = book_row(b, b->ledger->tables.wastes, &key, &item->amount, sign);
    return e == ERR_OK ? set_add(&b->ledger->dirty, SUBJECT_WASTE, item->site, b->why) : e;
}

static enum err
book_stay(struct booking *b, const struct outcome_item *item, int sign)
{
    struct key key = key_subject(b->class, item->site);
    key_instant(&key, item->to_ms);
    key_instant(&key, item->from_ms);
    key_text(&key, b->code);
    return book_row(b, b->ledger->tables.stays, &key, NULL, sign);
}

static enum err
book_dependency(struct booking *b, const struct outcome_item *item, int sign)
{
    struct key key = key_subject(item->class, item->key);
    key_byte(&key, (uint8_t)b->class);
    key_text(&key, b->code);
    return book_row(b, b->ledger->tables.deps, &key, NULL, sign);
}

static enum err
book(struct booking *b, const struct outcome_item *item, int sign)
{
    switch (item->type) {
    case OUTCOME_POSTING:
        return book_posting(b, item, sign);
    case OUTCOME_WASTE:
        return book_waste(b, item, sign);
    case OUTCOME_STAY:
        return book_stay(b, item, sign);
    case OUTCOME_DEPENDS:
        return book_dependency(b, item, sign);
    case OUTCOME_ROW:
        break;
    }
    return ERR_OK;
}

/* ---- the difference of two outcomes, both sorted */

struct side {
    const uint8_t *bytes;
    size_t len;
    struct outcome_reader reader;
    struct outcome_item item;
    bool any;
};

static void
start(struct side *side)
{
    outcome_read(&side->reader, side->bytes, side->len);
    side->any = outcome_next(&side->reader, &side->item);
}

static void
step(struct side *side)
{
    side->any = outcome_next(&side->reader, &side->item);
}

static int
compare(const struct side *a, const struct side *b)
{
    if (!a->any || !b->any)
        return a->any ? -1 : b->any;
    return outcome_compare(&a->item, &b->item);
}

/* Books what only `left` has, with `sign`. */
static enum err
book_only(struct booking *b, struct side left, struct side right, int sign)
{
    enum err e = ERR_OK;
    start(&left);
    start(&right);
    while (e == ERR_OK && left.any) {
        int order = compare(&left, &right);
        if (order < 0)
            e = book(b, &left.item, sign);
        if (order <= 0)
            step(&left);
        if (order >= 0)
            step(&right);
    }
    return e;
}

static enum err
replace_row(struct booking *b, const struct side *old, const struct side *new)
{
    struct key key = key_row(b->class, b->code);
    if (key.over)
        return ERR_OK;
    enum err e = book_only(b, *old, *new, -1); /* all is taken back before anything is given */
    if (e == ERR_OK)
        e = book_only(b, *new, *old, 1);
    if (e != ERR_OK)
        return e;
    MDB_dbi rows = b->ledger->tables.rows;
    if (new->len == 0)
        return kv_del(b->view->kv, rows, key.bytes, key.n, b->why);
    return table_put(b->view->kv, b->ledger->rows, rows, &key, new->bytes, new->len, b->why);
}

/* The old outcome, copied: what LMDB lends is gone with the first write. */
static enum err
read_old(struct booking *b, struct side *out, uint8_t **out_copy)
{
    MDB_val value;
    struct key key = key_row(b->class, b->code);
    *out = (struct side){.len = 0};
    *out_copy = NULL;
    if (b->ledger->rebuilding) /* nothing is there in a rebuild */
        return ERR_OK;
    enum err e = kv_get(b->view->kv, b->ledger->tables.rows, key.bytes, key.n, &value, b->why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK;
    if (e != ERR_OK)
        return e;
    *out_copy = malloc(value.mv_size + 1);
    if (*out_copy == NULL)
        return err_set(ERR_MEM, b->why, "ledger: out of memory");
    memcpy(*out_copy, value.mv_data, value.mv_size);
    *out = (struct side){.bytes = *out_copy, .len = value.mv_size};
    return ERR_OK;
}

enum err
refold(struct ledger *ledger, const struct view *view, enum subject_class class, const char *code,
       struct err_text *why)
{
    struct booking b = {ledger, view, class, code, why};
    struct side old, new = {.len = 0};
    uint8_t *copy = NULL;
    struct folding *f = &ledger->folding;
    f->view = view;
    f->counts = &ledger->counts;
    f->hub_site = ledger->hub_site;
    enum err e = class == SUBJECT_RECORD ? folding_record(f, code, &new.bytes, &new.len, why)
                                         : folding_run(f, class, code, &new.bytes, &new.len, why);
    if (e == ERR_OK)
        e = read_old(&b, &old, &copy);
    if (e == ERR_OK &&
        (old.len != new.len || (new.len > 0 && memcmp(old.bytes, new.bytes, new.len) != 0)))
        e = replace_row(&b, &old, &new);
    free(copy);
    return e;
}

/* ---- lines */

struct flushing {
    struct kv_txn *txn;
    MDB_dbi lines;
    struct kv_spot *spot; /* lines come in order of their keys */
    enum err e;
    struct err_text *why;
};

static bool
flush_line(void *owner, const struct posting *line)
{
    struct flushing *f = owner;
    MDB_val value;
    uint8_t bytes[8];
    struct key key = line_key(line);
    if (key.over)
        return true;
    int64_t amount = line->amount;
    f->e = kv_spot_get(f->spot, key.bytes, key.n, &value, f->why);
    if (f->e == ERR_OK && value.mv_size == 8)
        amount += get_i64(value.mv_data);
    if (f->e == ERR_OK || f->e == ERR_NOT_FOUND) {
        put_i64(bytes, amount);
        f->e = amount != 0 ? kv_spot_put(f->spot, key.bytes, key.n, bytes, 8, false, f->why)
                           : kv_del(f->txn, f->lines, key.bytes, key.n, f->why);
    }
    return f->e == ERR_OK;
}

enum err
flush_lines(struct ledger *ledger, struct kv_txn *txn, struct err_text *why)
{
    struct flushing f = {.txn = txn, .lines = ledger->tables.lines, .why = why};
    if (books_size(ledger->delta) == 0)
        return ERR_OK;
    f.e = kv_spot_open(txn, f.lines, &f.spot, why);
    if (f.e == ERR_OK)
        books_walk_all(ledger->delta, flush_line, &f);
    kv_spot_close(f.spot);
    books_clear(ledger->delta);
    return f.e;
}

/* ---- the catalogue and the stocktakes in memory */

struct collecting {
    const struct view *view;
    struct catalogue *catalogue;
    struct pool pool;
};

static enum err
collect_act(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
            struct err_text *why)
{
    struct collecting *c = owner;
    struct stored stored;
    struct effect effect;
    (void)key;
    if (key_len != ID_SIZE || value_len != 8)
        return err_set(ERR_DAMAGED, why, "ledger: a row of acts is damaged");
    enum err e = view_get(c->view, (uint64_t)get_i64(value), &stored, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK;
    pool_reset(&c->pool);
    if (e == ERR_OK)
        e = effect_of(c->view, &stored, &c->pool, &effect, why);
    if (e == ERR_NOT_FOUND || (e == ERR_OK && !effect.counts))
        return ERR_OK;
    if (e != ERR_OK)
        return e;
    return catalogue_add(c->catalogue, effect.fact.record, effect.fact.id, effect.fact.held_ms,
                         why);
}

enum err
make_catalogue(const struct view *view, struct catalogue **out_catalogue, struct err_text *why)
{
    struct view bare = *view;
    bare.catalogue = NULL;
    struct collecting c = {.view = &bare};
    struct key all = {.n = 0, .over = false};
    enum err e = catalogue_new(&c.catalogue, why);
    if (e != ERR_OK)
        return e;
    e = table_walk(view->kv, view->tables->acts, &all, collect_act, &c, why);
    pool_done(&c.pool);
    if (e != ERR_OK) {
        catalogue_free(c.catalogue);
        return e;
    }
    *out_catalogue = c.catalogue;
    return ERR_OK;
}

void
find_hub_site(const struct catalogue *catalogue, const char *own_site, char out[SITE_SIZE])
{
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(catalogue, KNOCKBOX__RECORD__BODY_SITE_, &keys);
    const char *found = NULL;
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Site *site = (const Knockbox__Site *)catalogue_get(
            catalogue, KNOCKBOX__RECORD__BODY_SITE_, keys[i], INT32_MAX);
        if (site == NULL || site->role != KNOCKBOX__ROLE__ROLE_KITCHEN)
            continue;
        if (found == NULL || strcmp(keys[i], own_site) == 0)
            found = keys[i];
    }
    if (found == NULL)
        found = own_site;
    size_t len = strlen(found) < SITE_SIZE ? strlen(found) : SITE_SIZE - 1;
    memcpy(out, found, len);
    out[len] = '\0';
}

enum err
refresh_catalogue(struct ledger *ledger, struct view *view, struct err_text *why)
{
    if (ledger->catalogue_stale) {
        struct catalogue *catalogue = NULL;
        enum err e = make_catalogue(view, &catalogue, why);
        if (e != ERR_OK)
            return e;
        catalogue_free(ledger->catalogue);
        ledger->catalogue = catalogue;
        ledger->catalogue_stale = false;
        find_hub_site(catalogue, view->own_site, ledger->hub_site);
    }
    view->catalogue = ledger->catalogue;
    return ERR_OK;
}

enum err
refresh_counts(struct ledger *ledger, const struct view *view, struct err_text *why)
{
    if (!ledger->counts_stale)
        return ERR_OK;
    enum err e = counts_load(view, &ledger->counts, why);
    ledger->counts_stale = e != ERR_OK;
    return e;
}

/* ---- all that is marked */

struct depending {
    struct ledger *ledger;
    size_t skip;
};

static enum err
mark_dependent(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value,
               size_t value_len, struct err_text *why)
{
    struct depending *d = owner;
    char code[SUBJECT_CODE_MAX];
    (void)value;
    (void)value_len;
    if (key_len < d->skip + 1 || key_len - d->skip - 1 >= sizeof code)
        return err_set(ERR_DAMAGED, why, "ledger: a row of dependencies is damaged");
    size_t len = key_len - d->skip - 1;
    memcpy(code, key + d->skip + 1, len);
    code[len] = '\0';
    return set_add(&d->ledger->dirty, (enum subject_class)key[d->skip], code, why);
}

/* Folds look at facts of others, never at what they gave: one step is enough. */
static enum err
mark_dependents(struct ledger *ledger, const struct view *view, struct err_text *why)
{
    enum err e = ERR_OK;
    size_t n = set_size(&ledger->dirty);
    for (size_t i = 0; i < n && e == ERR_OK; i++) {
        struct key prefix = key_subject(set_class(&ledger->dirty, i), set_code(&ledger->dirty, i));
        struct depending d = {ledger, prefix.n};
        e = table_walk(view->kv, view->tables->deps, &prefix, mark_dependent, &d, why);
    }
    return e;
}

static enum err
mark_class(struct ledger *ledger, const struct view *view, enum subject_class class,
           struct err_text *why)
{
    char code[SUBJECT_CODE_MAX] = "";
    enum err e = ERR_OK;
    while (e == ERR_OK && (e = facts_next_subject(view, class, code, why)) == ERR_OK)
        e = set_add(&ledger->dirty, class, code, why);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

enum err
refold_set(struct ledger *ledger, const struct view *view, bool last, struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t i = 0; i < set_size(&ledger->dirty) && e == ERR_OK; i++) {
        enum subject_class class = set_class(&ledger->dirty, i);
        const struct class_row *row = class_row(class);
        if (row != NULL && row->last == last)
            e = refold(ledger, view, class, set_code(&ledger->dirty, i), why);
    }
    return e;
}

enum err
refold_marked(struct ledger *ledger, struct view *view, struct err_text *why)
{
    enum err e = refresh_catalogue(ledger, view, why);
    if (e == ERR_OK)
        e = refresh_counts(ledger, view, why);
    if (e == ERR_OK)
        e = mark_dependents(ledger, view, why);
    for (int class = 1; class < SUBJECT_CLASSES && e == ERR_OK; class ++)
        if (ledger->dirty_classes >> class & 1)
            e = mark_class(ledger, view, (enum subject_class) class, why);
    if (e == ERR_OK)
        e = refold_set(ledger, view, false, why);
    if (e == ERR_OK)
        e = refold_set(ledger, view, true, why);
    if (e == ERR_OK)
        e = flush_lines(ledger, view->kv, why);
    set_clear(&ledger->dirty);
    ledger->dirty_classes = 0;
    return e;
}
