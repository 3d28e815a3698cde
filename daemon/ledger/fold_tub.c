/* fold_tub.c - the life of one tub: filled, moved, weighed again, counted, used, thrown away.
 *
 * Report rules T6-T8, R2, R3, R9, G1, S1-S11. The books have each tub in one row (a site or
 * in-transit) at one weight; whatever is written moves weight between rows and causes, so that
 * opening + filled + received + unexplained = sent + used + rejected + closing holds by itself.
 */
#include <stdio.h>
#include <string.h>
#include "daemon/ledger/fold.h"
#include "daemon/ledger/limit.h"
#include "daemon/ledger/place.h"
#include "daemon/ledger/warm.h"
#include "proto/ledger.pb-c.h"

#define IN_TRANSIT "in-transit"

/* Why nothing is left. */
enum gone {
    HERE,
    USED_UP,
    THROWN_AWAY
};

/* left_g is what the books hold: in the row when `missing` is false; 0 exactly when gone. */
struct tub {
    const struct fold_input *in;
    struct outcome *out;
    enum err e; /* the first failure; later steps do nothing */
    const struct fact *born;
    const Knockbox__Tub *first;
    const char *row, *place, *run;
    const char *brought_by; /* the run that it came in with last, NULL: none is written down */
    int64_t left_g;
    enum gone gone;
    bool missing, received, thawed;
    const struct fact *refused; /* the receipt that did not accept it */
    bool discarded;             /* a discard names it */
    int64_t stay_from_ms, last_ms;
    int32_t month; /* of the step: the fact's, or the tub's when dated before it (T6) */
    int64_t at_ms; /* likewise */
};

static void
post(struct tub *t, enum measure measure, const char *row, int64_t amount)
{
    if (t->e == ERR_OK)
        t->e = outcome_post(t->out, measure, t->month, row, "", amount);
}

static void
post_run(struct tub *t, enum measure measure, const char *key, int64_t amount)
{
    if (t->e == ERR_OK)
        t->e = outcome_post(t->out, measure, t->month, t->row, key, amount);
}

static void
flag(struct tub *t, const struct fact *fact, const char *code)
{
    if (t->e == ERR_OK)
        t->e = outcome_flag(t->out, fact, code, t->in->code);
}

static void
flag_about(struct tub *t, const struct fact *fact, const char *code, const char *subject)
{
    if (t->e == ERR_OK)
        t->e = outcome_flag(t->out, fact, code, subject);
}

static bool
in_stock(const struct tub *t)
{
    return t->gone == HERE && !t->missing;
}

/* Ends the time in which a count of the present site could miss the tub. */
static void
end_stay(struct tub *t, int64_t to_ms)
{
    if (t->e == ERR_OK && strcmp(t->row, IN_TRANSIT) != 0)
        t->e = outcome_stay(t->out, t->row, t->stay_from_ms, to_ms);
}

static void
transfer(struct tub *t, const char *row, const char *place)
{
    post(t, MEASURE_SENT, t->row, t->left_g);
    post(t, MEASURE_RECEIVED, row, t->left_g);
    end_stay(t, t->at_ms);
    t->stay_from_ms = t->at_ms;
    t->row = row;
    t->place = place;
}

static void
come_back(struct tub *t) /* S11: a missing tub that turns up brings its mass back */
{
    if (!t->missing)
        return;
    post(t, MEASURE_UNEXPLAINED_COUNT, t->row, t->left_g);
    t->missing = false;
    t->stay_from_ms = t->at_ms;
}

static void
leave(struct tub *t, enum gone how)
{
    end_stay(t, t->at_ms);
    t->left_g = 0;
    t->gone = how;
}

/* Takes `mass_g` out at `row`; what the books do not have is unexplained (S9). */
static void
draw(struct tub *t, const struct fact *fact, const char *row, int64_t mass_g, enum gone how)
{
    int64_t excess_g = mass_g - t->left_g;
    if (excess_g > 0) {
        post(t, MEASURE_UNEXPLAINED_OVERDRAW, row, excess_g);
        flag(t, fact, "overdrawn");
    }
    if (t->gone != HERE)
        return;
    if (excess_g >= 0)
        leave(t, how);
    else
        t->left_g -= mass_g;
}

