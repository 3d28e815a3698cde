/* hub_enrol.c - who is let in: codes for machines and people, the list of keys, and revoking. */
#include <ifaddrs.h>
#include <inttypes.h>
#include <netdb.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <netinet/in.h>

#include "daemon/base/folder.h"
#include "daemon/base/process.h"
#include "daemon/box.h"
#include "daemon/hub_commands.h"
#include "daemon/record/kind.h"
#include "daemon/sync/keys.h"
#include "daemon/sync/spool.h"

/* The first address of this machine that others can reach. */
static void
own_address(char *out, size_t size)
{
    struct ifaddrs *all = NULL;
    (void)snprintf(out, size, "127.0.0.1");
    if (getifaddrs(&all) != 0)
        return;
    for (struct ifaddrs *one = all; one != NULL; one = one->ifa_next) {
        if (one->ifa_addr == NULL || one->ifa_addr->sa_family != AF_INET)
            continue;
        const struct sockaddr_in *in = (const struct sockaddr_in *)(const void *)one->ifa_addr;
        if ((ntohl(in->sin_addr.s_addr) >> 24) == 127)
            continue;
        (void)getnameinfo(one->ifa_addr, sizeof *in, out, (socklen_t)size, NULL, 0, NI_NUMERICHOST);
        break;
    }
    freeifaddrs(all);
}

/* Where cafés find this hub: as set, else where it listens now, else where it will. */
static enum err
public_endpoint(const char *dir, const struct config *config, char out[ENDPOINT_SIZE],
                struct err_text *why)
{
    char path[PATH_SIZE], host[ENDPOINT_SIZE];
    char *text = NULL;
    size_t len = 0;
    unsigned port = 0;
    const char *from = config_text(config, "listen.public");
    if (from[0] == '\0') {
        from = config_text(config, "listen");
        enum err e = path_join(dir, SPOOL_ENDPOINT, path, why);
        if (e == ERR_OK)
            e = file_read(path, &text, &len, why);
        if (e != ERR_OK && e != ERR_NOT_FOUND)
            return e;
        if (e == ERR_OK && len > 1) {
            text[strcspn(text, "\n")] = '\0';
            from = text;
        }
    }
    bool fine = endpoint_split(from, host, sizeof host - 1, &port) && port != 0;
    if (fine &&
        (strcmp(host, "*") == 0 || strcmp(host, "0.0.0.0") == 0 || strcmp(host, "[::]") == 0))
        own_address(host, sizeof host);
    free(text);
    if (!fine)
        return err_set(ERR_INPUT, why,
                       "the port is chosen when the hub starts: start it first, or set one");
    (void)snprintf(out, ENDPOINT_SIZE, "tcp://%.120s:%u", host, port);
    return ERR_OK;
}

static enum err
check_code(const char *what, const char *text, struct err_text *why)
{
    size_t len = strlen(text);
    bool fine = len >= 1 && len <= 64 && text[0] != '-';
    for (size_t i = 0; fine && i < len; i++)
        fine = (unsigned char)text[i] > ' ' && text[i] != 0x7F && text[i] != '/';
    return fine ? ERR_OK : err_input(why, what, text, "1 to 64 bytes without spaces or slashes");
}

static enum err
check_person(const char *text, struct err_text *why)
{
    size_t len = strlen(text);
    bool fine = len >= 1 && len <= 64 && strcmp(text, "-") != 0;
    for (size_t i = 0; fine && i < len; i++)
        fine = (unsigned char)text[i] >= ' ' && text[i] != 0x7F;
    return fine ? ERR_OK : err_input(why, "person", text, "1 to 64 bytes of text");
}

static enum err
fill_entry(const struct config *config, const char *site, const char *person, const char *role,
           struct key_entry *entry, struct err_text *why)
{
    enum role known = ROLE_BIT_READER;
    enum err e = check_code("site", site, why);
    if (e != ERR_OK)
        return e;
    if ((person == NULL) != (role == NULL))
        return err_set(ERR_USAGE, why, "--person and --role come together");
    if (person == NULL && strcmp(site, config_text(config, "site.name")) == 0)
        return err_set(ERR_INPUT, why, "%s is the hub's own site: it needs no machine", site);
    if (role != NULL && !role_parse(role, &known))
        return err_input(why, "role", role, "barista, driver, kitchen, office, operator or reader");
    if (person != NULL && (e = check_person(person, why)) != ERR_OK)
        return e;
    (void)snprintf(entry->site, sizeof entry->site, "%s", site);
    (void)snprintf(entry->person, sizeof entry->person, "%s", person != NULL ? person : "");
    (void)snprintf(entry->role, sizeof entry->role, "%.15s", role != NULL ? role : "site");
    return ERR_OK;
}

