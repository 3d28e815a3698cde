/* cafe.c - knockbox-cafe: the durable log of one café, which works alone and syncs when it can. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "daemon/base/diag.h"
#include "daemon/base/folder.h"
#include "daemon/base/process.h"
#include "daemon/box.h"
#include "daemon/cafe_rescue.h"
#include "daemon/command.h"
#include "daemon/sync/join.h"
#include "daemon/sync/site_net.h"

#define KEY_FILE "cafe.key"

/* ---------------------------------------------------------------- join */

/* The pair that this machine asks with: the one of a join that was cut short, or a fresh one. */
static enum err
own_key(const char *dir, const struct join_code *code, struct key_file *file, struct err_text *why)
{
    char path[PATH_SIZE];
    enum err e = path_join(dir, KEY_FILE, path, why);
    if (e == ERR_OK && file_there(dir, KEY_FILE))
        return key_file_read(path, file, why);
    if (e == ERR_OK)
        e = key_pair_new(&file->own, why);
    if (e != ERR_OK)
        return e;
    memcpy(file->hub, code->hub, KEY_SIZE);
    file->has_hub = true;
    return key_file_write(dir, KEY_FILE, file, why);
}

static enum err
write_config(const char *dir, const struct join_code *code, const char *endpoint,
             const struct join_answer *answer, struct err_text *why)
{
    char text[1024], zone[96] = "", key[KEY_TEXT];
    if (answer->zone[0] != '\0')
        (void)snprintf(zone, sizeof zone, "site.zone %s\n", answer->zone);
    int n = snprintf(text, sizeof text,
                     "# Settings of this café; `knockbox-cafe check` prints all. Manual: "
                     "knockbox-cafe(8).\nsite.name %s\n%shub.connect %s\nhub.key %s\nhub.site %s\n",
                     answer->site, zone, endpoint, key_print(code->hub, key), answer->hub_site);
    return file_write(dir, config_cafe.file, text, (size_t)n, 0600, why);
}

static enum err
load(const char *dir, struct config **config, struct err_text *why)
{
    enum err e = config_load(dir, &config_cafe, config, why);
    if (e == ERR_NOT_FOUND)
        return err_set(e, why, "%.300s has no café: make one with knockbox-cafe join", dir);
    bool whole = e != ERR_OK || (config_text(*config, "site.name")[0] != '\0' &&
                                 config_text(*config, "hub.connect")[0] != '\0' &&
                                 config_text(*config, "hub.key")[0] != '\0');
    return whole ? e
                 : err_set(ERR_INPUT, why,
                           "%.300s/cafe.conf: site.name, hub.connect and hub.key must be set", dir);
}

