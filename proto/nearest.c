/* nearest.c - edit distance with swaps of neighbours, on short words. */
#include "proto/nearest.h"

#include <string.h>

enum {
    WORD_MOST = 40
};

static size_t
least(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Three rows of the table of distances between all beginnings of a and b. */
static size_t
distance(const char *a, size_t a_n, const char *b, size_t b_n)
{
    size_t rows[3][WORD_MOST + 1];
    size_t *before = rows[0];
    size_t *last = rows[1];
    size_t *row = rows[2];
    for (size_t j = 0; j <= b_n; j++)
        last[j] = j;
    for (size_t i = 1; i <= a_n; i++) {
        row[0] = i;
        for (size_t j = 1; j <= b_n; j++) {
            row[j] = least(last[j - 1] + (a[i - 1] != b[j - 1]), least(last[j], row[j - 1]) + 1);
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                row[j] = least(row[j], before[j - 2] + 1);
        }
        size_t *free_row = before;
        before = last;
        last = row;
        row = free_row;
    }
    return last[b_n];
}

void
nearest_offer(struct nearest *nearest, const char *word)
{
    size_t typed_n = strlen(nearest->typed);
    size_t word_n = strlen(word);
    if (typed_n > WORD_MOST || word_n > WORD_MOST)
        return;
    size_t far = distance(nearest->typed, typed_n, word, word_n);
    size_t allowed = word_n / 3 > 1 ? word_n / 3 : 1;
    if (far > allowed || (nearest->best != NULL && far >= nearest->distance))
        return;
    nearest->best = word;
    nearest->distance = far;
}
