/* hub.c - knockbox-hub: the kitchen's own log, every site's log, and who is let in. */
#include <ifaddrs.h>
#include <inttypes.h>
#include <netdb.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <netinet/in.h>
#include <unistd.h>

#include "daemon/base/diag.h"
#include "daemon/base/folder.h"
#include "daemon/base/process.h"
#include "daemon/box.h"
#include "daemon/command.h"
#include "daemon/exchange/delivery.h"
#include "daemon/exchange/setup.h"
#include "daemon/hub_backup.h"
#include "daemon/record/kind.h"
#include "daemon/sync/hub_net.h"
#include "daemon/sync/spool.h"

#define KEY_FILE HUB_KEY_FILE

/* ---------------------------------------------------------------- init */

/* A port of this machine that nobody has, for a hub that was not told one. 0: none found. */
static unsigned
free_port(void)
{
    struct sockaddr_in at = {.sin_family = AF_INET, .sin_addr = {htonl(INADDR_LOOPBACK)}};
    struct clock clock = clock_system();
    for (int tries = 0; tries < 64; tries++) {
        uint16_t pick = 0;
        clock.random(clock.owner, &pick, sizeof pick);
        unsigned port = 20000 + pick % 12000; /* below the ports of outgoing connections */
        int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
        at.sin_port = htons((uint16_t)port);
        bool free_now = fd >= 0 && bind(fd, (struct sockaddr *)&at, sizeof at) == 0;
        if (fd >= 0)
            (void)close(fd);
        if (free_now)
            return port;
    }
    return 0;
}

static enum err
write_config(const char *dir, const char *site, const char *listen, struct err_text *why)
{
    char text[1024], chosen[64];
    struct config *config = NULL;
    if (listen == NULL) {
        (void)snprintf(chosen, sizeof chosen, "tcp://127.0.0.1:%u", free_port());
        listen = chosen;
        (void)fprintf(stderr,
                      "knockbox-hub: listens on this machine only, at %s; for cafés elsewhere give "
                      "--listen tcp://ADDRESS:PORT\n",
                      listen);
    }
    int n = snprintf(text, sizeof text,
                     "# Settings of this hub; `knockbox-hub check` prints all. Manual: "
                     "knockbox-hub(8).\nsite.name %s\nlisten %s\n",
                     site != NULL ? site : "kitchen", listen);
    if (n < 0 || (size_t)n >= sizeof text)
        return err_set(ERR_INPUT, why, "the name or the address is too long");
    enum err e = config_parse("hub.conf", text, (size_t)n, &config_hub, &config, why);
    config_free(config);
    return e == ERR_OK ? file_write(dir, config_hub.file, text, (size_t)n, 0600, why) : e;
}

static enum err
write_key(const char *dir, struct err_text *why)
{
    struct key_file file;
    memset(&file, 0, sizeof file);
    if (file_there(dir, KEY_FILE)) /* an init that was cut short */
        return ERR_OK;
    enum err e = key_pair_new(&file.own, why);
    if (e == ERR_OK)
        e = key_file_write(dir, KEY_FILE, &file, why);
    keys_wipe(&file, sizeof file);
    return e;
}

static enum err
run_init(const char *const *words, const char *const *values, struct err_text *why)
{
    const char *dir = words[0];
    process_harden();
    enum err e = folder_make(dir, 0700, why);
    if (e == ERR_OK && file_there(dir, config_hub.file))
        e = err_set(ERR_BUSY, why, "%.300s has a hub already", dir);
    if (e == ERR_OK && file_there(dir, config_cafe.file))
        e = err_set(ERR_BUSY, why, "%.300s has a café already: give the hub its own folder", dir);
    if (e == ERR_OK)
        e = write_key(dir, why);
    return e == ERR_OK ? write_config(dir, values[0], values[1], why)
                       : e; /* last: it is the mark */
}

/* ---------------------------------------------------------------- run */

struct hub {
    struct box box;
    struct hub_net *net;
    struct delivery *delivery;
    bool busy; /* as it was asked last: asking begins anew */
};

static size_t
hub_sites(void *owner, struct site_state *out, size_t most)
{
    struct hub *hub = owner;
    struct hub_net_site *sites = calloc(most + 1, sizeof *sites);
    size_t n = sites != NULL ? hub_net_sites(hub->net, sites, most) : 0;
    for (size_t i = 0; i < n && i < most; i++) {
        const struct hub_site *from = &sites[i].state;
        memset(&out[i], 0, sizeof out[i]);
        memcpy(out[i].site, from->site, sizeof out[i].site);
        out[i].online = from->online;
        out[i].last_seen_ms = from->last_seen_ms;
        out[i].behind = from->behind;
        out[i].clock_offset_ms = from->clock_offset_ms;
        out[i].forked = from->forked;
        out[i].enrolled = sites[i].enrolled;
        out[i].in_backup = backed_count(hub_net_backup(hub->net), out[i].site);
    }
    free(sites);
    return n;
}

