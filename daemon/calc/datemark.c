/* datemark.c - date marks with one freezing. */
#include "daemon/calc/datemark.h"

#include <stddef.h>

static bool
given(int day)
{
    return day != CALC_NO_DAY;
}

static enum err
check(const struct calc_datemark_in *in, struct err_text *why)
{
    if (in->days < 1 || in->days > 365)
        return err_input(why, "days", "", "a whole number 1 to 365");
    if (given(in->oldest_ingredient) && in->oldest_ingredient > in->made)
        return err_input(why, "oldest_ingredient", NULL, "a day not after `made`");
    if (given(in->thawed) && !given(in->frozen))
        return err_input(why, "frozen", NULL, "the day of freezing, as `thawed` is given");
    if (given(in->frozen) && in->frozen < in->made)
        return err_input(why, "frozen", NULL, "a day not before `made`");
    if (given(in->thawed) && in->thawed < in->frozen)
        return err_input(why, "thawed", NULL, "a day not before `frozen`");
    return ERR_OK;
}

enum err
calc_datemark(const struct calc_datemark_in *in, struct calc_datemark *out, struct err_text *why)
{
    enum err e = check(in, why);
    if (e != ERR_OK)
        return e;
    int start = given(in->oldest_ingredient) ? in->oldest_ingredient : in->made; /* day 1 */
    int last = start + in->days - 1;
    *out = (struct calc_datemark){.discard_by = last, .days_left = -1, .used_up = false};
    if (!given(in->frozen))
        return ERR_OK;

    int used = in->frozen - start > 1 ? in->frozen - start : 1;
    out->days_left = in->days > used ? in->days - used : 0;
    out->used_up = used >= in->days;
    if (out->used_up)
        return ERR_OK;
    out->discard_by = given(in->thawed) ? in->thawed + out->days_left - 1 : CALC_NO_DAY;
    return ERR_OK;
}
