/* lp.c - a programme put together: columns, rows, entries. */
#include "daemon/plan/lp.h"

#include <stdlib.h>
#include <string.h>

void
lp_init(struct lp *lp)
{
    memset(lp, 0, sizeof *lp);
}

void
lp_done(struct lp *lp)
{
    free(lp->low);
    free(lp->high);
    free(lp->worth);
    free(lp->whole);
    free(lp->row_low);
    free(lp->row_high);
    free(lp->at_row);
    free(lp->at_col);
    free(lp->value);
    lp_init(lp);
}

/* Makes room in one array; the old one stays when there is no memory. */
static bool
widen(void *array, int room, size_t size)
{
    void *old;
    memcpy(&old, array, sizeof old);
    void *more = realloc(old, (size_t)room * size);
    if (more == NULL)
        return false;
    memcpy(array, &more, sizeof more);
    return true;
}

static bool
room_for(int n, int *room)
{
    if (n < *room)
        return false;
    *room = *room == 0 ? 256 : *room * 2;
    return true;
}

int
lp_col(struct lp *lp, double low, double high, double worth, bool whole)
{
    if (!lp->failed && room_for(lp->cols, &lp->cols_room))
        lp->failed = !(widen(&lp->low, lp->cols_room, sizeof *lp->low) &&
                       widen(&lp->high, lp->cols_room, sizeof *lp->high) &&
                       widen(&lp->worth, lp->cols_room, sizeof *lp->worth) &&
                       widen(&lp->whole, lp->cols_room, sizeof *lp->whole));
    if (lp->failed)
        return 0;
    lp->low[lp->cols] = low;
    lp->high[lp->cols] = high;
    lp->worth[lp->cols] = worth;
    lp->whole[lp->cols] = whole;
    return lp->cols++;
}

int
lp_row(struct lp *lp, double low, double high)
{
    if (!lp->failed && room_for(lp->rows, &lp->rows_room))
        lp->failed = !(widen(&lp->row_low, lp->rows_room, sizeof *lp->row_low) &&
                       widen(&lp->row_high, lp->rows_room, sizeof *lp->row_high));
    if (lp->failed)
        return 0;
    lp->row_low[lp->rows] = low;
    lp->row_high[lp->rows] = high;
    return lp->rows++;
}

void
lp_put(struct lp *lp, int row, int col, double value)
{
    if (!lp->failed && room_for(lp->entries, &lp->entries_room))
        lp->failed = !(widen(&lp->at_row, lp->entries_room, sizeof *lp->at_row) &&
                       widen(&lp->at_col, lp->entries_room, sizeof *lp->at_col) &&
                       widen(&lp->value, lp->entries_room, sizeof *lp->value));
    if (lp->failed || value == 0)
        return;
    lp->at_row[lp->entries] = row;
    lp->at_col[lp->entries] = col;
    lp->value[lp->entries++] = value;
}

enum err
lp_columns(const struct lp *lp, struct lp_columns *out, struct err_text *why)
{
    size_t n = (size_t)lp->entries + 1;
    out->start = calloc((size_t)lp->cols + 2, sizeof *out->start);
    out->row = malloc(n * sizeof *out->row);
    out->value = malloc(n * sizeof *out->value);
    if (lp->failed || out->start == NULL || out->row == NULL || out->value == NULL) {
        free(out->start);
        free(out->row);
        free(out->value);
        return err_set(ERR_MEM, why, "no memory for a programme of %d columns", lp->cols);
    }
    for (int i = 0; i < lp->entries; i++)
        out->start[lp->at_col[i] + 2]++;
    for (int c = 0; c < lp->cols; c++)
        out->start[c + 2] += out->start[c + 1];
    for (int i = 0; i < lp->entries; i++) {
        int place = out->start[lp->at_col[i] + 1]++;
        out->row[place] = lp->at_row[i];
        out->value[place] = lp->value[i];
    }
    return ERR_OK;
}
