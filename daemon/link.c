/* link.c - knockbox-link: carries a person's requests to a hub elsewhere.
 *
 *   knockbox-link tcp://HOST:PORT [--key] FILE    started by `knockbox --at tcp://...` with the
 *                                                 connected socket as descriptor 3
 *   knockbox-link join CODE FILE                  makes a key file with the hub's one-time code
 *   knockbox-link renew FILE                      puts a new key in the place of the one in FILE
 */
#include <libgen.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

#include "daemon/base/config.h"
#include "daemon/base/diag.h"
#include "daemon/base/folder.h"
#include "daemon/base/process.h"
#include "daemon/sync/carry.h"
#include "daemon/sync/join.h"

enum {
    LINE_FD = 3
};

static const char usage_text[] =
    "usage: knockbox-link join CODE FILE [--connect tcp://HOST:PORT]\n"
    "           makes a key file with the one-time code of `knockbox-hub enrol`\n"
    "       knockbox-link renew FILE [--connect tcp://HOST:PORT]\n"
    "           puts a new key in the place of the one in FILE, here and at the hub\n"
    "       knockbox-link tcp://HOST:PORT [--key] FILE\n"
    "           carries requests; started by `knockbox --at tcp://HOST:PORT --key FILE`\n";

static int
complain(enum err e, const struct err_text *why)
{
    char line[DIAG_LINE];
    (void)diag_clean(why->s, line, sizeof line);
    (void)fprintf(stderr, "knockbox-link: %s\n", line);
    return err_exit_status(e);
}

static int
misuse(void)
{
    (void)fputs(usage_text, stderr);
    return err_exit_status(ERR_USAGE);
}

static enum err
check_endpoint(const char *endpoint, struct err_text *why)
{
    char host[ENDPOINT_SIZE];
    unsigned port = 0;
    return endpoint_split(endpoint, host, sizeof host, &port) && port != 0
               ? ERR_OK
               : err_input(why, "at", endpoint, "tcp://HOST:PORT");
}

static enum err
read_key(const char *path, struct key_file *key, struct err_text *why)
{
    if (path == NULL)
        return err_set(ERR_USAGE, why, "a hub elsewhere wants a key: give --key FILE");
    enum err e = key_file_read(path, key, why);
    if (e == ERR_OK && !key->has_hub)
        return err_set(ERR_INPUT, why,
                       "%.300s is no key for a hub: make one with knockbox-link join", path);
    return e;
}

/* ---------------------------------------------------------------- join */

/* The pair of a join that was cut short, or a fresh one; the file is there before we ask. */
static enum err
own_key(const char *path, const struct join_code *code, const char *endpoint, struct key_file *file,
        struct err_text *why)
{
    char folder[PATH_SIZE], name[PATH_SIZE];
    enum err e = key_file_read(path, file, why);
    if (e == ERR_OK && memcmp(file->hub, code->hub, KEY_SIZE) != 0)
        return err_set(ERR_BUSY, why, "%.300s is a key for another hub", path);
    if (e != ERR_NOT_FOUND)
        return e;
    memset(file, 0, sizeof *file);
    e = key_pair_new(&file->own, why);
    if (e != ERR_OK)
        return e;
    memcpy(file->hub, code->hub, KEY_SIZE);
    file->has_hub = true;
    (void)snprintf(file->connect, sizeof file->connect, "%s", endpoint);
    (void)snprintf(folder, sizeof folder, "%s", path);
    (void)snprintf(name, sizeof name, "%s", path);
    return key_file_write(dirname(folder), basename(name), file, why);
}

static int
join(const char *text, const char *path, const char *connect)
{
    struct err_text why = {.s = ""};
    struct join_code code;
    struct key_file file;
    struct join_answer answer;
    memset(&file, 0, sizeof file);
    memset(&answer, 0, sizeof answer);
    enum err e = code_parse(text, &code, &why);
    if (e != ERR_OK)
        return complain(e, &why);
    const char *endpoint = connect != NULL ? connect : code.endpoint;
    e = check_endpoint(endpoint, &why);
    if (e == ERR_OK)
        e = own_key(path, &code, endpoint, &file, &why);
    if (e == ERR_OK)
        e = join_ask(&code, endpoint, &file.own, &answer, &why);
    if (e == ERR_OK)
        (void)printf("joined as %s of %s; knockbox --at %s --key %s\n", answer.role, answer.site,
                     endpoint, path);
    keys_wipe(&file, sizeof file);
    keys_wipe(&code, sizeof code);
    return e == ERR_OK ? 0 : complain(e, &why);
}

