/* keys.c - key pairs and key files. */
#include "daemon/sync/keys.h"

#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zmq.h>

#include "daemon/base/config.h"
#include "daemon/base/folder.h"

enum {
    Z85_TEXT = 41
};

void
keys_wipe(void *secret, size_t size)
{
    sodium_memzero(secret, size);
}

enum err
key_pair_new(struct key_pair *out_pair, struct err_text *why)
{
    char public_text[Z85_TEXT], secret_text[Z85_TEXT];
    if (zmq_curve_keypair(public_text, secret_text) != 0)
        return err_set(ERR_IO, why, "cannot make a key pair: %s", zmq_strerror(zmq_errno()));
    (void)zmq_z85_decode(out_pair->public_key, public_text); /* just encoded by the library */
    (void)zmq_z85_decode(out_pair->secret_key, secret_text);
    keys_wipe(secret_text, sizeof secret_text);
    return ERR_OK;
}

char *
key_print(const uint8_t key[KEY_SIZE], char out[KEY_TEXT])
{
    return sodium_bin2hex(out, KEY_TEXT, key, KEY_SIZE);
}

bool
key_parse(const char *text, uint8_t out_key[KEY_SIZE])
{
    uint8_t key[KEY_SIZE];
    size_t len = 0;
    const char *end = NULL;
    if (strlen(text) != KEY_TEXT - 1 ||
        sodium_hex2bin(key, sizeof key, text, KEY_TEXT - 1, NULL, &len, &end) != 0 ||
        len != KEY_SIZE)
        return false;
    memcpy(out_key, key, KEY_SIZE);
    keys_wipe(key, sizeof key);
    return true;
}

size_t
key_file_print(const struct key_file *file, char out[KEY_FILE_TEXT])
{
    char public_text[KEY_TEXT], secret_text[KEY_TEXT], hub_text[KEY_TEXT];
    key_print(file->own.public_key, public_text);
    key_print(file->own.secret_key, secret_text);
    int n = snprintf(out, KEY_FILE_TEXT, "knockbox-key 1\npublic %s\nsecret %s\n", public_text,
                     secret_text);
    if (file->has_hub)
        n += snprintf(out + n, KEY_FILE_TEXT - (size_t)n, "hub %s\n",
                      key_print(file->hub, hub_text));
    if (file->connect[0] != '\0')
        n += snprintf(out + n, KEY_FILE_TEXT - (size_t)n, "connect %s\n", file->connect);
    keys_wipe(secret_text, sizeof secret_text);
    return (size_t)n;
}

enum err
key_file_write(const char *dir, const char *name, const struct key_file *file, struct err_text *why)
{
    char text[KEY_FILE_TEXT];
    size_t n = key_file_print(file, text);
    enum err e = file_write(dir, name, text, n, 0600, why);
    keys_wipe(text, sizeof text);
    return e;
}

struct seen {
    bool version, public_key, secret_key, connect;
};

static bool
take_connect(struct key_file *file, const char *value)
{
    char host[ENDPOINT_SIZE];
    unsigned port = 0;
    if (strlen(value) >= sizeof file->connect || !endpoint_split(value, host, sizeof host, &port) ||
        port == 0)
        return false;
    (void)snprintf(file->connect, sizeof file->connect, "%s", value);
    return true;
}

/* Each word comes once. */
static bool
take_word(struct key_file *file, struct seen *seen, const char *word, const char *value)
{
    if (strcmp(word, "knockbox-key") == 0)
        return !seen->version && (seen->version = strcmp(value, "1") == 0);
    if (strcmp(word, "public") == 0)
        return !seen->public_key && (seen->public_key = key_parse(value, file->own.public_key));
    if (strcmp(word, "secret") == 0)
        return !seen->secret_key && (seen->secret_key = key_parse(value, file->own.secret_key));
    if (strcmp(word, "hub") == 0)
        return !file->has_hub && (file->has_hub = key_parse(value, file->hub));
    if (strcmp(word, "connect") == 0)
        return !seen->connect && (seen->connect = take_connect(file, value));
    return false;
}

static bool
take_lines(char *text, struct key_file *file)
{
    struct seen seen = {false, false, false, false};
    char *rest = NULL;
    for (char *line = strtok_r(text, "\n", &rest); line != NULL;
         line = strtok_r(NULL, "\n", &rest)) {
        char *space = strchr(line, ' ');
        if (space == NULL)
            return false;
        *space = '\0';
        if (!take_word(file, &seen, line, space + 1))
            return false;
    }
    return seen.version && seen.public_key && seen.secret_key;
}

/* The public half must be the one of the secret: a file put together by hand is no key. */
static bool
pair_fits(const struct key_pair *pair)
{
    uint8_t public_key[KEY_SIZE];
    return crypto_scalarmult_base(public_key, pair->secret_key) == 0 &&
           sodium_memcmp(public_key, pair->public_key, KEY_SIZE) == 0;
}

enum err
key_file_parse(const char *name, char *text, size_t len, struct key_file *out_file,
               struct err_text *why)
{
    struct key_file file;
    enum err e = ERR_OK;
    memset(&file, 0, sizeof file);
    if (strlen(text) != len || !take_lines(text, &file) || !pair_fits(&file.own))
        e = err_set(ERR_INPUT, why, "%.300s is not a key file of this program", name);
    else
        *out_file = file;
    keys_wipe(&file, sizeof file);
    return e;
}

enum err
key_file_read(const char *path, struct key_file *out_file, struct err_text *why)
{
    char *text = NULL;
    size_t len = 0;
    enum err e = file_check_secret(path, why);
    if (e == ERR_OK)
        e = file_read(path, &text, &len, why);
    if (e != ERR_OK)
        return e;
    e = key_file_parse(path, text, len, out_file, why);
    keys_wipe(text, len);
    free(text);
    return e;
}

/* ---------------------------------------------------------------- one key after the other */

/* `path` as folder and name, and the name of the next. */
struct place {
    char folder[PATH_SIZE], name[PATH_SIZE], next[PATH_SIZE + 8];
};

static void
take_apart(const char *path, struct place *out)
{
    const char *slash = strrchr(path, '/');
    int head = slash != NULL ? (int)(slash - path) : 0;
    if (slash == NULL)
        (void)snprintf(out->folder, sizeof out->folder, ".");
    else
        (void)snprintf(out->folder, sizeof out->folder, "%.*s", head > 0 ? head : 1, path);
    (void)snprintf(out->name, sizeof out->name, "%s", slash != NULL ? slash + 1 : path);
    (void)snprintf(out->next, sizeof out->next, "%s" KEY_NEXT, out->name);
}

enum err
key_file_next(const char *path, struct key_file *out_file, struct err_text *why)
{
    struct place place;
    char next[PATH_SIZE];
    take_apart(path, &place);
    enum err e = path_join(place.folder, place.next, next, why);
    if (e == ERR_OK && file_there(place.folder, place.next))
        return key_file_read(next, out_file, why);
    if (e == ERR_OK)
        e = key_file_read(path, out_file, why);
    if (e == ERR_OK)
        e = key_pair_new(&out_file->own, why);
    return e == ERR_OK ? key_file_write(place.folder, place.next, out_file, why) : e;
}

enum err
key_file_turn(const char *path, struct err_text *why)
{
    struct place place;
    take_apart(path, &place);
    return file_rename(place.folder, place.next, place.name, why);
}
