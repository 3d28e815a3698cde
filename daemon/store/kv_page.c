/* kv_page.c - one page of data.mdb, taken apart with every length checked. */
#include "daemon/store/kv_page.h"

#include <string.h>

/* Page: number 8, pad 2, flags 2, lower 2, upper 2 (or pages 4), then offsets of nodes, 2 each. */
enum {
    AT_FLAGS = 10,
    AT_LOWER = 12,
    AT_UPPER = 14,
    AT_PAGES = 12,
    AT_NODES = 16
};
enum {
    IS_BRANCH = 1,
    IS_LEAF = 2,
    IS_BIG = 4,
    IS_HEAD = 8
};
/* Node: low 2, high 2, flags 2, key length 2, key, value. */
enum {
    NODE_HEAD = 8,
    NODE_FLAGS = 4,
    NODE_KEY_LEN = 6
};
enum {
    NODE_IS_BIG = 1,
    NODE_IS_TREE = 2,
    TREE_BYTES = 48
};
/* Tree: page size 4, flags 2, depth 2, three counts of pages 8, entries 8, root 8. */
enum {
    TREE_FLAGS = 4,
    TREE_DEPTH = 6,
    TREE_ENTRIES = 32,
    TREE_ROOT = 40
};
enum {
    TREE_OF_NUMBERS = 8,
    TREE_KINDS = 0x7F
}; /* the bits above are of the file's opening */
/* Head page: page header 16, mark 4, version 4, address 8, map 8, trees of free pages and tables,
 * last page 8, transaction 8. */
enum {
    HEAD_MARK = 0x10,
    HEAD_VERSION = 0x14,
    HEAD_FREE = 0x28,
    HEAD_MAIN = 0x58,
    HEAD_LAST = 0x88
};
static const uint32_t head_mark = 0xBEEFC0DE;

uint64_t
page_number_at(const uint8_t *at, size_t size)
{
    uint64_t n = 0;
    for (size_t i = size; i > 0; i--)
        n = n << 8 | at[i - 1];
    return n;
}

static unsigned
two(const uint8_t *at)
{
    return (unsigned)page_number_at(at, 2);
}

struct page_tree
page_tree_of(const uint8_t *value)
{
    return (struct page_tree){
        .flags = (uint16_t)two(value + TREE_FLAGS),
        .depth = (uint16_t)two(value + TREE_DEPTH),
        .entries = page_number_at(value + TREE_ENTRIES, 8),
        .root = page_number_at(value + TREE_ROOT, 8),
    };
}

struct page_head
page_head_of(const uint8_t bytes[PAGE_HEAD_BYTES])
{
    return (struct page_head){
        .is_one = page_number_at(bytes + HEAD_MARK, 4) == head_mark &&
                  (two(bytes + AT_FLAGS) & IS_HEAD) != 0,
        .version = (uint32_t)page_number_at(bytes + HEAD_VERSION, 4),
        .page_size = (uint32_t)page_number_at(bytes + HEAD_FREE, 4),
        .free = page_tree_of(bytes + HEAD_FREE),
        .main = page_tree_of(bytes + HEAD_MAIN),
        .last = page_number_at(bytes + HEAD_LAST, 8),
        .txn = page_number_at(bytes + PAGE_HEAD_TXN, 8),
    };
}

const char *
page_head_fault(const struct page_head *head, unsigned page)
{
    if (!head->is_one)
        return "it is not readable";
    if (head->version != 1 || head->page_size != PAGE_SIZE)
        return "it is of another version";
    if ((head->free.flags & TREE_KINDS) != TREE_OF_NUMBERS || (head->main.flags & TREE_KINDS) != 0)
        return "it is damaged";
    return head->txn % 2 == page || head->txn == 0 ? NULL : "it belongs in the other place";
}

static void
put_at(uint8_t *at, uint64_t n)
{
    for (int i = 0; i < 8; i++, n >>= 8)
        at[i] = (uint8_t)n;
}

