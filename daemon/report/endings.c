/* endings.c - what reached a destination in the month, out of the books. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/calc/destinations.h"
#include "daemon/report/part.h"

bool
ending_is(const struct ending *ending, const char *destination)
{
    return strcmp(calc_destination_at(ending->destination)->code, destination) == 0;
}

static size_t
row_of_destination(const char *code, size_t len)
{
    size_t unknown = 0;
    for (size_t i = 0; calc_destination_at(i) != NULL; i++) {
        const char *row = calc_destination_at(i)->code;
        if (strlen(row) == len && strncmp(row, code, len) == 0)
            return i;
        if (strcmp(row, "unknown") == 0)
            unknown = i;
    }
    return unknown;
}

/* "composting|food|0" */
struct ending
ending_read(const char *key, int64_t mass_g)
{
    struct ending ending = {0, "", false, mass_g};
    const char *material = strchr(key, '|'), *onsite = strrchr(key, '|');
    ending.destination = row_of_destination(key, (size_t)(material - key));
    size_t len = (size_t)(onsite - material) - 1;
    if (len < sizeof ending.material)
        memcpy(ending.material, material + 1, len);
    ending.onsite = onsite[1] == '1';
    return ending;
}

static int
by_order(const void *a, const void *b)
{
    const struct ending *x = a, *y = b;
    if (x->destination != y->destination)
        return x->destination < y->destination ? -1 : 1;
    int order = strcmp(x->material, y->material);
    return order != 0 ? order : (int)x->onsite - (int)y->onsite;
}

enum err
endings_of(struct build *b)
{
    struct tally tally;
    enum err e =
        tally_of(b->in->books, MEASURE_WASTE_TO, b->in->month, b->in->month, false, &tally, b->why);
    if (e == ERR_OK) {
        b->endings = calloc(tally.n + 1, sizeof *b->endings);
        if (b->endings == NULL)
            e = err_set(ERR_MEM, b->why, "out of memory for the report");
    }
    for (size_t i = 0; e == ERR_OK && i < tally.n; i++)
        if (tally.lines[i].amount != 0)
            b->endings[b->n_endings++] = ending_read(tally.lines[i].key, tally.lines[i].amount);
    if (e == ERR_OK && b->n_endings > 1)
        qsort(b->endings, b->n_endings, sizeof *b->endings, by_order);
    tally_done(&tally);
    return e;
}
