/* why_items.c - see why_items.h. */
#include "daemon/report/why_items.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/subjects.h"
#include "daemon/record/record.h"

/* The class keeps a tub and a batch of one name apart. */
static void
part_of(const struct outcome_told *told, char room[SUBJECT_CODE_MAX + 64])
{
    char id[ID_TEXT];
    if (told->batch != NULL)
        (void)snprintf(room, SUBJECT_CODE_MAX + 64, "batch %s", told->batch);
    else if (told->from != NULL)
        (void)snprintf(room, SUBJECT_CODE_MAX + 64, "record %s", id_print(told->from->id, id));
    else
        (void)snprintf(room, SUBJECT_CODE_MAX + 64, "%d %s", (int)told->class, told->code);
}

static enum err
out_of_memory(struct err_text *why)
{
    return err_set(ERR_MEM, why, "out of memory for the records behind a number");
}

/* Three texts in one piece. */
static bool
keep_texts(struct why_item *item, const char *code, const char *part, const char *line)
{
    size_t n = strlen(code) + 1, m = strlen(part) + 1, o = strlen(line) + 1;
    item->code = malloc(n + m + o);
    if (item->code == NULL)
        return false;
    memcpy(item->code, code, n);
    memcpy(item->code + n, part, m);
    memcpy(item->code + n + m, line, o);
    item->part = item->code + n;
    item->line = item->code + n + m;
    return true;
}

enum err
why_items_add(struct why_items *items, const struct outcome_told *told, int64_t amount,
              bool by_line, struct err_text *why)
{
    char part[SUBJECT_CODE_MAX + 64], subject[SUBJECT_CODE_MAX];
    const struct fact *by = told->by;
    if (by == NULL)
        return err_set(ERR_DAMAGED, why, "a line of the books without a record behind it");
    if (items->n == items->cap) {
        size_t more = items->cap * 2 + 64;
        struct why_item *list = realloc(items->list, more * sizeof *list);
        if (list == NULL)
            return out_of_memory(why);
        items->list = list;
        items->cap = more;
    }
    struct why_item *item = &items->list[items->n];
    *item = (struct why_item){
        .at_ms = by->at_ms, .amount = amount, .day = by->day, .kind = by->kind->word};
    memcpy(item->id, by->id, sizeof item->id);
    part_of(told, part);
    if (!keep_texts(item, record_subject(by->record, subject), part,
                    by_line ? told->posting.key : ""))
        return out_of_memory(why);
    items->n++;
    return ERR_OK;
}

void
why_items_done(struct why_items *items)
{
    for (size_t i = 0; i < items->n; i++)
        free(items->list[i].code);
    free(items->list);
    *items = (struct why_items){.n = 0};
}

/* ---- parts that came and went */

static int
by_part(const void *a, const void *b)
{
    const struct why_item *x = a, *y = b;
    int order = strcmp(x->part, y->part);
    return order != 0 ? order : memcmp(x->id, y->id, sizeof x->id);
}

/* Items [from, end) are one part, by record. How many records. */
static size_t
records_in(const struct why_items *items, size_t from, size_t end)
{
    size_t n = 0;
    for (size_t i = from; i < end; i++)
        n += i == from ||
             memcmp(items->list[i].id, items->list[i - 1].id, sizeof items->list[i].id) != 0;
    return n;
}

void
why_items_net(struct why_items *items)
{
    size_t kept = 0;
    if (items->n > 1)
        qsort(items->list, items->n, sizeof *items->list, by_part);
    for (size_t i = 0; i < items->n;) {
        size_t end = i;
        int64_t sum = 0;
        for (; end < items->n && strcmp(items->list[end].part, items->list[i].part) == 0; end++)
            sum += items->list[end].amount;
        items->left_out += sum == 0 ? records_in(items, i, end) : 0;
        for (; i < end; i++) {
            if (sum == 0)
                free(items->list[i].code);
            else
                items->list[kept++] = items->list[i];
        }
    }
    items->n = kept;
}

/* ---- by record */

static int
by_record(const void *a, const void *b)
{
    const struct why_item *x = a, *y = b;
    if (x->at_ms != y->at_ms)
        return x->at_ms < y->at_ms ? -1 : 1;
    int order = strcmp(x->kind, y->kind);
    if (order == 0)
        order = memcmp(x->id, y->id, sizeof x->id);
    return order != 0 ? order : strcmp(x->line, y->line);
}

void
why_items_sum(struct why_items *items)
{
    size_t kept = 0;
    if (items->n > 1)
        qsort(items->list, items->n, sizeof *items->list, by_record);
    for (size_t i = 0; i < items->n;) {
        struct why_item item = items->list[i];
        size_t end = i + 1;
        for (; end < items->n && by_record(&item, &items->list[end]) == 0; end++) {
            item.amount += items->list[end].amount;
            free(items->list[end].code);
        }
        i = end;
        if (item.amount != 0)
            items->list[kept++] = item;
        else
            free(item.code);
    }
    items->n = kept;
}