static enum err
print_code(const char *dir, const struct config *config, struct key_entry *entry,
           struct err_text *why)
{
    struct join_code code;
    struct key_file key;
    struct clock clock = clock_system();
    char text[CODE_TEXT];
    memset(&code, 0, sizeof code);
    int64_t minutes = config_number(config, "enrol.minutes");
    entry->expires_ms = clock.now_ms(clock.owner) + minutes * 60000;
    enum err e = public_endpoint(dir, config, code.endpoint, why);
    if (e == ERR_OK)
        e = box_read_key(dir, HUB_KEY_FILE, &key, why);
    if (e == ERR_OK) {
        memcpy(code.hub, key.own.public_key, KEY_SIZE);
        keys_wipe(&key, sizeof key);
        e = spool_issue(dir, entry, &code, &clock, why);
    }
    if (e == ERR_OK)
        e = code_print(&code, text, why);
    if (e == ERR_OK) {
        (void)printf("%s\n", text);
        (void)fprintf(stderr,
                      "knockbox-hub: one use, %" PRId64 " minutes, for a hub at %s; on the other "
                      "machine: %s CODE%s\n",
                      minutes, code.endpoint,
                      entry->person[0] != '\0' ? "knockbox-link join" : "knockbox-cafe join DIR",
                      entry->person[0] != '\0' ? " KEYFILE" : "");
    }
    keys_wipe(&code, sizeof code);
    keys_wipe(text, sizeof text);
    return e;
}

enum err
hub_enrol(const char *const *words, const char *const *values, struct err_text *why)
{
    struct config *config = NULL;
    struct key_entry entry;
    memset(&entry, 0, sizeof entry);
    process_harden();
    enum err e = hub_load(words[0], &config, why);
    if (e == ERR_OK)
        e = fill_entry(config, words[1], values[0], values[1], &entry, why);
    if (e == ERR_OK)
        e = print_code(words[0], config, &entry, why);
    config_free(config);
    return e;
}

/* ---------------------------------------------------------------- keys, revoke */

enum {
    KEYS_MOST = 64,
    REVOKE_PATIENCE_MS = 3000
};

enum err
hub_list_keys(const char *const *words, const char *const *values, struct err_text *why)
{
    char path[PATH_SIZE];
    char *text = NULL;
    size_t len = 0;
    (void)values;
    enum err e = path_join(words[0], SPOOL_KEYS, path, why);
    if (e == ERR_OK)
        e = file_read(path, &text, &len, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK; /* the hub has not run yet: nobody is in */
    if (e == ERR_OK)
        (void)fwrite(text, 1, len, stdout);
    free(text);
    return e;
}

/* A running hub takes its keys out of the list as soon as it has banned them. */
static bool
wait_until_out(const char *dir, const char *name)
{
    for (int waited = 0; waited < REVOKE_PATIENCE_MS; waited += 20) {
        struct timespec moment = {.tv_nsec = 20000000};
        struct key_entry entry;
        size_t n = 0;
        if (spool_find_keys(dir, name, &entry, 1, &n, NULL) == ERR_OK && n == 0)
            return true;
        (void)nanosleep(&moment, NULL);
    }
    return false;
}

enum err
hub_revoke(const char *const *words, const char *const *values, struct err_text *why)
{
    const char *dir = words[0], *name = words[1];
    struct config *config = NULL;
    struct key_entry *found = calloc(KEYS_MOST, sizeof *found);
    uint8_t key[KEY_SIZE];
    size_t n = 0;
    (void)values;
    process_harden();
    enum err e = found != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    if (e == ERR_OK)
        e = hub_load(dir, &config, why);
    if (e == ERR_OK)
        e = spool_find_keys(dir, name, found, KEYS_MOST, &n, why);
    if (e == ERR_OK && n == 0 && key_parse(name, key))
        e = spool_revoke(dir, key, why); /* a key that nobody has: banned before it comes */
    else if (e == ERR_OK && n == 0)
        e = err_set(ERR_NOT_FOUND, why, "no key of %.64s: `knockbox-hub keys` lists them", name);
    for (size_t i = 0; e == ERR_OK && i < n && i < KEYS_MOST; i++)
        e = spool_revoke(dir, found[i].key, why);
    if (e == ERR_OK && file_there(dir, SPOOL_ENDPOINT) && !wait_until_out(dir, name))
        (void)fprintf(stderr, "knockbox-hub: no hub runs here; it holds from its next start\n");
    config_free(config);
    free(found);
    return e;
}
