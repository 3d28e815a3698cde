/* kind.h - the table of record kinds: one row a kind, everything else reads it.
 *
 * A kind is the number of its field in Record.body (proto/record.proto).
 */
#ifndef DAEMON_RECORD_KIND_H
#define DAEMON_RECORD_KIND_H

#include <stdbool.h>
#include <stdint.h>
#include "proto/err.h"
#include "proto/record.pb-c.h"

enum kind_group {
    KIND_SITE,      /* written by cafés and the kitchen about their own day */
    KIND_CATALOGUE, /* written in the hub's log: how things are called and priced */
    KIND_ACT,       /* written in the hub's log by office or operator */
};

/* Who may write a kind, and who may ask: a set of these. `enrol` and `revoke` are the operator's
 * alone: whoever hands out keys could make an operator. Bottles may go back, so both sides write
 * `dispatch` and `accept`. */
enum role {
    ROLE_BIT_BARISTA = 1,
    ROLE_BIT_DRIVER = 2,
    ROLE_BIT_KITCHEN = 4,
    ROLE_BIT_OFFICE = 8,
    ROLE_BIT_OPERATOR = 16,
    ROLE_BIT_READER = 32,
    ROLE_BIT_ALL = 63,
};

struct kind {
    uint32_t number;  /* Knockbox__Record__BodyCase */
    const char *word; /* "tub", "period-close" */
    enum kind_group group;
    unsigned writers; /* roles */
    int order;        /* rank among records of one instant, report rule T5 */
    bool big;         /* may take 64 KiB instead of 4 KiB */
    bool to_cafes;    /* goes down to every café (false: never, or as `concerns` says) */
    const ProtobufCMessageDescriptor *descriptor;
    /* What a record alone can tell beyond its fields: one of tub and lot, net over 0, ...
     * NULL: nothing. kind_check() calls it. */
    enum err (*check)(const Knockbox__Record *record, struct err_text *why);
    /* Does the record concern this site? NULL: `to_cafes` says all. */
    bool (*concerns)(const Knockbox__Record *record, const char *site);
};

const struct kind *kind_by_number(uint32_t number); /* NULL: unknown (a later version's) */
const struct kind *kind_by_word(const char *word);  /* NULL: unknown */
const struct kind *kinds(unsigned *out_n);          /* all, in order of number */

/* The kind's own check; ERR_OK for a record of a later version's kind. */
enum err kind_check(const Knockbox__Record *record, struct err_text *why);

/* May this site (not the hub's own) see this record of the hub's log? Prices never: nor an item
 * with the price of its pack, nor another site with its wage. */
bool kind_visible(const Knockbox__Record *record, const char *site);

/* Must this site never see the record, because it is the hub's alone or holds a price or a wage?
 * What is merely another site's is no secret. */
bool kind_secret(const Knockbox__Record *record, const char *site);

/* The body as a message, whatever the kind; NULL when there is none. */
const ProtobufCMessage *record_body(const Knockbox__Record *record);

const char *role_word(enum role role); /* "barista" */
bool role_parse(const char *word, enum role *out_role);

#endif
