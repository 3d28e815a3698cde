/* box.h - what hub and café have in common while they run: folder, store, ledger, people's door.
 *
 * box_open() takes the folder's lock first (the store's), so two daemons never meet in one folder.
 * The network part is the program's own; it hangs itself into the loop and says with box_sites()
 * what its sites do.
 */
#ifndef DAEMON_BOX_H
#define DAEMON_BOX_H

#include "daemon/base/clock.h"
#include "daemon/base/config.h"
#include "daemon/base/diag.h"
#include "daemon/base/loop.h"
#include "daemon/serve/serve.h"
#include "daemon/store/store.h"
#include "daemon/sync/door.h"
#include "daemon/sync/keys.h"
#include "proto/err.h"

struct box_options {
    const char *dir;
    const struct config *config; /* lent */
    bool is_hub;
    const char *hub_site;
    /* As in serve.h; the owner is `owner`. */
    size_t (*sites)(void *owner, struct site_state *out, size_t most);
    void (*wrote)(void *owner);
    /* Every second; ERR_* ends the daemon with that error. May be NULL. */
    enum err (*tick)(void *owner, struct err_text *why);
    /* Did messages come since it was last asked? Folding and checking wait while they do. */
    bool (*busy)(void *owner);
    int64_t (*backup)(void *owner, uint64_t *out_own); /* as in serve.h; NULL at a café */
    void (*reload)(void *owner);                       /* SIGHUP; may be NULL */
    void *owner;
};

struct box {
    struct box_options options;
    struct clock clock;
    struct loop *loop;
    struct store *store;
    struct ledger *ledger;
    struct serve *serve;
    struct door *door;
    struct store_check *check;
    int64_t checked_ms; /* monotonic, when the last full check ended */
    uint64_t kept_ms;   /* monotonic, of the last upkeep of the store */
    int second;         /* timer */
    int alive;          /* timer of the watchdog */
    struct diag_memory ledger_trouble;
    enum err failed; /* why the loop was stopped */
    struct err_text failed_why;
};

/* Fences the process in (daemon/base/confine.h): files are written in `dir`, in its store and where
 * the people's socket is, and temporary files (spreadsheets) in /tmp; `program` (NULL: none) is the only one that may be started. Call it before
 * box_open(), while there is one thread. */
enum err box_confine(const char *dir, const struct config *config, const char *program,
                     struct err_text *why);

/* Loop, store, ledger and service; the door is not open yet, so the network part can be put up
 * before anybody is served. End with box_close(), also after an error. */
enum err box_open(struct box *box, const struct box_options *options, struct err_text *why);
/* Opens the door, says ready and runs until SIGTERM or a failure. */
enum err box_run(struct box *box, struct err_text *why);
void box_close(struct box *box);

/* Where requests of enrolled people elsewhere go: the same service. */
struct door_handler box_people(struct box *box);

/* Ends the loop with an error. */
void box_fail(struct box *box, enum err e, const struct err_text *why);

/* Only the store, for commands that work while no daemon runs. */
enum err box_store(const char *dir, const struct config *config, bool read_only,
                   struct store **out_store, struct err_text *why);

/* The commands that hub and café share. */
enum err box_verify(const char *dir, const struct config *config, struct err_text *why);
enum err box_rebuild(const char *dir, const struct config *config, struct err_text *why);

/* Such a command on a folder: hardens the process, reads the settings by `load`, acts. */
typedef enum err box_load(const char *dir, struct config **out_config, struct err_text *why);
typedef enum err box_act(const char *dir, const struct config *config, struct err_text *why);
enum err box_at_rest(const char *dir, box_load *load, box_act *act, struct err_text *why);

/* The machine's own key in the file `name` of the folder; wipe it. */
enum err box_read_key(const char *dir, const char *name, struct key_file *out_key,
                      struct err_text *why);

#endif