static int64_t
hub_backup_made(void *owner, uint64_t *out_own)
{
    struct hub *hub = owner;
    const struct backed *backup = hub_net_backup(hub->net);
    *out_own = backed_count(backup, store_site(hub->box.store));
    return backup->made_ms;
}

static void
hub_wrote(void *owner)
{
    struct hub *hub = owner;
    hub_net_wrote(hub->net);
}

static enum err
hub_tick(void *owner, struct err_text *why)
{
    struct hub *hub = owner;
    delivery_tick(hub->delivery, hub->busy);
    return hub_net_tick(hub->net, why);
}

static bool
hub_busy(void *owner)
{
    struct hub *hub = owner;
    hub->busy = hub_net_busy(hub->net);
    return hub->busy;
}

static void
hub_reload(void *owner)
{
    struct hub *hub = owner;
    hub_net_reload(hub->net);
    delivery_reload(hub->delivery);
}

static void
hub_failed(void *owner, enum err e, const struct err_text *why)
{
    struct hub *hub = owner;
    box_fail(&hub->box, e, why);
}

/* Sites as alerts see them. */
static size_t
alert_sites(void *owner, struct alert_site *out, size_t most)
{
    struct site_state *states = calloc(most + 1, sizeof *states);
    size_t n = states != NULL ? hub_sites(owner, states, most) : 0;
    for (size_t i = 0; i < n && i < most; i++) {
        memset(&out[i], 0, sizeof out[i]);
        memcpy(out[i].site, states[i].site, sizeof out[i].site);
        out[i].enrolled = states[i].enrolled;
        out[i].online = states[i].online;
        out[i].last_seen_ms = states[i].last_seen_ms;
        out[i].clock_offset_ms = states[i].clock_offset_ms;
    }
    free(states);
    return n;
}

static enum err
open_delivery(struct hub *hub, const char *dir, const struct config *config, struct err_text *why)
{
    struct delivery_options options = {
        .dir = dir,
        .store = hub->box.store,
        .ledger = hub->box.ledger,
        .loop = hub->box.loop,
        .clock = hub->box.clock,
        .site = config_text(config, "site.name"),
        .zone = config_text(config, "site.zone"),
        .sites = alert_sites,
        .owner = hub,
    };
    enum err e = delivery_open(&options, &hub->delivery, why);
    if (e == ERR_OK)
        serve_delivery(hub->box.serve, hub->delivery);
    return e;
}

static enum err
open_hub(struct hub *hub, const char *dir, const struct config *config, const struct key_file *key,
         struct err_text *why)
{
    struct box_options box = {
        .dir = dir,
        .config = config,
        .is_hub = true,
        .hub_site = config_text(config, "site.name"),
        .sites = hub_sites,
        .backup = hub_backup_made,
        .wrote = hub_wrote,
        .tick = hub_tick,
        .busy = hub_busy,
        .reload = hub_reload,
        .owner = hub,
    };
    enum err e = box_open(&hub->box, &box, why);
    if (e == ERR_OK)
        e = open_delivery(hub, dir, config, why);
    if (e != ERR_OK)
        return e;
    struct hub_net_options net = {
        .dir = dir,
        .listen = config_text(config, "listen"),
        .zone = config_text(config, "site.zone"),
        .group = (unsigned)config_number(config, "sync.group"),
        .pair = &key->own,
        .store = hub->box.store,
        .loop = hub->box.loop,
        .clock = hub->box.clock,
        .people = box_people(&hub->box),
        .failed = hub_failed,
        .owner = hub,
    };
    return hub_net_open(&net, &hub->net, why);
}

static enum err
read_key(const char *dir, struct key_file *key, struct err_text *why)
{
    char path[PATH_SIZE];
    enum err e = path_join(dir, KEY_FILE, path, why);
    return e == ERR_OK ? key_file_read(path, key, why) : e;
}

static enum err
load(const char *dir, struct config **config, struct err_text *why)
{
    enum err e = config_load(dir, &config_hub, config, why);
    return e == ERR_NOT_FOUND
               ? err_set(e, why, "%.300s has no hub: make one with knockbox-hub init", dir)
               : e;
}

