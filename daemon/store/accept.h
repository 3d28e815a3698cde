/* accept.h - are these records new, known, ahead of us, or another history? Pure.
 */
#ifndef DAEMON_STORE_ACCEPT_H
#define DAEMON_STORE_ACCEPT_H

#include <stdbool.h>
#include <stdint.h>
#include "daemon/store/store.h"

struct accept_facts {
    uint64_t have;     /* last number held of the epoch, 0 for none */
    uint64_t first, n; /* numbers first .. first + n - 1 are offered */
    bool claims_fit;   /* what the records say of themselves fits their place and the chain */
    bool prev_fits;    /* `prev` is the hash held at first - 1 (zeros at 0). Unread in a gap */
    bool same;         /* offered records that are held have the same hashes. Unread in a gap */
};

enum accept_result accept_decide(const struct accept_facts *facts);

/* For one record of a log that is held in part. */
struct accept_part_facts {
    uint64_t seq;
    bool claims_fit;
    bool held, same;   /* this number is held, and with the same hash */
    bool before_fits;  /* the record before is not held, or `prev` is its hash */
    bool after_fits;   /* the record after is not held, or it hangs on this one */
    bool prev_is_zero; /* `prev` is 32 zeros */
};

enum accept_result accept_part_decide(const struct accept_part_facts *facts);

#endif
