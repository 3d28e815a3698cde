/* confine.c - both fences, and what is said about them. */
#include "daemon/base/confine.h"

#include <errno.h>
#include <string.h>

#include "daemon/base/confine_int.h"
#include "daemon/base/diag.h"
#include "daemon/base/process.h"

/* Files first: the other fence does not stand in its way, nor it in the other's. */
enum err
confine(const struct confine_options *options, struct confined *out_confined, struct err_text *why)
{
    enum confine_result files = confine_files(options);
    if (files == CONFINE_REFUSED)
        return err_set(ERR_IO, why, "cannot fence files in: %s", strerror(errno));
    enum confine_result calls = confine_calls(options->program != NULL);
    if (calls == CONFINE_REFUSED)
        return err_set(ERR_IO, why, "cannot fence system calls in: %s", strerror(errno));
    out_confined->files = files == CONFINE_DONE;
    out_confined->calls = calls == CONFINE_DONE;
    return ERR_OK;
}

enum err
confine_daemon(const struct confine_options *options, struct err_text *why)
{
    struct confined confined = {false, false};
    if (process_is_watched()) {
        diag_info("not confined: this build watches itself with a sanitizer");
        return ERR_OK;
    }
    enum err e = confine(options, &confined, why);
    if (e != ERR_OK)
        return e;
    if (!confined.calls)
        diag_warning("this kernel does not confine system calls (no seccomp filter)");
    if (!confined.files)
        diag_warning("this kernel does not confine files (no Landlock)");
    return ERR_OK;
}
