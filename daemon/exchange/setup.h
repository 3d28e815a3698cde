/* setup.h - where deliveries go and when: DIR/delivery.conf, read, checked and printed.
 *
 * Sections `target NAME`, `schedule NAME` and `alerts`, each a table of keys (setup.c) in the form
 * of hub.conf. No secret stands in the file: a target names its credentials file, mode 0600.
 */
#ifndef DAEMON_EXCHANGE_SETUP_H
#define DAEMON_EXCHANGE_SETUP_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include "daemon/base/config.h"
#include "daemon/base/folder.h"
#include "proto/err.h"

enum {
    SETUP_SECTIONS = 64, /* of the file */
    SETUP_NAME = 65,
    SETUP_TARGETS = 8, /* that one schedule or `alerts` may name */
};
#define SETUP_FILE "delivery.conf"

enum scheme {
    SCHEME_SMTP, /* STARTTLS required */
    SCHEME_SMTPS,
    SCHEME_HTTPS,
    SCHEME_SFTP,
};

struct target {
    char name[SETUP_NAME];
    enum scheme scheme;
    bool insecure; /* smtp:// to this very machine, without TLS */
    const struct config *config;
};

struct schedule {
    char name[SETUP_NAME];
    int day;         /* 1 .. 28 of each month */
    int minute;      /* of that day */
    int months_back; /* 0: the month that the day is in, 1: the one before */
    const struct config *config;
};

struct setup;

extern const struct config_table setup_targets, setup_schedules, setup_alerts;

/* Reads DIR/delivery.conf; without one there is no target. *out_setup is yours.
 * ERR_INPUT: the sentence names file and line, or section and key. ERR_DENIED: a credentials or key
 * file that others may read. */
enum err setup_load(const char *dir, struct setup **out_setup, struct err_text *why);
enum err setup_parse(const char *dir, const char *name, const char *text, size_t len,
                     struct setup **out_setup, struct err_text *why);
void setup_free(struct setup *setup); /* NULL is fine */

/* As understood, with what was left out; never a secret. */
void setup_print(const struct setup *setup, FILE *out);

/* Lent by the setup. NULL: there is none, or not that many. */
const struct target *setup_target(const struct setup *setup, const char *name);
const struct target *setup_target_at(const struct setup *setup, size_t i);
const struct schedule *setup_schedule(const struct setup *setup, size_t i);
const struct config *setup_alert(const struct setup *setup); /* NULL: no alerts wanted */

/* The i-th word of a list ("office owner"); false at its end. */
bool setup_word(const char *list, size_t i, char out[], size_t size);

/* DIR/VALUE of a key that names a file, a path from the root as it is; "" when not set. */
enum err setup_path(const struct setup *setup, const struct config *config, const char *key,
                    char out[PATH_SIZE], struct err_text *why);

/* What a credentials file holds: lines `user`, `password`, `token`. Wipe it after use. */
struct secret {
    char user[256], password[1024], token[4096];
};
/* ERR_DENIED: others may read it. All "" when the target has none. */
enum err setup_secret(const struct setup *setup, const struct target *target,
                      struct secret *out_secret, struct err_text *why);

/* SCHEME://HOST:PORT/PATH in words fit for people: the URL holds no secret, as it is. */
const char *scheme_word(enum scheme scheme);

#endif
