/* confine_int.h - the two fences. */
#ifndef DAEMON_BASE_CONFINE_INT_H
#define DAEMON_BASE_CONFINE_INT_H

#include "daemon/base/confine.h"

enum confine_result {
    CONFINE_DONE,
    CONFINE_LACKING, /* this kernel or machine has no such thing */
    CONFINE_REFUSED,
};

enum confine_result confine_calls(bool may_start);
enum confine_result confine_files(const struct confine_options *options);

#endif
