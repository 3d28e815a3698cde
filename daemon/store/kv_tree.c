/* kv_tree.c - are all trees of data.mdb whole? */
#include "daemon/store/kv_tree.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum {
    MOST_DEPTH = 32
}; /* LMDB's own limit */

struct check {
    int fd;
    bool leaves;
    uint64_t pages;   /* pages in use, as far as the file goes */
    uint8_t *used;    /* one bit a page */
    uint64_t entries; /* seen in the tree that is being followed */
    bool numbers;     /* keys are numbers in the machine's order: the list of free pages */
    struct kv_fault *fault;
};

/* Keys of a subtree lie in [low, high); NULL: no bound. */
struct bounds {
    const struct page_node *low, *high;
};

static enum err
damaged(struct check *c, uint64_t page, const char *what)
{
    *c->fault = (struct kv_fault){what, page};
    return ERR_DAMAGED;
}

/* Takes pages first .. first + n - 1; each belongs to one place only. */
static enum err
use(struct check *c, uint64_t first, uint64_t n)
{
    if (first < 2 || n > c->pages || first > c->pages - n)
        return damaged(c, first, "it lies outside the file");
    for (uint64_t i = first; i < first + n; i++) {
        uint8_t bit = (uint8_t)(1u << (i % 8));
        if ((c->used[i / 8] & bit) != 0)
            return damaged(c, i, "it is used twice");
        c->used[i / 8] |= bit;
    }
    return ERR_OK;
}

static enum err
read_bytes(struct check *c, uint64_t page, uint8_t *bytes, size_t n)
{
    ssize_t got = pread(c->fd, bytes, n, (off_t)(page * PAGE_SIZE));
    if (got < 0)
        return ERR_IO;
    return (size_t)got == n ? ERR_OK : damaged(c, page, "it is cut short");
}

static int
compare(const struct check *c, const struct page_node *a, const struct page_node *b)
{
    if (c->numbers) {
        uint64_t x = page_number_at(a->key, 8), y = page_number_at(b->key, 8);
        return (x > y) - (x < y);
    }
    size_t n = a->key_len < b->key_len ? a->key_len : b->key_len;
    int order = memcmp(a->key, b->key, n);
    return order != 0 ? order : (a->key_len > b->key_len) - (a->key_len < b->key_len);
}

/* Is the key where it belongs? `before` NULL: the first of its page. */
static bool
in_order(const struct check *c, const struct bounds *bounds, const struct page_node *before,
         const struct page_node *node)
{
    if (node->key_len == 0 || (c->numbers && node->key_len != 8))
        return false;
    if (before != NULL && compare(c, before, node) >= 0)
        return false;
    if (bounds->low != NULL && compare(c, bounds->low, node) > 0)
        return false;
    return bounds->high == NULL || compare(c, node, bounds->high) < 0;
}

static enum err
check_big(struct check *c, const struct page_node *node)
{
    uint8_t head[16];
    uint64_t n = 0;
    if (node->big < 2 || node->big >= c->pages)
        return damaged(c, node->big, "it lies outside the file");
    enum err e = read_bytes(c, node->big, head, sizeof head);
    if (e != ERR_OK)
        return e;
    const char *what = page_big(head, node->big, node->value_len, &n);
    return what != NULL ? damaged(c, node->big, what) : use(c, node->big, n);
}

/* A row of the list of free pages: how many 8, then their numbers 8 each. None is in use. */
static enum err
check_free(struct check *c, uint64_t page, const struct page_node *node, const uint8_t *value)
{
    uint64_t n = node->value_len >= 8 ? page_number_at(value, 8) : UINT64_MAX;
    enum err e = ERR_OK;
    if (n > node->value_len / 8 - 1)
        return damaged(c, page, "the list of free pages is damaged");
    for (uint64_t i = 1; i <= n && e == ERR_OK; i++)
        e = use(c, page_number_at(value + 8 * i, 8), 1);
    return e;
}

/* The same when the list is on pages of its own. */
static enum err
check_big_free(struct check *c, const struct page_node *node)
{
    uint8_t *pages = malloc(node->value_len + 16);
    if (pages == NULL)
        return ERR_MEM;
    enum err e = read_bytes(c, node->big, pages, node->value_len + 16);
    if (e == ERR_OK)
        e = check_free(c, node->big, node, pages + 16);
    free(pages);
    return e;
}

static enum err
check_row(struct check *c, uint64_t page, const struct page_node *node)
{
    enum err e = node->big != 0 ? check_big(c, node) : ERR_OK;
    c->entries++;
    if (e != ERR_OK || !c->numbers)
        return e;
    return node->big != 0 ? check_big_free(c, node) : check_free(c, page, node, node->value);
}

static enum err check_page(struct check *c, uint64_t number, unsigned depth,
                           const struct bounds *bounds);

