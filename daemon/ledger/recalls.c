/* recalls.c - which recalls reach a lot, and when people knew. */
#include "daemon/ledger/recalls.h"

static bool
reaches(const Knockbox__Recall *recall, const struct lineage *lineage)
{
    static const struct {
        Knockbox__RecallOf of;
        enum subject_class class;
    } table[] = {
        {KNOCKBOX__RECALL_OF__RECALL_OF_TUB, SUBJECT_TUB},
        {KNOCKBOX__RECALL_OF__RECALL_OF_SUPPLY, SUBJECT_SUPPLY},
        {KNOCKBOX__RECALL_OF__RECALL_OF_BATCH, SUBJECT_BATCH},
        {KNOCKBOX__RECALL_OF__RECALL_OF_LOT, SUBJECT_LOT},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (table[i].of == recall->of)
            return lineage_has(lineage, table[i].class, recall->of_code);
    return false;
}

const char *
recall_in_force(const struct catalogue *catalogue, const struct lineage *lineage, int64_t at_ms,
                int32_t day)
{
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(catalogue, KNOCKBOX__RECORD__BODY_RECALL, &keys);
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Recall *recall = (const Knockbox__Recall *)catalogue_at(
            catalogue, KNOCKBOX__RECORD__BODY_RECALL, keys[i], at_ms);
        if (recall == NULL || (recall->has_lifted && recall->lifted) ||
            (recall->has_from && recall->from > day))
            continue;
        if (reaches(recall, lineage))
            return keys[i];
    }
    return NULL;
}
