/* try.h - the next step, unless the one before failed. */
#ifndef DAEMON_PLAN_TRY_H
#define DAEMON_PLAN_TRY_H

#include "proto/err.h"

/* Leaves the function with the error of `call`, which has nothing to undo. */
#define TRY(call)                  \
    do {                           \
        enum err try_err = (call); \
        if (try_err != ERR_OK)     \
            return try_err;        \
    } while (0)

#endif
