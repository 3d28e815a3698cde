/* hub_people.c - a line for each key, answered one question at a time, key by key. */
#include "daemon/sync/hub_people.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "daemon/sync/turn.h"

struct question {
    struct question *next;
    struct peer peer;
    size_t len;
    uint8_t frame[];
};

struct line { /* of one key; first and last are both NULL or both not */
    struct line *next;
    uint8_t key[KEY_SIZE];
    struct turn turn;
    struct question *first, *last;
    size_t n, bytes;
};

struct hub_people {
    struct loop *loop;
    unsigned share_pct;
    hub_people_answer *answer;
    void *owner;
    struct line *lines; /* who is next is first; who was answered goes to the end */
    int later, timer;
};

static uint64_t
now_us(void)
{
    struct timespec t = {0};
    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (uint64_t)t.tv_sec * 1000000 + (uint64_t)t.tv_nsec / 1000;
}

/* ---------------------------------------------------------------- answering */

/* Takes the line out of the list. */
static void
take_line(struct hub_people *people, struct line *line)
{
    struct line **at = &people->lines;
    while (*at != line)
        at = &(*at)->next;
    *at = line->next;
}

static void
put_last(struct hub_people *people, struct line *line)
{
    struct line **at = &people->lines;
    while (*at != NULL)
        at = &(*at)->next;
    line->next = NULL;
    *at = line;
}

static void
append(struct line *line, struct question *q)
{
    q->next = NULL;
    if (line->last != NULL)
        line->last->next = q;
    else
        line->first = q;
    line->last = q;
    line->n++;
    line->bytes += q->len;
}

static struct question *
first_of(struct line *line)
{
    struct question *q = line->first;
    line->first = q->next;
    if (line->first == NULL)
        line->last = NULL;
    line->n--;
    line->bytes -= q->len;
    return q;
}

static void
drop_peer(struct line *line, const struct peer *peer)
{
    struct question *kept = line->first;
    line->first = line->last = NULL;
    line->n = line->bytes = 0;
    while (kept != NULL) {
        struct question *q = kept;
        kept = q->next;
        if (memcmp(&q->peer, peer, sizeof *peer) == 0)
            free(q);
        else
            append(line, q);
    }
}

/* The first line whose turn it is; else *out_wait_us is when the next one's comes, 0: nobody waits. */
static struct line *
whose_turn(struct hub_people *people, uint64_t *out_wait_us)
{
    uint64_t now = now_us();
    *out_wait_us = 0;
    for (struct line *line = people->lines; line != NULL; line = line->next) {
        if (line->first == NULL)
            continue;
        uint64_t wait = turn_wait_us(&line->turn, people->share_pct, now);
        if (wait == 0)
            return line;
        if (*out_wait_us == 0 || wait < *out_wait_us)
            *out_wait_us = wait;
    }
    return NULL;
}

/* One answer a round of the loop. */
static void
answer_one(void *owner)
{
    struct hub_people *people = owner;
    uint64_t wait_us = 0;
    struct line *line = whose_turn(people, &wait_us);
    if (line == NULL) {
        loop_timer_set(people->timer, wait_us, true);
        return;
    }
    uint64_t before = now_us();
    struct question *q = first_of(line);
    take_line(people, line);
    put_last(people, line);
    if (!people->answer(people->owner, &q->peer, line->key, q->frame, q->len))
        drop_peer(line, &q->peer);
    free(q);
    uint64_t after = now_us();
    turn_take(&line->turn, people->share_pct, after - before, after);
    loop_later_set(people->later);
}

/* ---------------------------------------------------------------- asking */

static struct line *
line_of(struct hub_people *people, const uint8_t key[KEY_SIZE])
{
    struct line *line = people->lines;
    while (line != NULL && memcmp(line->key, key, KEY_SIZE) != 0)
        line = line->next;
    if (line != NULL)
        return line;
    line = calloc(1, sizeof *line);
    if (line == NULL)
        return NULL;
    memcpy(line->key, key, KEY_SIZE);
    turn_init(&line->turn, now_us());
    put_last(people, line);
    return line;
}

enum err
hub_people_ask(struct hub_people *people, const struct peer *peer, const uint8_t key[KEY_SIZE],
               const uint8_t *frame, size_t len, struct err_text *why)
{
    struct line *line = line_of(people, key);
    if (line != NULL && line->n > 0 &&
        (line->n >= PEOPLE_WAITING || line->bytes + len > PEOPLE_WAITING_BYTES))
        return err_set(ERR_BUSY, why,
                       "%zu of your questions wait for their turn here: ask again when they are "
                       "answered",
                       line->n);
    struct question *q = line != NULL ? malloc(sizeof *q + len) : NULL;
    if (q == NULL)
        return err_set(ERR_MEM, why, "no memory to keep the question");
    q->peer = *peer;
    q->len = len;
    memcpy(q->frame, frame, len);
    append(line, q);
    loop_later_set(people->later);
    return ERR_OK;
}

/* ---------------------------------------------------------------- the rest */

static void
free_line(struct line *line)
{
    while (line->first != NULL)
        free(first_of(line));
    free(line);
}

void
hub_people_tick(struct hub_people *people)
{
    uint64_t now = now_us();
    for (struct line **at = &people->lines; *at != NULL;) {
        struct line *line = *at;
        if (line->first == NULL && turn_full(&line->turn, people->share_pct, now)) {
            *at = line->next;
            free_line(line);
        } else {
            at = &line->next;
        }
    }
}

enum err
hub_people_new(struct loop *loop, unsigned share_pct, hub_people_answer *answer, void *owner,
               struct hub_people **out_people, struct err_text *why)
{
    struct hub_people *people = calloc(1, sizeof *people);
    if (people == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    people->loop = loop;
    people->share_pct = share_pct;
    people->answer = answer;
    people->owner = owner;
    *out_people = people; /* the caller frees it, also after an error */
    enum err e = loop_later(loop, answer_one, people, &people->later, why);
    if (e == ERR_OK)
        e = loop_timer(loop, answer_one, people, &people->timer, why);
    return e;
}

void
hub_people_free(struct hub_people *people)
{
    if (people == NULL)
        return;
    for (struct line *line = people->lines; line != NULL;) {
        struct line *next = line->next;
        free_line(line);
        line = next;
    }
    free(people);
}
