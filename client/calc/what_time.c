/* what_time.c - calc date-mark, elapsed. */
#include "client/calc/run.h"
#include "daemon/calc/datemark.h"
#include "daemon/calc/elapsed.h"

static int
day_of(struct calc_run *run, const char *name)
{
    int day = CALC_NO_DAY;
    if (calc_given(run, name))
        (void)calc_day_read(calc_text(run, name), &day); /* was read before */
    return day;
}

static bool
run_date_mark(struct calc_run *run)
{
    struct calc_datemark_in in = {day_of(run, "made"), day_of(run, "oldest_ingredient"),
                                  day_of(run, "frozen"), day_of(run, "thawed"),
                                  (int)calc_number(run, "days")};
    struct calc_datemark mark;
    struct err_text why = {0};
    char text[11] = "";
    if (calc_datemark(&in, &mark, &why) != ERR_OK)
        return calc_refuse(run, why.field, "%s", why.want);
    if (mark.discard_by != CALC_NO_DAY && !calc_day_print(mark.discard_by, text))
        return calc_refuse(run, "days", "a date that ends before the year 10000");
    calc_answer_text(run, "discard_by", mark.discard_by != CALC_NO_DAY ? text : NULL);
    calc_answer_json(run, "days_left",
                     mark.days_left < 0 ? json_null() : json_integer(mark.days_left));
    calc_answer_valid(run, mark.used_up ? "all days were used before freezing" : NULL);
    calc_answer_source(run, "FDA Food Code 3-501.17 and 3-501.18: day of preparation is day 1, "
                            "freezing stops the count; always by the end of the day");
    return true;
}

static const struct calc_arg date_mark_args[] = {
    {"made", CALC_ARG_DAY, CALC_REQUIRED, "", 0, 0, NULL, "the day of preparation as YYYY-MM-DD",
     NULL},
    {"frozen", CALC_ARG_DAY, CALC_OPTIONAL, "", 0, 0, NULL, "the day of freezing as YYYY-MM-DD",
     NULL},
    {"thawed", CALC_ARG_DAY, CALC_OPTIONAL, "", 0, 0, NULL, "the day of thawing", NULL},
    {"oldest_ingredient", CALC_ARG_DAY, CALC_OPTIONAL, "", 0, 0, NULL,
     "day 1 of an older ingredient", NULL},
    {"days", CALC_ARG_WHOLE, CALC_OPTIONAL, "days", 1, 365, "7", "how long it may be used", NULL},
};

const struct calc_what calc_what_date_mark = {
    "date-mark",
    "by the end of which day a cold food is used or discarded",
    date_mark_args,
    sizeof date_mark_args / sizeof date_mark_args[0],
    run_date_mark,
    CALC_CAUTION_FOOD,
    {"knockbox calc date-mark made=2026-03-02",
     "knockbox calc date-mark made=2026-03-02 frozen=2026-03-04 thawed=2026-03-20"},
};

static bool
run_elapsed(struct calc_run *run)
{
    struct calc_instant from;
    struct calc_instant to;
    (void)calc_instant_read(calc_text(run, "from"), &from); /* were read before */
    (void)calc_instant_read(calc_text(run, "to"), &to);
    double minutes = calc_elapsed_minutes(&from, &to);
    if (minutes < 0)
        return calc_refuse(run, "to", "an instant that is not before `from`");
    calc_answer_number(run, "minutes", minutes);
    calc_answer_valid(run, NULL);
    calc_answer_source(run, "difference of the two instants (RFC 3339)");
    return true;
}

static const struct calc_arg elapsed_args[] = {
    {"from", CALC_ARG_INSTANT, CALC_REQUIRED, "", 0, 0, NULL, "an instant with its offset", NULL},
    {"to", CALC_ARG_INSTANT, CALC_REQUIRED, "", 0, 0, NULL, "a later instant with its offset",
     NULL},
};

const struct calc_what calc_what_elapsed = {
    "elapsed",
    "minutes between two instants, over changes of the clock too",
    elapsed_args,
    sizeof elapsed_args / sizeof elapsed_args[0],
    run_elapsed,
    CALC_CAUTION_NONE,
    {"knockbox calc elapsed from=2026-03-03T17:40:00+00:00 to=2026-03-03T18:25:00+00:00",
     "knockbox calc elapsed from=2026-10-25T01:30:00+01:00 to=2026-10-25T01:30:00+00:00"},
};
