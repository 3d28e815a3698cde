/* config.h - settings of a daemon, declared in one table each (settings.c).
 *
 * A file of lines `key value`; `#` begins a comment line; a value goes to the end of its line.
 * A key comes once, save the kinds that may repeat. What the file leaves out has its standard
 * value. An unknown key or a bad value is an error with file and line.
 */
#ifndef DAEMON_BASE_CONFIG_H
#define DAEMON_BASE_CONFIG_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include "proto/err.h"

enum config_kind {
    CONFIG_CODE,    /* 1..64 bytes without white space or control characters */
    CONFIG_TEXT,    /* least..most bytes */
    CONFIG_INT,     /* least..most */
    CONFIG_TIME,    /* 500ms, 30s, 15m, 2h, 1d; least..most in seconds; kept in ms */
    CONFIG_CONNECT, /* tcp://HOST:PORT, port 1..65535 */
    CONFIG_LISTEN,  /* the same; HOST may be *, port 0 is chosen by the system at each start */
    CONFIG_KEY,     /* 64 hexadecimal digits */
    CONFIG_GROUP,   /* ROLE GROUP, may repeat */
};

struct config_item {
    const char *key;
    enum config_kind kind;
    const char *standard; /* as it would stand in the file; NULL: none, "" to readers */
    int64_t least, most;
    const char *doc;
};

struct config_table {
    const char *file; /* hub.conf */
    const struct config_item *items;
    size_t n;
};

extern const struct config_table config_hub, config_cafe;

struct config;

/* Reads DIR/FILE of the table. *out_config is yours. ERR_INPUT: the sentence names file, line, key,
 * what stands there and what was expected. ERR_NOT_FOUND: no such file. */
enum err config_load(const char *dir, const struct config_table *table, struct config **out_config,
                     struct err_text *why);
/* The same from text; `name` is for the sentences. */
enum err config_parse(const char *name, const char *text, size_t len,
                      const struct config_table *table, struct config **out_config,
                      struct err_text *why);
void config_free(struct config *config); /* NULL is fine */

/* The value of a key of the table; lent by the config. Text is "" when it has none. */
const char *config_text(const struct config *config, const char *key);
int64_t config_number(const struct config *config, const char *key); /* times: ms */
/* The i-th value of a key that may repeat, NULL when there are not that many. */
const char *config_nth(const struct config *config, const char *key, size_t i);

/* All settings as understood, one `key value` a line, in the order of the table. */
void config_print(const struct config *config, FILE *out);

/* What a value must look like, for sentences and pages: "16 to 65536". */
const char *config_want(const struct config_item *item, char *text, size_t size);

/* tcp://HOST:PORT taken apart; brackets of an IPv6 HOST stay. false: not such a text.
 * *out_port is 0 for 0 or *. */
bool endpoint_split(const char *text, char *out_host, size_t host_size, unsigned *out_port);

#endif
