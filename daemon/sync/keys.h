/* keys.h - CURVE key pairs, the files they live in, and one-time codes.
 *
 * A key file has lines `word value`: `knockbox-key 1`, `public HEX`, `secret HEX`, and for those who
 * connect `hub HEX` (the hub's public key) and `connect tcp://HOST:PORT`. It is refused when others
 * may read it.
 *
 * A one-time code is what a new machine must know to be let in once: where the hub listens, the
 * hub's public key and a secret of 128 bits. The secret gives a key pair; the hub keeps only its
 * public half, which tells nothing about the secret.
 */
#ifndef DAEMON_SYNC_KEYS_H
#define DAEMON_SYNC_KEYS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "proto/err.h"

enum {
    KEY_SIZE = 32,
    KEY_TEXT = 65,
    ENDPOINT_SIZE = 160,
    SECRET_SIZE = 16,
    CODE_TEXT = 512,
    KEY_FILE_TEXT = 1024
};

struct key_pair {
    uint8_t public_key[KEY_SIZE];
    uint8_t secret_key[KEY_SIZE];
};

struct key_file {
    struct key_pair own;
    uint8_t hub[KEY_SIZE];
    bool has_hub;
    char connect[ENDPOINT_SIZE]; /* "": none */
};

/* A fresh pair. ERR_IO: this libzmq has no CURVE. Wipe it with keys_wipe() after use. */
enum err key_pair_new(struct key_pair *out_pair, struct err_text *why);
void keys_wipe(void *secret, size_t size);

char *key_print(const uint8_t key[KEY_SIZE], char out[KEY_TEXT]); /* lower-case hex */
bool key_parse(const char *text, uint8_t out_key[KEY_SIZE]);

/* DIR/NAME with mode 0600, whole or not at all. */
enum err key_file_write(const char *dir, const char *name, const struct key_file *file,
                        struct err_text *why);
/* ERR_DENIED: others may read it. ERR_INPUT: not such a file. ERR_NOT_FOUND. */
enum err key_file_read(const char *path, struct key_file *out_file, struct err_text *why);
/* NAME.next beside the key file `path`: the key that is to take its place. One that is there already
 * is read, else a pair is made and written. *out_file: the old file with the new pair. */
enum err key_file_next(const char *path, struct key_file *out_file, struct err_text *why);
/* NAME.next becomes NAME: the old file or the new one, whatever happens. */
enum err key_file_turn(const char *path, struct err_text *why);
#define KEY_NEXT ".next"

/* The same as text with a NUL behind it, which is changed; `name` is for the sentence. Wipe both
 * after use. */
size_t key_file_print(const struct key_file *file, char out[KEY_FILE_TEXT]);
enum err key_file_parse(const char *name, char *text, size_t len, struct key_file *out_file,
                        struct err_text *why);

struct join_code {
    uint8_t hub[KEY_SIZE];
    uint8_t secret[SECRET_SIZE];
    char endpoint[ENDPOINT_SIZE]; /* tcp://HOST:PORT */
};

/* Groups of five letters and digits, none of which is mistaken for another. */
enum err code_print(const struct join_code *code, char out[CODE_TEXT], struct err_text *why);
/* Either case, with or without hyphens and spaces. ERR_INPUT: mistyped, or no code at all. */
enum err code_parse(const char *text, struct join_code *out_code, struct err_text *why);
/* The pair that the bearer of the code connects with. */
void code_pair(const uint8_t secret[SECRET_SIZE], struct key_pair *out_pair);

#endif
