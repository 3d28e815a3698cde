/* view_calendar.c - starts knockbox-calendar: the plan goes in by a file in memory and comes out by
 * another, so neither side can wait for the other.
 */
#include <errno.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>
#include "client/beside.h"
#include "client/plan/view_print.h"

static const char program[] = "knockbox-calendar";

static enum err
copy_out(int from, FILE *f, struct err_text *why)
{
    char piece[4096];
    ssize_t n;
    if (lseek(from, 0, SEEK_SET) != 0)
        return err_set(ERR_IO, why, "the calendar: %s", strerror(errno));
    while ((n = read(from, piece, sizeof piece)) > 0)
        (void)fwrite(piece, 1, (size_t)n, f);
    return n == 0 ? ERR_OK : err_set(ERR_IO, why, "the calendar: %s", strerror(errno));
}

static enum err
run(int in, int out, const json_t *view, FILE *f, struct err_text *why)
{
    if (json_dumpfd(view, in, JSON_COMPACT) != 0 || lseek(in, 0, SEEK_SET) != 0)
        return err_set(ERR_IO, why, "the plan for %s: %s", program, strerror(errno));
    enum err e = beside_run(program, in, out, why);
    return e == ERR_OK ? copy_out(out, f, why) : e;
}

enum err
view_print_calendar(const json_t *view, FILE *f, struct err_text *why)
{
    int in = memfd_create("plan", MFD_CLOEXEC), out = memfd_create("calendar", MFD_CLOEXEC);
    enum err e = in >= 0 && out >= 0 ? run(in, out, view, f, why)
                                     : err_set(ERR_IO, why, "the calendar: %s", strerror(errno));
    if (in >= 0)
        (void)close(in);
    if (out >= 0)
        (void)close(out);
    return e;
}