static enum err
check_leaf(struct check *c, uint64_t number, const struct page *page, const struct bounds *bounds)
{
    struct page_node before, node;
    enum err e = ERR_OK;
    for (unsigned i = 0; i < page->n && e == ERR_OK; i++) {
        const char *what = page_node(page, i, &node);
        if (what != NULL)
            return damaged(c, number, what);
        if (!in_order(c, bounds, i > 0 ? &before : NULL, &node))
            return damaged(c, number, "its keys are not in order");
        e = check_row(c, number, &node);
        before = node;
    }
    return e;
}

/* The first key of a branch is not used: what is below begins at the bound of the page itself. */
static enum err
check_branch(struct check *c, uint64_t number, const struct page *page, unsigned depth,
             const struct bounds *bounds)
{
    struct page_node node, next;
    const char *what = page_node(page, 0, &node);
    enum err e = ERR_OK;
    if (what == NULL && page->n < 2 && !c->numbers) /* LMDB would end the process */
        what = "it leads to one page only";
    for (unsigned i = 0; i < page->n && e == ERR_OK && what == NULL; i++) {
        struct bounds below = {i > 0 ? &node : bounds->low, bounds->high};
        if (i + 1 < page->n) {
            what = page_node(page, i + 1, &next);
            if (what != NULL)
                break;
            if (!in_order(c, bounds, i > 0 ? &node : NULL, &next))
                return damaged(c, number, "its keys are not in order");
            below.high = &next;
        }
        e = check_page(c, node.child, depth - 1, &below);
        node = next;
    }
    return what != NULL ? damaged(c, number, what) : e;
}

static enum err
check_page(struct check *c, uint64_t number, unsigned depth, const struct bounds *bounds)
{
    uint8_t bytes[PAGE_SIZE];
    struct page page;
    enum err e = use(c, number, 1);
    if (e != ERR_OK || (depth == 1 && !c->leaves))
        return e;
    e = read_bytes(c, number, bytes, sizeof bytes);
    if (e != ERR_OK)
        return e;
    const char *what = page_open(bytes, number, depth == 1, &page);
    if (what != NULL)
        return damaged(c, number, what);
    return depth == 1 ? check_leaf(c, number, &page, bounds)
                      : check_branch(c, number, &page, depth, bounds);
}

static enum err
check_tree(struct check *c, const struct page_tree *tree)
{
    static const struct bounds none = {NULL, NULL};
    c->entries = 0;
    if (tree->root == NO_PAGE)
        return tree->entries == 0 ? ERR_OK : damaged(c, 0, "a table has lost its root");
    if (tree->depth == 0 || tree->depth > MOST_DEPTH)
        return damaged(c, tree->root, "it roots a tree of a depth that cannot be");
    enum err e = check_page(c, tree->root, tree->depth, &none);
    if (e == ERR_OK && c->leaves && c->entries != tree->entries)
        e = damaged(c, tree->root, "its tree has not as many rows as it says");
    return e;
}

/* ---- the tables: rows of the main tree. Few, so the tree is one page, or two levels. */

static enum err
check_tables_of(struct check *c, uint64_t number, unsigned depth)
{
    uint8_t bytes[PAGE_SIZE];
    struct page page;
    struct page_node node;
    enum err e = read_bytes(c, number, bytes, sizeof bytes);
    if (e != ERR_OK || page_open(bytes, number, depth == 1, &page) != NULL)
        return e != ERR_OK ? e : damaged(c, number, "it is not what it was");
    for (unsigned i = 0; i < page.n && e == ERR_OK; i++) {
        (void)page_node(&page, i, &node); /* was checked just before */
        if (depth > 1) {
            e = check_tables_of(c, node.child, depth - 1);
            continue;
        }
        struct page_tree tree = {.root = NO_PAGE};
        if (node.is_tree)
            tree = page_tree_of(node.value);
        e = tree.flags != 0 ? damaged(c, number, "a table is of an unknown kind")
                            : check_tree(c, &tree);
    }
    return e;
}

static enum err
check_all(struct check *c, const struct page_head *head)
{
    bool leaves = c->leaves;
    c->leaves = true; /* these two are small */
    enum err e = check_tree(c, &head->main);
    c->numbers = true;
    if (e == ERR_OK)
        e = check_tree(c, &head->free);
    c->numbers = false;
    c->leaves = leaves;
    if (e == ERR_OK && head->main.root != NO_PAGE)
        e = check_tables_of(c, head->main.root, head->main.depth);
    return e;
}

enum err
kv_tree_check(int fd, const struct page_head *head, uint64_t bytes, bool leaves,
              struct kv_fault *out_fault)
{
    uint64_t there = bytes / PAGE_SIZE;
    *out_fault = (struct kv_fault){NULL, 0};
    /* a few last pages may never have been written: those a transaction took and gave back */
    struct check c = {.fd = fd, .leaves = leaves, .fault = out_fault, .pages = head->last + 1};
    if (head->last < 1 || (head->last >= there && head->last - there > 131072))
        return damaged(&c, head->last, "the file should reach to it");
    c.used = calloc(1, c.pages / 8 + 1);
    if (c.used == NULL)
        return ERR_MEM;
    enum err e = check_all(&c, head);
    free(c.used);
    return e;
}