/* ---------------------------------------------------------------- renew */

/* FILE.next, the hub's word that it is in, FILE; then it speaks and the one before is out. A renewal
 * that was cut short goes on where it was. */
static enum err
renew_at(const char *path, const struct key_file *old, const struct key_file *next,
         const char *endpoint, struct err_text *why)
{
    enum err e = check_endpoint(endpoint, why);
    if (e == ERR_OK)
        e = renew_ask(endpoint, old->hub, &old->own, &next->own, why);
    if (e == ERR_OK)
        e = key_file_turn(path, why);
    if (e == ERR_OK) /* no answer: the hub hears it at the next use */
        (void)renew_speak(endpoint, old->hub, &next->own, NULL);
    return e;
}

static int
renew(const char *path, const char *connect)
{
    struct err_text why = {.s = ""};
    struct key_file old, next;
    memset(&old, 0, sizeof old);
    memset(&next, 0, sizeof next);
    enum err e = read_key(path, &old, &why);
    if (e == ERR_OK)
        e = key_file_next(path, &next, &why);
    if (e == ERR_OK)
        e = renew_at(path, &old, &next, connect != NULL ? connect : old.connect, &why);
    if (e == ERR_OK)
        (void)printf("renewed\n");
    keys_wipe(&old, sizeof old);
    keys_wipe(&next, sizeof next);
    return e == ERR_OK ? 0 : complain(e, &why);
}

/* ---------------------------------------------------------------- carry */

static bool
is_socket(int fd)
{
    int type = 0;
    socklen_t size = sizeof type;
    return getsockopt(fd, SOL_SOCKET, SO_TYPE, &type, &size) == 0 && type == SOCK_SEQPACKET;
}

static int
carry_to(const char *endpoint, const char *path)
{
    struct err_text why = {.s = ""};
    struct key_file key;
    if (!is_socket(LINE_FD))
        return misuse();
    enum err e = check_endpoint(endpoint, &why);
    if (e == ERR_OK)
        e = read_key(path, &key, &why);
    if (e != ERR_OK) {
        carry_refuse(LINE_FD, e, why.s);
        return err_exit_status(e);
    }
    e = carry(LINE_FD, endpoint, &key, &why); /* what goes wrong is told to the client */
    keys_wipe(&key, sizeof key);
    return err_exit_status(e);
}

int
main(int argc, char **argv)
{
    bool line_given = is_socket(LINE_FD); /* before anything else opens a descriptor */
    process_harden();
    if (argc == 2 && strcmp(argv[1], "--help") == 0)
        return fputs(usage_text, stdout) < 0;
    if (argc == 2 && strcmp(argv[1], "--version") == 0)
        return puts("knockbox-link " KNOCKBOX_VERSION) < 0;
    if (argc >= 4 && strcmp(argv[1], "join") == 0) {
        bool more = argc == 6 && strcmp(argv[4], "--connect") == 0;
        return argc == 4 || more ? join(argv[2], argv[3], more ? argv[5] : NULL) : misuse();
    }
    if (argc >= 3 && strcmp(argv[1], "renew") == 0) {
        bool more = argc == 5 && strcmp(argv[3], "--connect") == 0;
        return argc == 3 || more ? renew(argv[2], more ? argv[4] : NULL) : misuse();
    }
    if (argc < 2 || argc > 4 || !line_given)
        return misuse();
    bool named = argc == 4 && strcmp(argv[2], "--key") == 0;
    if (argc == 4 && !named)
        return misuse();
    return carry_to(argv[1], named ? argv[3] : argc == 3 ? argv[2] : NULL);
}
