/* subjects.h - which subjects a record belongs to, and what folds each class. The one place.
 */
#ifndef DAEMON_LEDGER_SUBJECTS_H
#define DAEMON_LEDGER_SUBJECTS_H

#include "daemon/ledger/fold.h"

enum {
    SUBJECT_CLASSES = 12,
    SUBJECT_CODE_MAX = 160
};

struct class_row {
    fold_fn *fold;                         /* NULL: facts only, nothing to fold */
    const ProtobufCMessageDescriptor *row; /* NULL: no row */
    bool tub_counts, lot_counts;           /* wants stocktakes with tubs, with bottles */
    bool last;                             /* folded after the others (reads their waste) */
};

/* NULL: no such class. */
const struct class_row *class_row(enum subject_class class);

/* The code of what is folded day by day: "YYYY-MM-DD|name". The day comes first as in the logs, so
 * that what happened together lies together. */
const char *subject_on_day(int32_t day, const char *name, char code[SUBJECT_CODE_MAX]);

/* A record that names a code twice may give it twice; a code is lent for the call. */
typedef enum err subject_visit(void *owner, enum subject_class class, const char *code);

/* `day` is the business day of the fact. A kind that belongs to nobody has no subject. */
enum err subjects_visit(const Knockbox__Record *record, int32_t day, subject_visit *visit,
                        void *owner);

/* Does the record count for R8's newest day under this subject? True for one of its subjects. */
bool subject_is_first(const Knockbox__Record *record, int32_t day, enum subject_class class,
                      const char *code);

/* What a person would call the record by: its tub, lot, batch, place, day, run or stream. */
const char *record_subject(const Knockbox__Record *record, char text[SUBJECT_CODE_MAX]);

/* Classes whose folds read a catalogue kind: bits 1 << class. SUBJECTS_ALL: the index itself
 * depends on it (which day, inside or outside). */
enum {
    SUBJECTS_ALL = -1
};
int subjects_touched(uint32_t kind_number);

#endif
