/* vessel.c - add a tub, swap one for one, one for two, two for one: whatever fills best. */
#include "daemon/plan/vessel.h"

enum {
    NONE = -1,
    MOVES_MOST = 60,
    PAIRS_REACH = 40
};

/* Out with out[0..1], in with in[0..1]; NONE: not so many. */
struct move {
    int64_t more_g;
    int out[2], in[2];
};

static int64_t
mass(const struct problem *p, int tub)
{
    return p->tubs[tub].g;
}

static void
consider(const struct vessel *v, struct move *best, int64_t more, int out0, int out1, int in0,
         int in1)
{
    if (more > best->more_g && v->g + more <= v->most_g)
        *best = (struct move){more, {out0, out1}, {in0, in1}};
}

/* One tub in, for none or for one. */
static void
try_one(const struct problem *p, const struct vessel *v, int in, int tub, struct move *best)
{
    int64_t g = mass(p, tub);
    consider(v, best, g, NONE, NONE, in, NONE);
    for (int i = 0; i < v->n; i++)
        consider(v, best, g - mass(p, v->tubs[i]), i, NONE, in, NONE);
}

/* One tub in for two, and two in for one. */
static void
try_pairs(const struct problem *p, const struct vessel *v, const int *spare, int spare_n,
          const bool *used, struct move *best)
{
    int reach = spare_n < PAIRS_REACH ? spare_n : PAIRS_REACH;
    for (int a = 0; a < reach; a++) {
        if (used[spare[a]])
            continue;
        int64_t g = mass(p, spare[a]);
        for (int i = 0; i < v->n; i++)
            for (int k = i + 1; k < v->n; k++)
                consider(v, best, g - mass(p, v->tubs[i]) - mass(p, v->tubs[k]), i, k, a, NONE);
        for (int b = a + 1; b < reach; b++)
            for (int i = 0; i < v->n && !used[spare[b]]; i++)
                consider(v, best, g + mass(p, spare[b]) - mass(p, v->tubs[i]), i, NONE, a, b);
    }
}

static void
take_out(const struct problem *p, struct vessel *v, int at, bool *used)
{
    used[v->tubs[at]] = false;
    v->g -= mass(p, v->tubs[at]);
    v->tubs[at] = v->tubs[--v->n];
}

static void
apply(const struct problem *p, struct vessel *v, const struct move *m, const int *spare, bool *used)
{
    if (m->out[1] != NONE) /* the later place first: the last tub moves into a gap */
        take_out(p, v, m->out[1], used);
    if (m->out[0] != NONE)
        take_out(p, v, m->out[0], used);
    for (int i = 0; i < 2; i++)
        if (m->in[i] != NONE) {
            used[spare[m->in[i]]] = true;
            v->g += mass(p, spare[m->in[i]]);
            v->tubs[v->n++] = spare[m->in[i]];
        }
}

void
vessel_close(const struct problem *p, struct vessel *v, const int *spare, int spare_n, bool *used)
{
    for (int moves = 0; moves < MOVES_MOST && v->g < v->most_g; moves++) {
        struct move best = {0, {NONE, NONE}, {NONE, NONE}};
        for (int i = 0; i < spare_n; i++)
            if (!used[spare[i]])
                try_one(p, v, i, spare[i], &best);
        if (v->g + best.more_g < v->most_g)
            try_pairs(p, v, spare, spare_n, used, &best);
        if (best.more_g == 0)
            return;
        apply(p, v, &best, spare, used);
    }
}
