/* box.c - opens a daemon's folder in the right order and keeps it well. */
#include "daemon/box.h"

#include <inttypes.h>
#include <malloc.h>
#include <stdio.h>
#include <string.h>

#include "daemon/base/confine.h"
#include "daemon/base/diag.h"
#include "daemon/base/folder.h"
#include "daemon/base/notify.h"
#include "daemon/base/process.h"
#include "daemon/ledger/ledger.h"
#include "daemon/sync/door.h"

enum {
    CHECK_EVERY_H = 24,
    UPKEEP_EVERY_MS = 60000,
    HEAP_KEPT = 256 << 10 /* bytes */
};

/* ---------------------------------------------------------------- people's requests */

static void
take_request(void *owner, const struct door_caller *from, const Knockbox__Request *request,
             door_send *send, void *send_owner)
{
    struct box *box = owner;
    struct caller caller = {.roles = from->roles};
    memcpy(caller.via, from->via, sizeof caller.via);
    serve_request(box->serve, from->session, &caller, request, send, send_owner);
}

static void
take_hangup(void *owner, uint64_t session)
{
    struct box *box = owner;
    serve_hangup(box->serve, session);
}

struct door_handler
box_people(struct box *box)
{
    return (struct door_handler){take_request, take_hangup, box};
}

/* ---------------------------------------------------------------- every second */

void
box_fail(struct box *box, enum err e, const struct err_text *why)
{
    if (box->failed == ERR_OK) {
        box->failed = e;
        box->failed_why = *why;
    }
    loop_stop(box->loop);
}

/* A commit that failed leaves the store in doubt: nothing goes on in this process. */
static void
watch_store(void *owner)
{
    struct box *box = owner;
    struct err_text why;
    if (!kv_failed(store_kv(box->store)))
        return;
    (void)err_set(ERR_IO, &why,
                  "the disk failed while writing %.200s/store; what was acknowledged "
                  "is there; stopping so that the store is opened anew",
                  box->options.dir);
    box_fail(box, ERR_IO, &why);
}

/* What to do about it; the other records go on being read and written meanwhile. */
static void
tell_damage(const struct box *box, const char *what)
{
    if (box->options.is_hub)
        diag_error("the check of the chains stopped: %s: put the newest backup in its place: "
                   "knockbox-hub restore FILE NEW-FOLDER --keys FILE; cafés send what it lacks",
                   what);
    else
        diag_error("the check of the chains stopped: %s: stop this daemon, then: knockbox-cafe "
                   "rescue %.300s",
                   what, box->options.dir);
}

/* One piece of the daily check of every chain. */
static void
check_piece(struct box *box)
{
    struct err_text why;
    bool done = false;
    int64_t now = (int64_t)box->clock.mono_ms(box->clock.owner);
    int64_t age = now - box->checked_ms;
    if (box->check == NULL && box->checked_ms != 0 && age < (int64_t)CHECK_EVERY_H * 3600000)
        return;
    enum err e = ERR_OK;
    if (box->check == NULL)
        e = store_check_new(box->store, &box->check, &why);
    if (e == ERR_OK)
        e = store_check_step(box->check, &done, &why);
    if (e == ERR_OK && !done)
        return;
    if (e == ERR_DAMAGED)
        tell_damage(box, why.s);
    else if (e != ERR_OK)
        diag_error("the check of the chains stopped: %s", why.s);
    store_check_free(box->check);
    box->check = NULL;
    box->checked_ms = now != 0 ? now : 1;
}

/* Slots of readers that were killed (a backup), the ballast; what a large fold or report left free in
 * the heap goes back to the system. */
static void
keep_store(struct box *box)
{
    uint64_t now = box->clock.mono_ms(box->clock.owner);
    if (now - box->kept_ms < UPKEEP_EVERY_MS)
        return;
    box->kept_ms = now;
    kv_upkeep(store_kv(box->store));
    (void)malloc_trim(HEAP_KEPT);
}

static void
each_second(void *owner)
{
    struct box *box = owner;
    struct err_text why = {.s = ""};
    keep_store(box);
    enum err e = box->options.tick != NULL ? box->options.tick(box->options.owner, &why) : ERR_OK;
    bool busy = box->options.busy != NULL && box->options.busy(box->options.owner);
    if (e == ERR_OK && !busy) {
        e = ledger_catch_up(box->ledger, &why);
        if (e == ERR_OK)
            diag_fine(&box->ledger_trouble);
        else
            diag_changed(&box->ledger_trouble, box->clock.mono_ms(box->clock.owner), DIAG_WARNING,
                         "the ledger waits: %s", why.s);
        check_piece(box);
        return;
    }
    if (e != ERR_OK)
        box_fail(box, e, &why);
}

static void
feed_watchdog(void *owner)
{
    (void)owner;
    notify_alive();
}

/* Of the settings only `role.group` is taken anew; the rest holds from the next start. */
static void
reload_roles(struct box *box)
{
    struct err_text why = {.s = ""};
    struct config *config = NULL;
    const struct config_table *table = box->options.is_hub ? &config_hub : &config_cafe;
    enum err e = config_load(box->options.dir, table, &config, &why);
    if (e == ERR_OK && box->door != NULL)
        e = door_reload(box->door, config, &why);
    if (e != ERR_OK)
        diag_error("the roles stay as they were: %s", why.s);
    config_free(config);
}

