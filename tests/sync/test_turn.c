/* test_turn.c - what one person takes of a daemon's time, and whose question is answered next.
 *
 * Source: own design, no source (a token bucket is common practice). */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "daemon/sync/hub_people.h"
#include "daemon/sync/turn.h"

static const struct {
    const char *name;
    unsigned share;
    uint64_t took_us, passed_us, wait_us;
} rows[] = {
    {"all of the burst", 50, 2000000, 0, 0},
    {"a microsecond more", 50, 2000001, 0, 2},
    {"by hand: 100 ms over, a quarter", 25, 2100000, 0, 400000},
    {"half of it has passed", 25, 2100000, 200000, 200000},
    {"it has passed", 25, 2100000, 400000, 0},
    {"no more than a second, however long it took", 50, 60000000, 0, 1000000},
    {"nor with a small share", 1, 60000000, 0, 1000000},
    {"all of the time", 100, 2500000, 500000, 0},
    {"after a year", 1, 60000000, UINT64_C(31557600000000), 0},
};

Test(turn, waits_as_long_as_the_share_needs)
{
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct turn turn;
        uint64_t now = 5000;
        turn_init(&turn, now);
        turn_take(&turn, rows[i].share, rows[i].took_us, now);
        uint64_t wait = turn_wait_us(&turn, rows[i].share, now + rows[i].passed_us);
        cr_expect(wait == rows[i].wait_us, "%s: %llu", rows[i].name, (unsigned long long)wait);
    }
}

Test(turn, is_as_fresh_after_a_while_and_not_before)
{
    struct turn turn;
    turn_init(&turn, 0);
    cr_expect(turn_full(&turn, 50, 0));
    turn_take(&turn, 50, 1000000, 0);
    cr_expect(not(turn_full(&turn, 50, 1999999)));
    cr_expect(turn_full(&turn, 50, 2000000));
}

struct play {
    struct loop *loop;
    char said[200]; /* who was answered, in order */
    size_t n, stop_at;
    bool gone;
};

static bool
answer(void *owner, const struct peer *peer, const uint8_t key[KEY_SIZE], const uint8_t *frame,
       size_t len)
{
    struct play *p = owner;
    cr_expect(len == 2 && frame[0] == key[0] && peer->len == 1);
    p->said[p->n++] = (char)key[0];
    if (p->n == p->stop_at)
        loop_stop(p->loop);
    return !(p->gone && key[0] == 'A');
}

static enum err
ask(struct hub_people *people, char who, struct err_text *why)
{
    uint8_t key[KEY_SIZE] = {(uint8_t)who}, frame[2] = {(uint8_t)who, 0};
    struct peer peer;
    memset(&peer, 0, sizeof peer);
    peer.len = 1;
    peer.id[0] = (uint8_t)who;
    return hub_people_ask(people, &peer, key, frame, sizeof frame, why);
}

static struct hub_people *
begin(struct play *p, const char *questions)
{
    struct hub_people *people = NULL;
    memset(p, 0, sizeof *p);
    cr_assert(loop_new(&p->loop, NULL) == ERR_OK);
    cr_assert(hub_people_new(p->loop, 50, answer, p, &people, NULL) == ERR_OK);
    for (; *questions != '\0'; questions++)
        cr_assert(ask(people, *questions, NULL) == ERR_OK);
    return people;
}

Test(people, are_answered_in_turn)
{
    struct play p;
    struct hub_people *people = begin(&p, "AAAABBC");
    cr_expect(eq(sz, p.n, 0)); /* not while it is asked */
    p.stop_at = 7;
    cr_assert(loop_run(p.loop, NULL) == ERR_OK);
    cr_expect(eq(str, p.said, "ABCABAA"));
    hub_people_free(people);
    loop_free(p.loop);
}

Test(people, who_are_gone_get_no_more_answers)
{
    struct play p;
    struct hub_people *people = begin(&p, "AAAAB");
    p.gone = true;
    p.stop_at = 2;
    cr_assert(loop_run(p.loop, NULL) == ERR_OK);
    cr_expect(eq(str, p.said, "AB"));
    cr_expect(ask(people, 'B', NULL) == ERR_OK);
    p.stop_at = 3;
    loop_again(p.loop);
    cr_assert(loop_run(p.loop, NULL) == ERR_OK);
    cr_expect(eq(str, p.said, "ABB"));
    hub_people_free(people);
    loop_free(p.loop);
}

Test(people, who_have_too_many_waiting_hear_so_and_others_do_not)
{
    struct play p;
    struct err_text why = {.s = ""};
    struct hub_people *people = begin(&p, "");
    for (int i = 0; i < PEOPLE_WAITING; i++)
        cr_assert(ask(people, 'A', &why) == ERR_OK);
    cr_expect(ask(people, 'A', &why) == ERR_BUSY);
    cr_expect(strstr(why.s, "64 of your questions wait") != NULL, "%s", why.s);
    cr_expect(ask(people, 'B', &why) == ERR_OK);
    hub_people_free(people); /* with what waits */
    loop_free(p.loop);
}