/* A machine that takes the place of another begins behind the epochs of that one. */
static enum err
begin_epoch(const char *dir, uint32_t first_epoch, struct err_text *why)
{
    struct config *config = NULL;
    struct store *store = NULL;
    struct store_txn *txn = NULL;
    if (first_epoch <= 1)
        return ERR_OK;
    enum err e = load(dir, &config, why);
    if (e == ERR_OK)
        e = box_store(dir, config, false, &store, why);
    if (e == ERR_OK)
        e = store_begin(store, &txn, why);
    if (e == ERR_OK)
        e = store_new_epoch(txn, config_text(config, "site.name"), first_epoch - 1, why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    store_close(store);
    config_free(config);
    return e;
}

static enum err
join_with(const char *dir, const struct join_code *code, const char *endpoint, struct err_text *why)
{
    struct key_file file;
    struct join_answer answer;
    memset(&file, 0, sizeof file);
    memset(&answer, 0, sizeof answer);
    enum err e = own_key(dir, code, &file, why);
    if (e == ERR_OK)
        e = join_ask(code, endpoint, &file.own, &answer, why);
    if (e == ERR_OK && strcmp(answer.role, "site") != 0)
        e = err_set(ERR_INPUT, why, "this code is for a person: use knockbox-link join");
    if (e == ERR_OK)
        e = write_config(dir, code, endpoint, &answer, why);
    if (e == ERR_OK)
        e = begin_epoch(dir, answer.first_epoch, why);
    if (e == ERR_OK)
        (void)printf("joined as %s\n", answer.site);
    keys_wipe(&file, sizeof file);
    return e;
}

static enum err
run_join(const char *const *words, const char *const *values, struct err_text *why)
{
    const char *dir = words[0];
    struct join_code code;
    process_harden();
    enum err e = code_parse(words[1], &code, why);
    if (e == ERR_OK)
        e = folder_make(dir, 0700, why);
    if (e == ERR_OK && file_there(dir, config_cafe.file))
        e = err_set(ERR_BUSY, why, "%.300s has a café already", dir);
    if (e == ERR_OK && file_there(dir, config_hub.file))
        e = err_set(ERR_BUSY, why, "%.300s has a hub: give the café its own folder", dir);
    if (e == ERR_OK)
        e = join_with(dir, &code, values[0] != NULL ? values[0] : code.endpoint, why);
    keys_wipe(&code, sizeof code);
    return e;
}

/* ---------------------------------------------------------------- run */

struct cafe {
    struct box box;
    struct site_net *net;
    const char *dir, *site;
    struct diag_memory next_key_trouble;
};

static size_t
cafe_sites(void *owner, struct site_state *out, size_t most)
{
    struct cafe *cafe = owner;
    if (most == 0 || cafe->net == NULL)
        return 0;
    struct site_link link = site_net_link(cafe->net);
    memset(&out[0], 0, sizeof out[0]);
    (void)snprintf(out[0].site, sizeof out[0].site, "%s", cafe->site);
    out[0].online = link.online;
    out[0].last_seen_ms = link.last_seen_ms;
    out[0].behind = link.behind;
    out[0].in_backup = link.in_backup;
    out[0].clock_offset_ms = link.clock_offset_ms;
    out[0].forked = link.forked;
    out[0].other_hub = link.other_hub;
    out[0].enrolled = true;
    return 1;
}

static void
cafe_wrote(void *owner)
{
    struct cafe *cafe = owner;
    site_net_wrote(cafe->net);
}

/* `knockbox-cafe renew` has left a key: the hub is asked to let it in. */
static void
look_for_next_key(struct cafe *cafe)
{
    char path[PATH_SIZE];
    struct key_file next;
    struct err_text why;
    if (site_net_renewing(cafe->net) || !file_there(cafe->dir, KEY_FILE KEY_NEXT) ||
        path_join(cafe->dir, KEY_FILE KEY_NEXT, path, NULL) != ERR_OK)
        return;
    if (key_file_read(path, &next, &why) != ERR_OK) {
        diag_changed(&cafe->next_key_trouble, cafe->box.clock.mono_ms(cafe->box.clock.owner),
                     DIAG_WARNING, "the key is not renewed: %s", why.s);
        return;
    }
    site_net_renew(cafe->net, &next.own);
    keys_wipe(&next, sizeof next);
}

static enum err
cafe_renewed(void *owner, struct err_text *why)
{
    struct cafe *cafe = owner;
    char path[PATH_SIZE];
    enum err e = path_join(cafe->dir, KEY_FILE, path, why);
    return e == ERR_OK ? key_file_turn(path, why) : e;
}

static enum err
cafe_tick(void *owner, struct err_text *why)
{
    struct cafe *cafe = owner;
    look_for_next_key(cafe);
    return site_net_tick(cafe->net, why);
}

static bool
cafe_busy(void *owner)
{
    struct cafe *cafe = owner;
    return site_net_busy(cafe->net);
}

static void
cafe_failed(void *owner, enum err e, const struct err_text *why)
{
    struct cafe *cafe = owner;
    box_fail(&cafe->box, e, why);
}

static enum err
open_cafe(struct cafe *cafe, const char *dir, const struct config *config,
          const struct key_file *key, struct err_text *why)
{
    struct box_options box = {
        .dir = dir,
        .config = config,
        .hub_site = config_text(config, "hub.site"),
        .sites = cafe_sites,
        .wrote = cafe_wrote,
        .tick = cafe_tick,
        .busy = cafe_busy,
        .owner = cafe,
    };
    enum err e = box_open(&cafe->box, &box, why);
    if (e != ERR_OK)
        return e;
    struct site_net_options net = {
        .connect = config_text(config, "hub.connect"),
        .hub_site = config_text(config, "hub.site"),
        .pair = key->own,
        .window = (unsigned)config_number(config, "sync.window"),
        .retry_ms = config_number(config, "sync.retry"),
        .low_mib = (uint64_t)config_number(config, "disk.low_mib"),
        .store = cafe->box.store,
        .loop = cafe->box.loop,
        .clock = cafe->box.clock,
        .failed = cafe_failed,
        .renewed = cafe_renewed,
        .owner = cafe,
    };
    cafe->dir = dir;
    cafe->site = config_text(config, "site.name");
    (void)key_parse(config_text(config, "hub.key"), net.hub_key); /* checked by its kind */
    e = site_net_open(&net, &cafe->net, why);
    keys_wipe(&net.pair, sizeof net.pair);
    return e;
}

static enum err
read_key(const char *dir, struct key_file *key, struct err_text *why)
{
    return box_read_key(dir, KEY_FILE, key, why);
}

static enum err
run_run(const char *const *words, const char *const *values, struct err_text *why)
{
    struct cafe *cafe = calloc(1, sizeof *cafe);
    struct config *config = NULL;
    struct key_file key;
    (void)values;
    process_harden();
    enum err e = cafe != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    if (e == ERR_OK)
        e = load(words[0], &config, why);
    if (e == ERR_OK)
        e = read_key(words[0], &key, why);
    if (e == ERR_OK)
        e = box_confine(words[0], config, NULL, why);
    if (e == ERR_OK) {
        e = open_cafe(cafe, words[0], config, &key, why);
        keys_wipe(&key, sizeof key);
        if (e == ERR_OK)
            e = box_run(&cafe->box, why);
        site_net_close(cafe->net);
        box_close(&cafe->box);
    }
    config_free(config);
    free(cafe);
    if (e != ERR_OK)
        diag_error("%s", why->s);
    if (e == ERR_DAMAGED)
        diag_error("what can be read of the store is saved by: knockbox-cafe rescue %s", words[0]);
    why->s[0] = '\0'; /* told */
    return e;
}

static enum err
run_check(const char *const *words, const char *const *values, struct err_text *why)
{
    struct config *config = NULL;
    struct key_file key;
    (void)values;
    enum err e = load(words[0], &config, why);
    if (e == ERR_OK)
        config_print(config, stdout);
    if (e == ERR_OK)
        e = read_key(words[0], &key, why);
    keys_wipe(&key, sizeof key);
    config_free(config);
    return e;
}

/* ---------------------------------------------------------------- renew */

enum {
    RENEW_PATIENCE_MS = 10000
};

/* The running café takes the new key away when the hub lets it in. */
static bool
wait_until_turned(const char *dir)
{
    for (int waited = 0; waited < RENEW_PATIENCE_MS; waited += 50) {
        struct timespec moment = {.tv_nsec = 50000000};
        if (!file_there(dir, KEY_FILE KEY_NEXT))
            return true;
        (void)nanosleep(&moment, NULL);
    }
    return false;
}

static enum err
run_renew(const char *const *words, const char *const *values, struct err_text *why)
{
    char path[PATH_SIZE];
    struct key_file next;
    (void)values;
    process_harden();
    memset(&next, 0, sizeof next);
    enum err e = path_join(words[0], KEY_FILE, path, why);
    if (e == ERR_OK)
        e = key_file_next(path, &next, why);
    keys_wipe(&next, sizeof next);
    if (e != ERR_OK)
        return e;
    if (wait_until_turned(words[0]))
        (void)printf("renewed\n");
    else
        (void)fprintf(stderr,
                      "knockbox-cafe: a new key waits in %.300s" KEY_NEXT
                      "; it takes over as soon as this café runs and its hub is there\n",
                      path);
    return ERR_OK;
}

/* ---------------------------------------------------------------- without a running café */

static enum err
run_verify(const char *const *words, const char *const *values, struct err_text *why)
{
    (void)values;
    return box_at_rest(words[0], load, box_verify, why);
}

static enum err
run_rebuild(const char *const *words, const char *const *values, struct err_text *why)
{
    (void)values;
    return box_at_rest(words[0], load, box_rebuild, why);
}

static enum err
run_rescue(const char *const *words, const char *const *values, struct err_text *why)
{
    (void)values;
    return box_at_rest(words[0], load, cafe_rescue, why);
}

static const struct command commands[] = {
    {"join",
     "DIR CODE [--connect tcp://HOST:PORT]",
     "makes a café in a fresh folder with the hub's one-time code",
     2,
     2,
     {"--connect"},
     run_join},
    {"run", "DIR", "runs it in the foreground until SIGTERM", 1, 1, {NULL}, run_run},
    {"check", "DIR", "reads the settings and prints them as understood", 1, 1, {NULL}, run_check},
    {"renew", "DIR", "gives this café a new key, without a pause", 1, 1, {NULL}, run_renew},
    {"verify", "DIR", "walks every chain; no café may run", 1, 1, {NULL}, run_verify},
    {"rebuild",
     "DIR",
     "folds the ledger again from the logs; no café may run",
     1,
     1,
     {NULL},
     run_rebuild},
    {"rescue",
     "DIR",
     "sets a damaged store aside and saves what can be read of it; no café may run",
     1,
     1,
     {NULL},
     run_rescue},
};

int
main(int argc, char **argv)
{
    return command_main("knockbox-cafe", commands, sizeof commands / sizeof commands[0], argc,
                        argv);
}