static void
reload(void *owner)
{
    struct box *box = owner;
    notify_reloading();
    reload_roles(box);
    if (box->options.reload != NULL)
        box->options.reload(box->options.owner);
    notify_reloaded();
}

/* ---------------------------------------------------------------- open, run, close */

enum err
box_store(const char *dir, const struct config *config, bool read_only, struct store **out_store,
          struct err_text *why)
{
    char path[PATH_SIZE];
    struct store_options options = {
        .site = config_text(config, "site.name"),
        .map_mib = (uint64_t)config_number(config, "store.map_mib"),
        .most_mib = (uint64_t)config_number(config, "store.most_mib"),
        .read_only = read_only,
        .clock = clock_system(),
    };
    enum err e = path_join(dir, "store", path, why);
    if (e == ERR_OK && !read_only)
        e = folder_make(path, 0700, why);
    return e == ERR_OK ? store_open(path, &options, out_store, why) : e;
}

/* The folder of a people's socket that is not in DIR; "" when it is. */
static enum err
socket_folder(const struct config *config, char out[PATH_SIZE], struct err_text *why)
{
    const char *name = config_text(config, "local.socket");
    const char *slash = strrchr(name, '/');
    out[0] = '\0';
    if (name[0] != '/' || slash == name)
        return ERR_OK;
    (void)snprintf(out, PATH_SIZE, "%.*s", (int)(slash - name), name);
    return folder_make(out, 0750, why); /* later it could not be made any more */
}

enum err
box_confine(const char *dir, const struct config *config, const char *program, struct err_text *why)
{
    char store[PATH_SIZE], socket[PATH_SIZE];
    struct confine_options options = {.folders = {dir, store, "/tmp", socket}, .program = program};
    enum err e = path_join(dir, "store", store, why);
    if (e == ERR_OK)
        e = folder_make(store, 0700, why); /* perhaps a link to another disk */
    if (e == ERR_OK)
        e = socket_folder(config, socket, why);
    if (e == ERR_OK && socket[0] == '\0')
        options.folders[3] = NULL;
    return e == ERR_OK ? confine_daemon(&options, why) : e;
}

static enum err
open_service(struct box *box, struct err_text *why)
{
    const struct box_options *o = &box->options;
    struct serve_options options = {
        .store = box->store,
        .ledger = box->ledger,
        .clock = box->clock,
        .is_hub = o->is_hub,
        .site = config_text(o->config, "site.name"),
        .hub_site = o->hub_site,
        .zone = config_text(o->config, "site.zone"),
        .sites = o->sites,
        .backup = o->backup,
        .wrote = o->wrote,
        .low_mib = (uint64_t)config_number(o->config, "disk.low_mib"),
        .owner = o->owner,
    };
    return serve_new(&options, &box->serve, why);
}

static enum err
open_timers(struct box *box, struct err_text *why)
{
    enum err e = loop_timer(box->loop, each_second, box, &box->second, why);
    if (e == ERR_OK)
        e = loop_timer(box->loop, feed_watchdog, box, &box->alive, why);
    if (e != ERR_OK)
        return e;
    loop_timer_set(box->second, 1000000, false);
    loop_timer_set(box->alive, (uint64_t)notify_alive_every_ms() * 1000, false);
    loop_on_reload(box->loop, reload, box);
    loop_on_round(box->loop, watch_store, box);
    return ERR_OK;
}

enum err
box_open(struct box *box, const struct box_options *options, struct err_text *why)
{
    memset(box, 0, sizeof *box);
    box->options = *options;
    box->clock = clock_system();
    uint64_t files = process_files();
    if (files < PROCESS_FILES_WANTED)
        diag_warning("only %" PRIu64 " open files are allowed here, %d are wanted: raise "
                     "LimitNOFILE",
                     files, PROCESS_FILES_WANTED);
    enum err e = loop_new(&box->loop, why);
    if (e == ERR_OK)
        e = box_store(options->dir, options->config, false, &box->store, why);
    if (e == ERR_OK && store_mended(box->store) != NULL)
        diag_warning("store: %s", store_mended(box->store));
    if (e == ERR_OK)
        e = ledger_open(box->store, &box->ledger, why);
    if (e == ERR_OK)
        e = open_service(box, why);
    if (e == ERR_OK)
        e = open_timers(box, why);
    return e;
}

static enum err
open_door(struct box *box, struct err_text *why)
{
    char path[PATH_SIZE];
    const char *name = config_text(box->options.config, "local.socket");
    struct door_handler handler = box_people(box);
    enum err e = ERR_OK;
    if (name[0] == '/')
        (void)snprintf(path, sizeof path, "%s", name);
    else
        e = path_join(box->options.dir, name, path, why);
    if (e != ERR_OK)
        return e;
    return door_open(box->loop, path, box->options.config, &handler, &box->door, why);
}

enum err
box_run(struct box *box, struct err_text *why)
{
    enum err e = open_door(box, why);
    if (e != ERR_OK)
        return e;
    notify_ready();
    e = loop_run(box->loop, why);
    notify_stopping();
    if (e == ERR_OK && box->failed != ERR_OK) {
        e = box->failed;
        *why = box->failed_why;
    }
    return e;
}

void
box_close(struct box *box)
{
    door_close(box->door);
    serve_free(box->serve);
    store_check_free(box->check);
    ledger_close(box->ledger);
    store_close(box->store);
    loop_free(box->loop);
}
