/* closing.h - months of a play closed and restated as the hub does it.
 */
#ifndef TESTS_REPORT_CLOSING_H
#define TESTS_REPORT_CLOSING_H

#include "tests/ledger/play.h"

/* A record as a line of its own, put into the hub's log at `at`. */
void put_act(struct play *play, const char *kind, const ProtobufCMessage *body, const char *at);
int32_t day_of(const char *at);
enum err close_month(struct play *play, const char *month, const char *at, struct err_text *why);
void must_close(struct play *play, const char *month, const char *at);
void must_restate(struct play *play, const char *month, const char *reason, const char *at);

#endif