static void
hand_over(struct tub *t, const struct fact *fact)
{
    const char *run = fact->record->handover->run;
    if (t->gone != HERE) {
        flag(t, fact, "moved-when-gone");
        return;
    }
    if (t->run != NULL && strcmp(t->run, run) == 0)
        return; /* café and driver both wrote it down */
    if (t->run != NULL || t->received) {
        flag(t, fact, "handed-over-twice");
        return;
    }
    come_back(t);
    t->run = run;
    transfer(t, IN_TRANSIT, "");
}

/* S4: from the receipt on the books hold what the kitchen's scale said. */
static void
weigh_again(struct tub *t, const struct fact *fact, const Knockbox__ReceivedTub *tub)
{
    if (!tub->has_gross_g)
        return;
    int64_t net_g = tub->gross_g - t->first->tare_g;
    if (net_g <= 0) {
        flag(t, fact, "weight-difference");
        return;
    }
    int64_t difference_g = net_g - t->left_g;
    post(t, MEASURE_UNEXPLAINED_RECEIPT, t->row, difference_g);
    t->left_g = net_g;
    if (!limit_holds(t->in->catalogue, &limit_weight_difference, fact->site, fact->day,
                     difference_g < 0 ? -difference_g : difference_g, 1))
        flag(t, fact, "weight-difference");
}

static void
receive(struct tub *t, const struct fact *fact, const Knockbox__ReceivedTub *tub)
{
    if (t->gone != HERE) {
        flag(t, fact, "moved-when-gone");
        return;
    }
    bool on_its_row = strcmp(t->row, fact->site) == 0;
    if (t->received && on_its_row) {
        flag(t, fact, "received-twice");
        return;
    }
    come_back(t);
    const char *place = fact->record->receive->place;
    if (place == NULL)
        place = place_default(t->in->catalogue, fact->site, fact->day);
    if (!on_its_row && strcmp(t->row, IN_TRANSIT) != 0)
        flag(t, fact, "no-handover");
    if (!on_its_row)
        transfer(t, fact->site, place);
    t->place = place;
    t->received = true;
    weigh_again(t, fact, tub);
    t->brought_by = fact->record->receive->run != NULL ? fact->record->receive->run : t->run;
    if (t->brought_by != NULL)
        post_run(t, MEASURE_RUN_LOAD, t->brought_by, t->left_g);
    if (tub->has_accepted && !tub->accepted && t->refused == NULL)
        t->refused = fact;
}

static void
receive_each(struct tub *t, const struct fact *fact)
{
    const Knockbox__Receive *body = fact->record->receive;
    if (body->place != NULL && !place_known(t->in->catalogue, body->place, fact->day))
        flag_about(t, fact, "unknown-place", body->place);
    for (size_t i = 0; i < body->n_tubs; i++)
        if (strcmp(body->tubs[i]->tub, t->in->code) == 0)
            receive(t, fact, body->tubs[i]);
}

/* K3: which run brought what goes into the batch; grounds of the kitchen's own needed none. */
static void
used_of_run(struct tub *t, const struct fact *fact, int64_t mass_g)
{
    char key[160];
    const char *run = t->brought_by;
    if (run == NULL && strcmp(t->born->site, fact->site) == 0)
        run = "-";
    if (run == NULL || mass_g == 0)
        return;
    (void)snprintf(key, sizeof key, "%s %s", run, fact->record->mix->batch);
    post_run(t, MEASURE_RUN_USED, key, mass_g);
}

