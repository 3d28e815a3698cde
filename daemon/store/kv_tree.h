/* kv_tree.h - are all trees of data.mdb whole? Follows every page number once, by plain reads.
 */
#ifndef DAEMON_STORE_KV_TREE_H
#define DAEMON_STORE_KV_TREE_H

#include "daemon/store/kv_page.h"
#include "proto/err.h"

/* What is wrong, and where. */
struct kv_fault {
    const char *what; /* NULL: nothing */
    uint64_t page;
};

/* `head` is the newer head page of the open file `fd` of `bytes`. With `leaves` false only the
 * branch pages are read, a two-hundredth of the file. ERR_DAMAGED: *out_fault says where.
 * ERR_IO, ERR_MEM. */
enum err kv_tree_check(int fd, const struct page_head *head, uint64_t bytes, bool leaves,
                       struct kv_fault *out_fault);

#endif
