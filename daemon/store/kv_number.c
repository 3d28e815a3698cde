/* kv_number.c - does each head page have the number of the commit that it holds? */
#include "daemon/store/kv_number.h"

#include <unistd.h>
#include "daemon/store/kv_tree.h"

enum {
    MOST_DEPTH = 32
}; /* LMDB's own limit */

/* The last keys of a list of free pages, the last first. */
struct ends {
    uint64_t keys[2];
    unsigned n;
};

/* Adds the last keys below page `number` until there are two. false: it cannot be read. */
static bool
find_ends(int fd, uint64_t number, unsigned depth, struct ends *ends)
{
    uint8_t bytes[PAGE_SIZE];
    struct page page;
    struct page_node node;
    bool fine = pread(fd, bytes, sizeof bytes, (off_t)(number * PAGE_SIZE)) == PAGE_SIZE &&
                page_open(bytes, number, depth == 1, &page) == NULL;
    for (unsigned i = fine ? page.n : 0; i > 0 && fine && ends->n < 2; i--) {
        fine = page_node(&page, i - 1, &node) == NULL;
        if (fine && depth > 1)
            fine = find_ends(fd, node.child, depth - 1, ends);
        else if (fine && (fine = node.key_len == 8))
            ends->keys[ends->n++] = page_number_at(node.key, 8);
    }
    return fine;
}

/* What the commit of head page `page` wrote down as its number; what the page says, when that is not
 * to be had for sure: a key that rotted does not follow the one before. */
static uint64_t
number_of(int fd, const struct page_head *head, unsigned page, uint64_t pages)
{
    struct ends ends = {.n = 0};
    if (head->free.root == NO_PAGE)
        return head->main.root == NO_PAGE ? 0 : page;
    if (head->free.root >= pages || head->free.depth == 0 || head->free.depth > MOST_DEPTH ||
        !find_ends(fd, head->free.root, head->free.depth, &ends))
        return head->txn;
    bool sure = ends.n == 2 ? ends.keys[0] == ends.keys[1] + 1 : ends.keys[0] <= 2;
    return sure ? ends.keys[0] : head->txn;
}

/* Do both fit each other, and is the newer one the head of a whole file? */
static bool
is_whole(int fd, const struct page_head heads[2], const uint64_t numbers[2], uint64_t bytes)
{
    struct kv_fault fault;
    int newer = heads[1].txn > heads[0].txn;
    return page_heads_fault(heads) == NULL && heads[newer].txn == numbers[newer] &&
           kv_tree_check(fd, &heads[newer], bytes, true, &fault) == ERR_OK;
}

int
kv_number_wrong(int fd, const struct page_head heads[2], uint64_t bytes, uint64_t *out_number)
{
    uint64_t numbers[2];
    for (unsigned i = 0; i < 2; i++)
        numbers[i] = number_of(fd, &heads[i], i, bytes / PAGE_SIZE);
    for (int i = 0; i < 2; i++) {
        struct page_head right[2] = {heads[0], heads[1]};
        right[i].txn = numbers[i];
        /* a twin (kv_mend.h) holds the commit of the other place */
        if (numbers[i] == heads[i].txn || numbers[i] % 2 != (uint64_t)i ||
            !is_whole(fd, right, numbers, bytes))
            continue;
        *out_number = numbers[i];
        return i;
    }
    return -1;
}

enum err
kv_number_write(int fd, int page, uint64_t number)
{
    uint8_t bytes[8];
    off_t at = (off_t)page * PAGE_SIZE + PAGE_HEAD_TXN;
    for (int i = 0; i < 8; i++, number >>= 8)
        bytes[i] = (uint8_t)number;
    return pwrite(fd, bytes, sizeof bytes, at) == (ssize_t)sizeof bytes && fsync(fd) == 0 ? ERR_OK
                                                                                          : ERR_IO;
}