static void
use(struct tub *t, const struct fact *fact, const Knockbox__MixInput *input)
{
    come_back(t);
    if (t->refused != NULL)
        flag(t, fact, "used-refused");
    if (strcmp(t->row, fact->site) != 0) { /* S10 */
        flag(t, fact, "used-not-received");
        if (t->gone == HERE)
            transfer(t, fact->site, place_default(t->in->catalogue, fact->site, fact->day));
        else
            t->row = fact->site; /* nothing left to move */
    }
    post(t, MEASURE_USED, fact->site, input->mass_g);
    used_of_run(t, fact, input->mass_g);
    draw(t, fact, fact->site, input->mass_g, USED_UP);
    if (input->has_empty && input->empty && t->gone == HERE) { /* S8 */
        post(t, MEASURE_UNEXPLAINED_EMPTY, t->row, -t->left_g);
        leave(t, USED_UP);
    }
}

static void
mix(struct tub *t, const struct fact *fact)
{
    const Knockbox__Mix *body = fact->record->mix;
    for (size_t i = 0; i < body->n_inputs; i++)
        if (body->inputs[i]->tub != NULL && strcmp(body->inputs[i]->tub, t->in->code) == 0)
            use(t, fact, body->inputs[i]);
}

static void
discard(struct tub *t, const struct fact *fact)
{
    const Knockbox__Discard *body = fact->record->discard;
    t->discarded = true;
    come_back(t);
    int64_t mass_g = body->has_mass_g ? body->mass_g : t->left_g;
    if (!body->has_mass_g && t->e == ERR_OK)
        t->e = outcome_waste(t->out, fact, mass_g);
    post(t, MEASURE_REJECTED, t->row, mass_g);
    draw(t, fact, t->row, mass_g, THROWN_AWAY);
}

/* A stocktake that lists the tub. */
static void
found(struct tub *t, const struct fact *fact)
{
    const char *place = fact->record->stocktake->place;
    const char *site = place_site(t->in->catalogue, place, fact);
    if (t->gone != HERE) {
        flag(t, fact, "count-of-gone");
        return;
    }
    if (t->missing) {
        t->row = site;
        come_back(t);
        flag(t, fact, "count-found");
    } else if (strcmp(t->row, site) != 0) {
        flag(t, fact, "count-elsewhere");
        transfer(t, site, place);
    }
    t->place = place;
}

/* A stocktake that does not. */
static void
missed(struct tub *t, const struct fact *count)
{
    const char *place = count->record->stocktake->place;
    if (!in_stock(t) || strcmp(t->place, place) != 0 ||
        strcmp(t->row, place_site(t->in->catalogue, place, count)) != 0)
        return;
    t->month = count->month;
    t->at_ms = count->at_ms;
    outcome_by(t->out, count);
    post(t, MEASURE_UNEXPLAINED_COUNT, t->row, -t->left_g);
    flag(t, count, "count-missing");
    end_stay(t, t->at_ms);
    t->missing = true;
}

static void
shift(struct tub *t, const struct fact *fact)
{
    const Knockbox__Shift *body = fact->record->shift;
    if (!body->has_state || body->state != KNOCKBOX__SHIFT_STATE__SHIFT_STATE_FROZEN)
        return;
    /* the same freezing when the period touches the moment it was first frozen */
    if (body->from_ms > t->first->frozen_ms || body->to_ms < t->first->frozen_ms)
        flag(t, fact, "second-freezing");
}

static void
thaw(struct tub *t, const struct fact *fact)
{
    (void)fact;
    t->thawed = true;
}

typedef void step_fn(struct tub *t, const struct fact *fact);

static const struct {
    Knockbox__Record__BodyCase kind;
    step_fn *step;
    bool movement; /* flagged when dated before the tub, T6 */
} steps[] = {
    {KNOCKBOX__RECORD__BODY_SHIFT, shift, false},
    {KNOCKBOX__RECORD__BODY_HANDOVER, hand_over, true},
    {KNOCKBOX__RECORD__BODY_RECEIVE, receive_each, true},
    {KNOCKBOX__RECORD__BODY_THAW, thaw, true},
    {KNOCKBOX__RECORD__BODY_MIX, mix, true},
    {KNOCKBOX__RECORD__BODY_DISCARD, discard, true},
    {KNOCKBOX__RECORD__BODY_STOCKTAKE, found, true},
};

