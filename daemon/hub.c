/* hub.c - knockbox-hub: the kitchen's own log, every site's log, and who is let in. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/diag.h"
#include "daemon/base/process.h"
#include "daemon/box.h"
#include "daemon/command.h"
#include "daemon/exchange/courier.h"
#include "daemon/exchange/delivery.h"
#include "daemon/exchange/setup.h"
#include "daemon/hub_backup.h"
#include "daemon/hub_commands.h"
#include "daemon/serve/redraft.h"
#include "daemon/sync/hub_net.h"

#define KEY_FILE HUB_KEY_FILE

/* ---------------------------------------------------------------- run */

struct hub {
    struct box box;
    struct hub_net *net;
    struct delivery *delivery;
    bool busy;        /* as it was asked last: asking begins anew */
    unsigned to_look; /* seconds until the plan is looked at */
};

enum {
    LOOK_S = 60,
    LOOK_AGAIN_S = 3600 /* after a look that failed */
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
        out[i].disk_low = from->disk_low;
        out[i].disk_mib = from->disk_mib;
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

/* Each minute that is quiet: late news gets a draft, and a person decides. */
static void
look_at_plan(struct hub *hub)
{
    struct err_text why = {.s = ""};
    int64_t plan = 0, draft = 0;
    if (hub->busy || hub->to_look-- > 0)
        return;
    enum err e = redraft_look(hub->box.serve, &plan, &draft, &why);
    hub->to_look = e == ERR_OK ? LOOK_S : LOOK_AGAIN_S;
    if (e != ERR_OK)
        diag_info("plan %" PRId64 " no longer fits, and no draft was made: %s", plan, why.s);
    else if (draft > 0)
        diag_info("plan %" PRId64 " no longer fits: draft %" PRId64 " was made", plan, draft);
}

static enum err
hub_tick(void *owner, struct err_text *why)
{
    struct hub *hub = owner;
    look_at_plan(hub);
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
        out[i].disk_low = states[i].disk_low;
        out[i].disk_mib = states[i].disk_mib;
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
        .share_pct = (unsigned)config_number(config, "people.share"),
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
    return box_read_key(dir, KEY_FILE, key, why);
}

enum err
hub_load(const char *dir, struct config **config, struct err_text *why)
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
    char program[PATH_SIZE];
    (void)values;
    process_harden();
    enum err e = hub != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    if (e == ERR_OK)
        e = hub_load(words[0], &config, why);
    if (e == ERR_OK)
        e = read_key(words[0], &key, why);
    if (e == ERR_OK)
        e = box_confine(words[0], config, courier_program(NULL, program, sizeof program), why);
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
    enum err e = hub_load(words[0], &config, why);
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

/* ---------------------------------------------------------------- without a running hub */

static enum err
run_verify(const char *const *words, const char *const *values, struct err_text *why)
{
    (void)values;
    return box_at_rest(words[0], hub_load, box_verify, why);
}

static enum err
run_rebuild(const char *const *words, const char *const *values, struct err_text *why)
{
    (void)values;
    return box_at_rest(words[0], hub_load, box_rebuild, why);
}

static const struct command commands[] = {
    {"init",
     "DIR [--site CODE] [--listen tcp://HOST:PORT]",
     "makes a hub in a fresh folder",
     1,
     1,
     {"--site", "--listen"},
     hub_init},
    {"run", "DIR", "runs it in the foreground until SIGTERM", 1, 1, {NULL}, run_run},
    {"check", "DIR", "reads the settings and prints them as understood", 1, 1, {NULL}, run_check},
    {"enrol",
     "DIR SITE [--person NAME --role ROLE]",
     "prints a one-time code for a café's machine, or for a person's desk",
     2,
     2,
     {"--person", "--role"},
     hub_enrol},
    {"revoke",
     "DIR SITE|NAME|KEY",
     "lets a site's machine, a person or a key in no longer",
     2,
     2,
     {NULL},
     hub_revoke},
    {"keys", "DIR", "lists who is let in: key, role, site, person", 1, 1, {NULL}, hub_list_keys},
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
