/* labels.c - which tub labels exist. */
#include "daemon/serve/labels.h"

#include <stdlib.h>

/* FNV-1a, 64 bits; 0 is kept for an empty place. */
static uint64_t
mark_of(const char *label)
{
    uint64_t mark = 14695981039346656037u;
    for (const char *c = label; *c != '\0'; c++)
        mark = (mark ^ (unsigned char)*c) * 1099511628211u;
    return mark != 0 ? mark : 1;
}

/* Where the mark is, or would go. */
static size_t
place_of(const uint64_t *marks, size_t room, uint64_t mark)
{
    size_t at = (size_t)(mark & (room - 1));
    while (marks[at] != 0 && marks[at] != mark)
        at = (at + 1) & (room - 1);
    return at;
}

static bool
grow(struct labels *labels)
{
    size_t room = labels->room == 0 ? 256 : labels->room * 2;
    uint64_t *marks = calloc(room, sizeof *marks);
    if (marks == NULL)
        return false;
    for (size_t i = 0; i < labels->room; i++)
        if (labels->marks[i] != 0)
            marks[place_of(marks, room, labels->marks[i])] = labels->marks[i];
    free(labels->marks);
    labels->marks = marks;
    labels->room = room;
    return true;
}

bool
labels_add(struct labels *labels, const char *label)
{
    if (labels->n * 2 >= labels->room && !grow(labels))
        return false;
    uint64_t mark = mark_of(label);
    size_t at = place_of(labels->marks, labels->room, mark);
    if (labels->marks[at] == 0)
        labels->n++;
    labels->marks[at] = mark;
    return true;
}

bool
labels_has(const struct labels *labels, const char *label)
{
    if (labels->room == 0)
        return false;
    uint64_t mark = mark_of(label);
    return labels->marks[place_of(labels->marks, labels->room, mark)] == mark;
}

void
labels_done(struct labels *labels)
{
    free(labels->marks);
    *labels = (struct labels){0};
}