static void
step(struct tub *t, const struct fact *fact, bool early)
{
    outcome_by(t->out, fact);
    if (fact->record->body_case == KNOCKBOX__RECORD__BODY_TUB) {
        if (fact != t->born)
            flag(t, fact, "tub-twice");
        return;
    }
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
        if (steps[i].kind != fact->record->body_case)
            continue;
        if (early && steps[i].movement)
            flag(t, fact, "before-it-existed");
        t->month = early ? t->born->month : fact->month;
        t->at_ms = early ? t->born->at_ms : fact->at_ms;
        steps[i].step(t, fact);
    }
    if (fact->at_ms > t->last_ms)
        t->last_ms = fact->at_ms;
}

static const struct fact *
find_birth(const struct fold_input *in)
{
    for (size_t i = 0; i < in->n; i++)
        if (in->facts[i].record->body_case == KNOCKBOX__RECORD__BODY_TUB)
            return &in->facts[i];
    return NULL;
}

static void
fill(struct tub *t)
{
    const Knockbox__Tub *body = t->first;
    int64_t net_g = body->gross_g - body->tare_g;
    t->left_g = net_g > 0 ? net_g : 0;
    t->gone = net_g > 0 ? HERE : USED_UP;
    outcome_by(t->out, t->born);
    post(t, MEASURE_FILLED, t->row, t->left_g);
    if (t->e == ERR_OK)
        t->e = outcome_post(t->out, MEASURE_FILLED_BY, t->month, t->row, method_word(body->method),
                            t->left_g);
    if (!place_known(t->in->catalogue, body->place, t->born->day))
        flag_about(t, t->born, "unknown-place", body->place);
}