static enum err
run_run(const char *const *words, const char *const *values, struct err_text *why)
{
    struct hub *hub = calloc(1, sizeof *hub);
    struct config *config = NULL;
    struct key_file key;
    (void)values;
    process_harden();
    enum err e = hub != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    if (e == ERR_OK)
        e = load(words[0], &config, why);
    if (e == ERR_OK)
        e = read_key(words[0], &key, why);
    if (e == ERR_OK) {
        e = open_hub(hub, words[0], config, &key, why);
        keys_wipe(&key, sizeof key); /* the socket has its own copy */
        if (e == ERR_OK)
            e = box_run(&hub->box, why);
        delivery_close(hub->delivery);
        hub_net_close(hub->net);
        box_close(&hub->box);
    }
    config_free(config);
    free(hub);
    if (e != ERR_OK)
        diag_error("%s", why->s);
    if (e == ERR_DAMAGED)
        diag_error(
            "put the newest backup in its place: knockbox-hub restore FILE NEW-FOLDER --keys "
            "FILE; cafés send again what it lacks");
    why->s[0] = '\0'; /* told */
    return e;
}

static enum err
run_check(const char *const *words, const char *const *values, struct err_text *why)
{
    struct config *config = NULL;
    struct setup *setup = NULL;
    struct key_file key;
    (void)values;
    enum err e = load(words[0], &config, why);
    if (e == ERR_OK)
        config_print(config, stdout);
    if (e == ERR_OK)
        e = setup_load(words[0], &setup, why);
    if (e == ERR_OK)
        setup_print(setup, stdout);
    setup_free(setup);
    if (e == ERR_OK)
        e = read_key(words[0], &key, why);
    keys_wipe(&key, sizeof key);
    config_free(config);
    return e;
}

/* ---------------------------------------------------------------- enrol */

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
        e = read_key(dir, &key, why);
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

static enum err
run_enrol(const char *const *words, const char *const *values, struct err_text *why)
{
    struct config *config = NULL;
    struct key_entry entry;
    memset(&entry, 0, sizeof entry);
    process_harden();
    enum err e = load(words[0], &config, why);
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

static enum err
run_keys(const char *const *words, const char *const *values, struct err_text *why)
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

static enum err
run_revoke(const char *const *words, const char *const *values, struct err_text *why)
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
        e = load(dir, &config, why);
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

/* ---------------------------------------------------------------- without a running hub */

static enum err
with_config(const char *dir,
            enum err (*act)(const char *, const struct config *, struct err_text *),
            struct err_text *why)
{
    struct config *config = NULL;
    process_harden();
    enum err e = load(dir, &config, why);
    if (e == ERR_OK)
        e = act(dir, config, why);
    config_free(config);
    return e;
}

static enum err
run_verify(const char *const *words, const char *const *values, struct err_text *why)
{
    (void)values;
    return with_config(words[0], box_verify, why);
}

static enum err
run_rebuild(const char *const *words, const char *const *values, struct err_text *why)
{
    (void)values;
    return with_config(words[0], box_rebuild, why);
}

static const struct command commands[] = {
    {"init",
     "DIR [--site CODE] [--listen tcp://HOST:PORT]",
     "makes a hub in a fresh folder",
     1,
     1,
     {"--site", "--listen"},
     run_init},
    {"run", "DIR", "runs it in the foreground until SIGTERM", 1, 1, {NULL}, run_run},
    {"check", "DIR", "reads the settings and prints them as understood", 1, 1, {NULL}, run_check},
    {"enrol",
     "DIR SITE [--person NAME --role ROLE]",
     "prints a one-time code for a café's machine, or for a person's desk",
     2,
     2,
     {"--person", "--role"},
     run_enrol},
    {"revoke",
     "DIR SITE|NAME|KEY",
     "lets a site's machine, a person or a key in no longer",
     2,
     2,
     {NULL},
     run_revoke},
    {"keys", "DIR", "lists who is let in: key, role, site, person", 1, 1, {NULL}, run_keys},
    {"backup",
     "DIR TO [--keys FILE] [--keep N]",
     "writes all of it to a file, or to a new file in a folder, while it runs",
     2,
     2,
     {"--keys", "--keep"},
     hub_backup},
    {"verify-backup",
     "FILE",
     "reads a backup to its end, checks it and says what is in it",
     1,
     1,
     {NULL},
     hub_verify_backup},
    {"restore",
     "FILE DIR [--keys FILE]",
     "makes a hub of a backup, in a folder that is new or empty",
     2,
     2,
     {"--keys"},
     hub_restore},
    {"verify", "DIR", "walks every chain; no hub may run", 1, 1, {NULL}, run_verify},
    {"rebuild",
     "DIR",
     "folds the ledger again from the logs; no hub may run",
     1,
     1,
     {NULL},
     run_rebuild},
};

int
main(int argc, char **argv)
{
    return command_main("knockbox-hub", commands, sizeof commands / sizeof commands[0], argc, argv);
}
