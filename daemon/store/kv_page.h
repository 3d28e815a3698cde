/* kv_page.h - one page of data.mdb, taken apart with every length checked. Pure.
 *
 * LMDB 0.9 on a 64-bit little-endian machine, pages of 4096 bytes (docs/store-format.md, "Pages").
 * Each function that can find a fault returns words for it, or NULL when all is well.
 */
#ifndef DAEMON_STORE_KV_PAGE_H
#define DAEMON_STORE_KV_PAGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    PAGE_SIZE = 4096
};
#define NO_PAGE UINT64_MAX

/* How a tree is rooted: of a table, of the table of tables, of the list of free pages. */
struct page_tree {
    uint16_t flags, depth;
    uint64_t entries, root; /* root NO_PAGE: empty */
};

/* One of the two head pages. */
struct page_head {
    bool is_one; /* it has LMDB's mark */
    uint32_t version, page_size;
    struct page_tree free, main;
    uint64_t last, txn; /* last page in use, transaction that wrote it */
};

enum {
    PAGE_HEAD_BYTES = 0x98,
    PAGE_HEAD_TXN = 0x90 /* where the transaction's number stands */
};
struct page_head page_head_of(const uint8_t bytes[PAGE_HEAD_BYTES]);
/* Is this page, number 0 or 1, one that LMDB wrote there? */
const char *page_head_fault(const struct page_head *head, unsigned page);
/* The good page as it would stand in page `to`, one transaction older: LMDB goes on with the good
 * one, and writes over this one next. */
void page_head_twin(const uint8_t good[PAGE_SIZE], unsigned to, uint8_t out[PAGE_SIZE]);
/* Do the two fit each other? They are written in turn, so one is one transaction ahead. */
const char *page_heads_fault(const struct page_head heads[2]);

/* A branch or leaf page. */
struct page {
    const uint8_t *bytes;
    bool leaf;
    unsigned n; /* nodes */
};

struct page_node {
    const uint8_t *key;
    size_t key_len;
    uint64_t child;       /* branch: the page below */
    const uint8_t *value; /* leaf: lent from the page; NULL when it is on pages of its own */
    size_t value_len;
    uint64_t big; /* leaf: first of those pages, else 0 */
    bool is_tree; /* leaf: value is a struct page_tree */
};

const char *page_open(const uint8_t bytes[PAGE_SIZE], uint64_t number, bool leaf,
                      struct page *out_page);
const char *page_node(const struct page *page, unsigned i, struct page_node *out_node);
/* `value` of 48 bytes. */
struct page_tree page_tree_of(const uint8_t *value);
/* The first of the pages of one big value of `len` bytes. *out_pages: how many. */
const char *page_big(const uint8_t bytes[16], uint64_t number, uint64_t len, uint64_t *out_pages);

uint64_t page_number_at(const uint8_t *at, size_t size); /* little-endian */

#endif
