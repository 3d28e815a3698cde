/* books.h - sums by month: what every fold posts and every report reads. One mechanism.
 *
 * A line is (measure, month, site, key) -> amount, an int64 in the measure's unit. Lines that come
 * to 0 are not there. Since lines are sums of postings, the order of postings never shows.
 * Stock and waste at a point in time are sums of all months up to it.
 */
#ifndef DAEMON_LEDGER_BOOKS_H
#define DAEMON_LEDGER_BOOKS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "proto/err.h"

/* Declared once: name, unit, what the key is. Numbers are part of the ledger's format. */
#define MEASURES(X)                                                                                 \
    /* grounds and stock of tubs; site = row (a site or "in-transit") */                            \
    X(1, FILLED, "g", "")                     /* net of tub records, G1 */                          \
    X(2, FILLED_BY, "g", "method")            /* the same by method */                              \
    X(3, UNCAPTURED, "g", "method")           /* close.uncaptured_g; key "" never used */           \
    X(4, UNCAPTURED_DAYS_UNKNOWN, "days", "") /* closes without uncaptured_g */                     \
    X(5, SENT, "g", "")                                                                             \
    X(6, RECEIVED, "g", "")                                                                         \
    X(7, REJECTED, "g", "") /* S6 */                                                                \
    X(8, USED, "g", "")     /* S7 */                                                                \
    X(9, UNEXPLAINED_RECEIPT, "g", "")                                                              \
    X(10, UNEXPLAINED_COUNT, "g", "")                                                               \
    X(11, UNEXPLAINED_OVERDRAW, "g", "")                                                            \
    X(12, UNEXPLAINED_EMPTY, "g", "")                                                               \
    X(13, COUNTED, "times", "") /* stocktakes with `tubs`, S2 */                                    \
    /* days and safety */                                                                           \
    X(20, DAY_CLOSED, "times", "day") /* closes in force, by business day */                        \
    X(21, WARM_OVER, "min", "tub")    /* floored minutes; listed even when 0 would hide: +1 */      \
    X(22, WARM_UNKNOWN, "times", "tub")                                                             \
    X(23, READING, "times", "place|day")                                                            \
    X(24, READING_FAILED, "times", "record|temp_c|open|place") /* Q2; open 0 or 1 */                \
    X(25, RECORDS, "times", "day") /* facts by business day of their site; R8's newest */           \
    X(26, SAMPLED, "times", "day|from|to|days|size") /* closes by sample; "" where not stated */    \
    /* residue and waste; site = site of the record */                                              \
    X(30, RESIDUE_MADE, "g", "")                        /* strain.residue_g */                      \
    X(31, RESIDUE_SETTLED, "g", "")                     /* residue that waits no more */            \
    X(32, WASTE_BEGUN, "g", "")                         /* W1, drain included */                    \
    X(33, WASTE_TO, "g", "destination|material|onsite") /* W4; onsite 0 or 1 */                     \
    X(34, WASTE_GAP, "g", "")                           /* W3 */                                    \
    X(35, RESIDUE_TO, "g", "batch|destination")         /* for E4 */                                \
    /* product */                                                                                   \
    X(40, BOTTLED_G, "g", "product")                                                                \
    X(41, BOTTLED_ML, "mL", "product")                                                              \
    X(42, BOTTLED, "bottles", "product")                                                            \
    X(43, AT_LIST, "minor", "product|currency")                                                     \
    X(44, DELIVERED, "minor", "product|currency")                                                   \
    X(45, SOLD, "minor", "product|currency")                                                        \
    X(46, LOST, "minor", "product|currency")                                                        \
    X(47, UNPRICED, "times", "product|currency|which") /* list, delivered, lost without price */    \
    X(48, SOLD_ML, "mL", "product|day")                /* by business day, for what may be sold */  \
    X(50, BATCH_ENDED, "times", "batch")               /* strain `end` in the month */              \
    X(51, BATCH_DRY_USED, "ug", "batch")               /* W11, dry grounds less dry residue */      \
    X(52, LOT_BOTTLED, "times", "lot")                                                              \
    X(53, LOT_HELD, "lots", "why|lot") /* Q1: +1 when it begins to be held, -1 when that ends */    \
    /* B1, B2: in the month of the batch's last `end`, else of its last record; site of its mix.  \
     * Separated by one space, which no code has. */ \
    X(54, BATCH_IN, "g", "class detail batch") /* "spirit 40.0 B-1", fold_batch.c */                \
    X(55, BATCH_OUT, "g", "what batch")        /* product, residue, loss */                         \
    X(56, BATCH_ML, "mL", "batch")             /* product, at 20 Cel */                             \
    X(57, BATCH_DRY, "ug", "batch")            /* dry matter of its grounds */                      \
    X(58, BATCH_ABV, "times", "abv batch")     /* measured; not there: only an estimate */          \
    /* quality */                                                                                   \
    X(60, CORRECTION, "times", "record id")                                                         \
    X(61, DISCREPANCY, "times", "code/record/subject") /* report rules, part 3 */                   \
    /* K1 to K5: lines of batches stand where those of BATCH_IN stand, lines of \
     * runs in the month of the receipt and of the mix */                   \
    X(70, BATCH_PRICE, "g", "price batch")         /* "GBP 1250 70000 B-1" */                       \
    X(71, BATCH_MADE, "times", "recipe day batch") /* of its first mix */                           \
    X(72, BATCH_BOTTLES, "bottles", "ml batch")                                                     \
    X(73, RUN_LOAD, "g", "run")       /* as weighed on receipt */                                   \
    X(74, RUN_USED, "g", "run batch") /* "-": no ride needed */

enum measure {
#define X(number, name, unit, key) MEASURE_##name = (number),
    MEASURES(X)
#undef X
};

struct books; /* lines in memory, sorted */

enum err books_new(struct books **out_books, struct err_text *why);
void books_free(struct books *books); /* NULL is fine */

struct posting {
    enum measure measure;
    int32_t month; /* proto/when.h */
    const char *site;
    const char *key; /* "" where the measure has none */
    int64_t amount;
};

enum err books_post(struct books *books, const struct posting *posting, struct err_text *why);

/* The same for lines that come each once and in order, as a table holds them: no search. Of another
 * line it makes a books_post(). */
enum err books_append(struct books *books, const struct posting *posting, struct err_text *why);

/* One line; 0 when not there. */
int64_t books_line(const struct books *books, enum measure measure, int32_t month, const char *site,
                   const char *key);
/* Sum over keys and, with site NULL, over sites, of months first..last inclusive. */
int64_t books_sum(const struct books *books, enum measure measure, int32_t first, int32_t last,
                  const char *site);

/* Lines of one measure in months first..last, ordered by month, site, key; stop by returning
 * false. */
typedef bool books_visit(void *owner, const struct posting *line);
void books_walk(const struct books *books, enum measure measure, int32_t first, int32_t last,
                books_visit *visit, void *owner);
/* All lines, ordered by measure, month, site, key. */
void books_walk_all(const struct books *books, books_visit *visit, void *owner);

void books_clear(struct books *books);        /* no lines any more */
size_t books_size(const struct books *books); /* lines in memory, those of 0 too */

#endif