void
page_head_twin(const uint8_t good[PAGE_SIZE], unsigned to, uint8_t out[PAGE_SIZE])
{
    memcpy(out, good, PAGE_SIZE);
    put_at(out, to);
    put_at(out + PAGE_HEAD_TXN, page_number_at(good + PAGE_HEAD_TXN, 8) - 1);
}

const char *
page_heads_fault(const struct page_head heads[2])
{
    uint64_t a = heads[0].txn, b = heads[1].txn;
    if (!heads[0].is_one || !heads[1].is_one)
        return "one of its two head pages is not readable";
    for (int i = 0; i < 2; i++)
        if ((heads[i].free.flags & TREE_KINDS) != TREE_OF_NUMBERS ||
            (heads[i].main.flags & TREE_KINDS) != 0)
            return "one of its two head pages is damaged";
    if (a == 0 && b == 0) /* nothing was ever written */
        return NULL;
    if (a % 2 != 0 || b % 2 != 1 || (a + 1 != b && b + 1 != a))
        return "its two head pages do not belong together";
    return NULL;
}

const char *
page_open(const uint8_t bytes[PAGE_SIZE], uint64_t number, bool leaf, struct page *out_page)
{
    unsigned lower = two(bytes + AT_LOWER), upper = two(bytes + AT_UPPER);
    if (page_number_at(bytes, 8) != number)
        return "it has the number of another page";
    if (two(bytes + AT_FLAGS) != (leaf ? IS_LEAF : IS_BRANCH))
        return "it is of another kind than its tree says";
    if (lower < AT_NODES || lower > upper || upper > PAGE_SIZE || lower % 2 != 0)
        return "its bounds make no sense";
    unsigned n = (lower - AT_NODES) / 2;
    if (n == 0)
        return "it is empty";
    *out_page = (struct page){.bytes = bytes, .leaf = leaf, .n = n};
    return NULL;
}

/* The value of a leaf's node of `len` bytes, which begins at `at`. */
static const char *
open_value(const uint8_t *at, size_t room, uint64_t len, unsigned flags, struct page_node *node)
{
    if ((flags & ~(unsigned)(NODE_IS_BIG | NODE_IS_TREE)) != 0 || flags == 3)
        return "a row is of an unknown kind";
    if (flags == NODE_IS_BIG) {
        if (room < 8)
            return "a row reaches over its page";
        node->big = page_number_at(at, 8);
    } else if (len > room) {
        return "a row reaches over its page";
    }
    node->value = flags == NODE_IS_BIG ? NULL : at;
    node->value_len = len;
    node->is_tree = flags == NODE_IS_TREE;
    return node->is_tree && len != TREE_BYTES ? "the root of a table is damaged" : NULL;
}

const char *
page_node(const struct page *page, unsigned i, struct page_node *out_node)
{
    unsigned at = two(page->bytes + AT_NODES + 2 * (size_t)i);
    unsigned upper = two(page->bytes + AT_UPPER);
    *out_node = (struct page_node){0};
    if (at < upper || at > PAGE_SIZE - NODE_HEAD || at % 2 != 0)
        return "a row lies outside its page";
    const uint8_t *node = page->bytes + at;
    size_t room = PAGE_SIZE - at - NODE_HEAD;
    out_node->key = node + NODE_HEAD;
    out_node->key_len = two(node + NODE_KEY_LEN);
    if (out_node->key_len > room || out_node->key_len > 511)
        return "a key reaches over its page";
    if (!page->leaf) {
        out_node->child = page_number_at(node, 6);
        return NULL;
    }
    return open_value(out_node->key + out_node->key_len, room - out_node->key_len,
                      page_number_at(node, 4), two(node + NODE_FLAGS), out_node);
}

const char *
page_big(const uint8_t bytes[16], uint64_t number, uint64_t len, uint64_t *out_pages)
{
    uint64_t need = (AT_NODES + len + PAGE_SIZE - 1) / PAGE_SIZE;
    *out_pages = page_number_at(bytes + AT_PAGES, 4);
    if (page_number_at(bytes, 8) != number || two(bytes + AT_FLAGS) != IS_BIG)
        return "it does not begin a big value";
    return *out_pages < need ? "a big value is cut short" : NULL;
}