/* The first count after the tub was recorded. */
static size_t
first_count(const struct tub *t)
{
    size_t low = 0, high = t->in->n_counts;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (fact_order(&t->in->counts[middle], t->born) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* Facts and counts in one order; a count that lists the tub is met as a fact. */
static void
live(struct tub *t)
{
    const struct fold_input *in = t->in;
    size_t c = first_count(t);
    for (const struct fact *f = in->facts; f < t->born; f++)
        step(t, f, true);
    for (const struct fact *f = t->born + 1; f < in->facts + in->n; f++) {
        for (; c < in->n_counts && fact_order(&in->counts[c], f) < 0; c++)
            missed(t, &in->counts[c]);
        if (c < in->n_counts && fact_order(&in->counts[c], f) == 0)
            c++;
        step(t, f, false);
    }
    for (; c < in->n_counts && in_stock(t); c++)
        missed(t, &in->counts[c]);
}

static void
post_warm(struct tub *t, Knockbox__TubRow *row)
{
    bool unknown = t->born->clock_ahead;
    outcome_by(t->out, t->born);
    for (size_t i = 0; i < t->in->n; i++)
        unknown |= t->in->facts[i].clock_ahead &&
                   t->in->facts[i].record->body_case == KNOCKBOX__RECORD__BODY_SHIFT;
    if (t->e == ERR_OK)
        t->e = warm_time(t->first, t->in->facts, t->in->n, &row->warm_ms);
    row->has_warm_ms = row->has_warm_known = row->has_warm_over = 1;
    row->warm_known = !unknown;
    row->warm_over = !unknown && !limit_holds(t->in->catalogue, &limit_warm_time, t->born->site,
                                              t->born->day, row->warm_ms, 60000);
    if (t->e == ERR_OK && unknown)
        t->e = outcome_post(t->out, MEASURE_WARM_UNKNOWN, t->born->month, t->born->site,
                            t->in->code, 1);
    if (t->e == ERR_OK && row->warm_over)
        t->e = outcome_post(t->out, MEASURE_WARM_OVER, t->born->month, t->born->site, t->in->code,
                            row->warm_ms / 60000 + 1);
}

static Knockbox__TubState
state_of(const struct tub *t)
{
    if (t->gone != HERE)
        return t->gone == USED_UP ? KNOCKBOX__TUB_STATE__TUB_STATE_USED
                                  : KNOCKBOX__TUB_STATE__TUB_STATE_DISCARDED;
    if (t->missing)
        return KNOCKBOX__TUB_STATE__TUB_STATE_MISSING;
    if (strcmp(t->row, IN_TRANSIT) == 0)
        return KNOCKBOX__TUB_STATE__TUB_STATE_IN_TRANSIT;
    if (t->refused != NULL)
        return KNOCKBOX__TUB_STATE__TUB_STATE_REFUSED;
    if (t->thawed)
        return KNOCKBOX__TUB_STATE__TUB_STATE_THAWED;
    return t->received ? KNOCKBOX__TUB_STATE__TUB_STATE_RECEIVED
                       : KNOCKBOX__TUB_STATE__TUB_STATE_FROZEN;
}

static void
describe(struct tub *t, Knockbox__TubRow *row)
{
    const Knockbox__Tub *body = t->first;
    row->state = state_of(t);
    row->site = (char *)(t->gone == HERE ? t->row : "");
    row->place = (char *)(in_stock(t) && t->place[0] != '\0' ? t->place : NULL);
    row->from_site = (char *)t->born->site;
    row->coffee = body->coffee;
    row->contains = body->contains;
    row->run = (char *)t->run;
    row->has_net_g = row->has_first_net_g = row->has_tare_g = 1;
    row->net_g = t->left_g;
    row->first_net_g = body->gross_g - body->tare_g;
    row->tare_g = body->tare_g;
    row->has_first_knock_ms = row->has_frozen_ms = row->has_born_ms = row->has_offset_min = 1;
    row->first_knock_ms = body->first_knock_ms;
    row->frozen_ms = body->frozen_ms;
    row->born_ms = t->born->at_ms;
    row->offset_min = t->born->offset_min;
    int64_t local_ms = body->frozen_ms + (int64_t)t->born->offset_min * 60000;
    row->has_use_by = 1;
    row->use_by = (int32_t)(local_ms / 86400000 + limit_number(t->in->catalogue, &limit_use_by,
                                                               t->born->site, t->born->day));
}

static enum err
fold_unknown(const struct fold_input *in, struct outcome *out)
{
    Knockbox__TubRow row = KNOCKBOX__TUB_ROW__INIT;
    row.tub = (char *)in->code;
    row.has_state = row.has_last_ms = 1;
    row.state = KNOCKBOX__TUB_STATE__TUB_STATE_UNKNOWN;
    row.last_ms = in->facts[in->n - 1].at_ms;
    enum err e = ERR_OK;
    for (size_t i = 0; i < in->n && e == ERR_OK; i++)
        e = outcome_flag(out, &in->facts[i], "unknown-tub", in->code);
    return e != ERR_OK ? e : outcome_row(out, &row.base);
}

enum err
fold_tub(const struct fold_input *in, struct outcome *out, struct err_text *why)
{
    (void)why;
    const struct fact *born = find_birth(in);
    if (in->n == 0)
        return ERR_OK;
    if (born == NULL)
        return fold_unknown(in, out);
    const Knockbox__Tub *body = born->record->tub;
    struct tub t = {.in = in,
                    .out = out,
                    .born = born,
                    .first = body,
                    .row = born->site,
                    .place = body->place,
                    .stay_from_ms = born->at_ms,
                    .last_ms = born->at_ms,
                    .month = born->month,
                    .at_ms = born->at_ms};
    Knockbox__TubRow row = KNOCKBOX__TUB_ROW__INIT;
    row.tub = (char *)in->code;
    row.has_state = row.has_last_ms = 1;
    fill(&t);
    live(&t);
    if (in_stock(&t))
        end_stay(&t, INT64_MAX);
    if (t.refused != NULL && !t.discarded)
        flag(&t, t.refused, "refused-not-discarded");
    post_warm(&t, &row);
    describe(&t, &row);
    row.last_ms = t.last_ms;
    return t.e != ERR_OK ? t.e : outcome_row(out, &row.base);
}
