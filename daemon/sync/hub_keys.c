/* hub_keys.c - enrolment and revocation, from the own log and from files of the folder. */
#include "daemon/sync/hub_keys.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/inotify.h>
#include <unistd.h>

#include "daemon/base/diag.h"
#include "daemon/base/folder.h"
#include "daemon/record/kind.h"
#include "daemon/record/record.h"
#include "daemon/sync/spool.h"
#include "daemon/sync/wire.h"

enum {
    EPOCHS_MOST = WIRE_MARKS
};

struct hub_keys {
    struct hub_keys_options options;
    int watch;
    struct log_mark followed[EPOCHS_MOST]; /* how far each own epoch was read */
    size_t n_followed;
    bool opening;    /* the log is read from its start */
    uint64_t listed; /* keyring_changes() when the list of keys was written */
    struct arena arena;
};

static const char *
own_site(const struct hub_keys *k)
{
    return store_site(k->options.store);
}

/* ---------------------------------------------------------------- the own log */

static enum err
let_in(struct hub_keys *k, const Knockbox__Enrol *enrol, struct err_text *why)
{
    struct key_entry entry = {.expires_ms = INT64_MAX};
    enum role role = ROLE_BIT_READER;
    memcpy(entry.key, enrol->key.data, KEY_SIZE);
    if (enrol->has_renews && !keyring_banned(k->options.ring, enrol->renews.data)) {
        memcpy(entry.renews, enrol->renews.data, KEY_SIZE);
        entry.fresh = true;
    }
    if (enrol->for_site != NULL)
        (void)snprintf(entry.site, sizeof entry.site, "%s", enrol->for_site);
    if (enrol->person != NULL)
        (void)snprintf(entry.person, sizeof entry.person, "%s", enrol->person);
    (void)snprintf(entry.role, sizeof entry.role, "%.15s", enrol->role);
    entry.what = KEY_SITE;
    if (strcmp(enrol->role, "site") != 0) {
        if (!role_parse(enrol->role, &role))
            return ERR_OK; /* of a later version: not let in */
        entry.what = KEY_PERSON;
        entry.roles = (unsigned)role;
    } else if (entry.site[0] == '\0' || strcmp(entry.site, own_site(k)) == 0) {
        return ERR_OK; /* the hub is its own machine */
    }
    return keyring_put(k->options.ring, &entry, why);
}

static void
take_settle(struct hub_keys *k, const Knockbox__Settle *settle)
{
    static const char fork[] = "fork/";
    /* What was settled in earlier runs is noted; its fork may have come again since. */
    if (!k->opening && strncmp(settle->discrepancy, fork, sizeof fork - 1) == 0)
        k->options.settled(k->options.owner, settle->discrepancy + sizeof fork - 1);
}

static enum err
ban(struct hub_keys *k, const uint8_t key[KEY_SIZE], struct err_text *why)
{
    struct key_entry entry;
    bool known = keyring_find(k->options.ring, key, 0, &entry);
    enum err e = keyring_ban(k->options.ring, key, why);
    if (e == ERR_OK && known)
        k->options.banned(k->options.owner, &entry);
    return e;
}

/* Also into the file: an old copy of the store must not bring the key back. */
static enum err
ban_recorded(struct hub_keys *k, const uint8_t key[KEY_SIZE], struct err_text *why)
{
    enum err e = ban(k, key, why);
    return e == ERR_OK ? spool_revoke(k->options.dir, key, why) : e;
}

static enum err
take_record(struct hub_keys *k, const struct stored *stored, struct err_text *why)
{
    Knockbox__Record *record = NULL;
    arena_reset(&k->arena);
    enum err e = record_decode(stored->bytes, stored->len, false, &k->arena, &record, why);
    if (e != ERR_OK)
        return e;
    switch (record->body_case) {
    case KNOCKBOX__RECORD__BODY_ENROL:
        return let_in(k, record->enrol, why);
    case KNOCKBOX__RECORD__BODY_REVOKE:
        return ban_recorded(k, record->revoke->key.data, why);
    case KNOCKBOX__RECORD__BODY_SETTLE:
        take_settle(k, record->settle);
        return ERR_OK;
    default:
        return ERR_OK;
    }
}

static struct log_mark *
followed(struct hub_keys *k, const struct log_mark *log)
{
    for (size_t i = 0; i < k->n_followed; i++)
        if (wire_same_log(&k->followed[i], log))
            return &k->followed[i];
    if (k->n_followed == EPOCHS_MOST)
        return NULL;
    struct log_mark *fresh = &k->followed[k->n_followed++];
    *fresh = *log;
    fresh->seq = 0;
    return fresh;
}

static enum err
follow_log(struct hub_keys *k, struct store_view *view, const struct log_mark *log,
           struct err_text *why)
{
    struct stored records[WIRE_RECORDS];
    struct log_mark *at = followed(k, log);
    if (at == NULL)
        return err_set(ERR_FULL, why, "more than %d own epochs", EPOCHS_MOST);
    while (at->seq < log->seq) {
        size_t n = 0;
        enum err e = store_read_log(view, own_site(k), log->epoch, log->mark, at->seq + 1,
                                    WIRE_RECORDS, WIRE_BYTES, records, &n, why);
        for (size_t i = 0; e == ERR_OK && i < n; i++) {
            e = take_record(k, &records[i], why);
            at->seq = records[i].seq;
        }
        if (e != ERR_OK || n == 0)
            return e;
    }
    return ERR_OK;
}

/* The list for people, when it is not the one that stands there. */
static enum err
write_list(struct hub_keys *k, struct err_text *why)
{
    uint64_t changes = keyring_changes(k->options.ring);
    if (changes == k->listed)
        return ERR_OK;
    enum err e = spool_write_keys(k->options.dir, k->options.ring, why);
    if (e == ERR_OK)
        k->listed = changes;
    if (e != ERR_FULL)
        return e;
    diag_warning("keys: the list for people stays as it was: %s", why->s);
    why->s[0] = '\0';
    return ERR_OK; /* written again at the next change; who is let in does not hang on it */
}

enum err
hub_keys_follow(struct hub_keys *k, struct err_text *why)
{
    struct store_view *view = NULL;
    struct log_mark *logs = NULL;
    size_t n = 0;
    enum err e = store_look(k->options.store, &view, why);
    if (e == ERR_OK)
        e = wire_logs(view, own_site(k), &logs, &n, why);
    for (size_t i = 0; e == ERR_OK && i < n; i++)
        e = follow_log(k, view, &logs[i], why);
    store_done(&view);
    free(logs);
    return e == ERR_OK ? write_list(k, why) : e;
}

/* ---------------------------------------------------------------- writing to it */

static void
fill_envelope(const struct hub_keys *k, Knockbox__Record *record, uint8_t id[ID_SIZE])
{
    const struct clock *clock = &k->options.clock;
    knockbox__record__init(record);
    clock_new_id(clock, id);
    record->has_id = record->has_at_ms = record->has_logged_ms = record->has_boot = true;
    record->has_mono_ms = record->has_clock = record->has_at_offset_min = true;
    record->id = (ProtobufCBinaryData){ID_SIZE, id};
    record->at_ms = record->logged_ms = clock->now_ms(clock->owner);
    record->boot = (ProtobufCBinaryData){sizeof clock->boot, (uint8_t *)clock->boot};
    record->mono_ms = clock->mono_ms(clock->owner);
    record->clock = clock->synchronised(clock->owner) ? KNOCKBOX__CLOCK__CLOCK_SYNCHRONISED
                                                      : KNOCKBOX__CLOCK__CLOCK_UNKNOWN;
}

static enum err
append_enrol(struct hub_keys *k, struct store_txn *txn, const struct key_entry *entry,
             struct err_text *why)
{
    Knockbox__Record record;
    Knockbox__Enrol enrol = KNOCKBOX__ENROL__INIT;
    struct stored stored;
    uint8_t id[ID_SIZE];
    fill_envelope(k, &record, id);
    enrol.for_site = entry->site[0] != '\0' ? (char *)entry->site : NULL;
    enrol.person = entry->person[0] != '\0' ? (char *)entry->person : NULL;
    enrol.role = (char *)entry->role;
    enrol.has_key = true;
    enrol.key = (ProtobufCBinaryData){KEY_SIZE, (uint8_t *)entry->key};
    enrol.has_renews = entry->fresh;
    enrol.renews = (ProtobufCBinaryData){entry->fresh ? KEY_SIZE : 0, (uint8_t *)entry->renews};
    record.body_case = KNOCKBOX__RECORD__BODY_ENROL;
    record.enrol = &enrol;
    return store_append(txn, own_site(k), &record, &stored, why);
}

static enum err
append_revoke(struct hub_keys *k, struct store_txn *txn, const struct key_entry *entry,
              const char *reason, struct err_text *why)
{
    Knockbox__Record record;
    Knockbox__Revoke revoke = KNOCKBOX__REVOKE__INIT;
    struct stored stored;
    uint8_t id[ID_SIZE];
    fill_envelope(k, &record, id);
    revoke.for_site = entry->site[0] != '\0' ? (char *)entry->site : NULL;
    revoke.person = entry->person[0] != '\0' ? (char *)entry->person : NULL;
    revoke.reason = (char *)reason;
    revoke.has_key = true;
    revoke.key = (ProtobufCBinaryData){KEY_SIZE, (uint8_t *)entry->key};
    record.body_case = KNOCKBOX__RECORD__BODY_REVOKE;
    record.revoke = &revoke;
    return store_append(txn, own_site(k), &record, &stored, why);
}

/* ---------------------------------------------------------------- bans */

/* Keys that were to take the place of `key` and have not spoken yet. */
static enum err
revoke_heirs(struct hub_keys *k, struct store_txn *txn, const uint8_t key[KEY_SIZE],
             const char *reason, struct err_text *why)
{
    struct key_entry heir;
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && keyring_nth(k->options.ring, i, &heir); i++)
        if (heir.fresh && memcmp(heir.renews, key, KEY_SIZE) == 0)
            e = append_revoke(k, txn, &heir, reason, why);
    return e;
}

/* The same in memory only: they are out also when the disk is full. */
static void
ban_heirs(struct hub_keys *k, const uint8_t key[KEY_SIZE])
{
    struct key_entry heir;
    for (size_t i = 0; keyring_nth(k->options.ring, i, &heir);)
        if (!heir.fresh || memcmp(heir.renews, key, KEY_SIZE) != 0 ||
            ban(k, heir.key, NULL) != ERR_OK)
            i++;
}

/* A banned key that the ring still lets in: banned here first, then written down. */
static enum err
take_ban(void *owner, const uint8_t key[KEY_SIZE], struct err_text *why)
{
    static const char reason[] = "revoked by the operator";
    struct hub_keys *k = owner;
    struct key_entry entry;
    struct store_txn *txn = NULL;
    char name[KEY_TEXT];
    bool known = keyring_find(k->options.ring, key, 0, &entry) && entry.what != KEY_CODE;
    enum err e = ban(k, key, why);
    if (e != ERR_OK || !known)
        return e;
    diag_notice("key %.16s of %s %s is revoked", key_print(key, name), entry.role,
                entry.person[0] != '\0' ? entry.person : entry.site);
    e = store_begin(k->options.store, &txn, why);
    if (e == ERR_OK)
        e = append_revoke(k, txn, &entry, reason, why);
    if (e == ERR_OK)
        e = revoke_heirs(k, txn, key, reason, why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    ban_heirs(k, key);
    k->options.wrote(k->options.owner);
    if (e != ERR_FULL)
        return e;
    diag_warning("key %.16s is out, its record waits for the next start: %s", name, why->s);
    why->s[0] = '\0';
    return ERR_OK; /* the file holds it until then */
}

/* ---------------------------------------------------------------- open, refresh */

enum err
hub_keys_refresh(struct hub_keys *k, struct err_text *why)
{
    char events[4096];
    while (k->watch >= 0 && read(k->watch, events, sizeof events) > 0)
        continue; /* what changed is read from the files */
    enum err e = spool_read_revoked(k->options.dir, take_ban, k, why);
    if (e == ERR_OK)
        e = spool_read_codes(k->options.dir, k->options.ring, &k->options.clock, why);
    return e == ERR_OK ? hub_keys_follow(k, why) : e;
}

static enum err
watch_folder(struct hub_keys *k, struct err_text *why)
{
    char codes[PATH_SIZE], revoked[PATH_SIZE];
    enum err e = spool_make(k->options.dir, why);
    if (e == ERR_OK)
        e = path_join(k->options.dir, SPOOL_CODES, codes, why);
    if (e == ERR_OK)
        e = path_join(k->options.dir, SPOOL_REVOKED, revoked, why);
    if (e == ERR_OK && !file_there(k->options.dir, SPOOL_REVOKED))
        e = file_write(k->options.dir, SPOOL_REVOKED, "", 0, 0600, why);
    if (e != ERR_OK)
        return e;
    k->watch = inotify_init1(IN_NONBLOCK | IN_CLOEXEC);
    bool fine = k->watch >= 0 && inotify_add_watch(k->watch, codes, IN_MOVED_TO | IN_DELETE) >= 0 &&
                inotify_add_watch(k->watch, k->options.dir, IN_MOVED_TO | IN_ONLYDIR) >= 0;
    return fine ? ERR_OK
                : err_set(ERR_IO, why, "cannot watch %.200s: %s", k->options.dir, strerror(errno));
}

static enum err
ban_only(void *owner, const uint8_t key[KEY_SIZE], struct err_text *why)
{
    struct hub_keys *k = owner;
    (void)why;
    struct key_entry entry;
    /* What the log says of the key is needed for the record, so keys that are in stay for
     * hub_keys_refresh(), which comes before anybody is let in. */
    return keyring_find(k->options.ring, key, 0, &entry) ? ERR_OK
                                                         : keyring_ban(k->options.ring, key, why);
}

enum err
hub_keys_open(const struct hub_keys_options *options, struct hub_keys **out_keys,
              struct err_text *why)
{
    struct hub_keys *k = calloc(1, sizeof *k);
    if (k == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    k->options = *options;
    k->watch = -1;
    k->opening = true;
    k->listed = UINT64_MAX; /* written once in any case */
    enum err e = arena_init(&k->arena, ARENA_BIG_RECORD, why);
    if (e == ERR_OK)
        e = watch_folder(k, why);
    if (e == ERR_OK)
        e = hub_keys_follow(k, why);
    if (e == ERR_OK)
        e = spool_read_revoked(options->dir, ban_only, k, why);
    if (e == ERR_OK)
        e = hub_keys_refresh(k, why);
    k->opening = false;
    if (e == ERR_OK)
        *out_keys = k;
    else
        hub_keys_close(k);
    return e;
}

void
hub_keys_close(struct hub_keys *k)
{
    if (k == NULL)
        return;
    if (k->watch >= 0)
        (void)close(k->watch);
    arena_done(&k->arena);
    free(k);
}

int
hub_keys_fd(const struct hub_keys *k)
{
    return k->watch;
}

/* ---------------------------------------------------------------- joining */

/* One more than the highest epoch that is known of the site. */
static enum err
next_epoch(const struct hub_keys *k, const char *site, uint32_t *out_epoch, struct err_text *why)
{
    struct store_view *view = NULL;
    struct log_mark *logs = NULL;
    size_t n = 0;
    *out_epoch = 1;
    enum err e = store_look(k->options.store, &view, why);
    if (e == ERR_OK)
        e = wire_logs(view, site, &logs, &n, why);
    for (size_t i = 0; e == ERR_OK && i < n; i++)
        if (logs[i].epoch >= *out_epoch)
            *out_epoch = logs[i].epoch + 1;
    store_done(&view);
    free(logs);
    return e;
}

static enum err
say_joined(const struct hub_keys *k, const struct key_entry *entry, struct joined *out,
           struct err_text *why)
{
    memcpy(out->site, entry->site, sizeof out->site);
    memcpy(out->role, entry->role, sizeof out->role);
    return next_epoch(k, entry->site, &out->first_epoch, why);
}

/* Machines of the site other than `fresh` go; a site has one box. */
static enum err
revoke_others(struct hub_keys *k, struct store_txn *txn, const struct key_entry *fresh,
              struct err_text *why)
{
    struct key_entry old;
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && keyring_nth(k->options.ring, i, &old); i++) {
        bool other = old.what == KEY_SITE && fresh->what == KEY_SITE &&
                     strcmp(old.site, fresh->site) == 0 &&
                     memcmp(old.key, fresh->key, KEY_SIZE) != 0;
        if (!other)
            continue;
        e = append_revoke(k, txn, &old, "a new machine took its place", why);
    }
    return e;
}

/* Ends what was begun, `e` so far: written and followed, or nothing of it. */
static enum err
end_recording(struct hub_keys *k, struct store_txn *txn, enum err e, struct err_text *why)
{
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    if (e == ERR_OK)
        e = hub_keys_follow(k, why);
    k->options.wrote(k->options.owner);
    return e;
}

static enum err
record_key(struct hub_keys *k, const struct key_entry *fresh, struct err_text *why)
{
    struct store_txn *txn = NULL;
    enum err e = store_begin(k->options.store, &txn, why);
    if (e == ERR_OK)
        e = append_enrol(k, txn, fresh, why);
    if (e == ERR_OK)
        e = revoke_others(k, txn, fresh, why);
    return end_recording(k, txn, e, why);
}

enum err
hub_keys_join(struct hub_keys *k, const struct key_entry *bearer, const uint8_t fresh[KEY_SIZE],
              struct joined *out_joined, struct err_text *why)
{
    struct key_entry entry = *bearer, known;
    int64_t now = k->options.clock.now_ms(k->options.clock.owner);
    if (bearer->what != KEY_CODE) /* it joined before and asks again */
        return memcmp(bearer->key, fresh, KEY_SIZE) == 0
                   ? say_joined(k, bearer, out_joined, why)
                   : err_set(ERR_DENIED, why, "joining takes a one-time code");
    if (keyring_banned(k->options.ring, fresh) || keyring_find(k->options.ring, fresh, now, &known))
        return err_set(ERR_DENIED, why, "this key was used before: make a new one");
    memcpy(entry.key, fresh, KEY_SIZE);
    entry.what = strcmp(entry.role, "site") == 0 ? KEY_SITE : KEY_PERSON;
    entry.expires_ms = INT64_MAX;
    enum err e = spool_use_code(k->options.dir, bearer->key, why);
    if (e == ERR_OK)
        e = record_key(k, &entry, why);
    if (e != ERR_OK)
        return e;
    keyring_remove(k->options.ring, bearer->key);
    diag_notice("%s %s joined", entry.role, entry.person[0] != '\0' ? entry.person : entry.site);
    return say_joined(k, &entry, out_joined, why);
}

/* ---------------------------------------------------------------- renewing */

static enum err
check_fresh(struct hub_keys *k, const struct key_entry *old, const uint8_t fresh[KEY_SIZE],
            bool *out_done, struct err_text *why)
{
    struct key_entry known;
    uint64_t now = k->options.clock.mono_ms(k->options.clock.owner);
    *out_done = false;
    if (old->what == KEY_CODE)
        return err_set(ERR_DENIED, why, "a one-time code is not renewed: join with it");
    bool there = keyring_find(k->options.ring, fresh, 0, &known);
    *out_done = there && known.fresh && memcmp(known.renews, old->key, KEY_SIZE) == 0;
    if (*out_done)
        return ERR_OK;
    if (there || keyring_banned(k->options.ring, fresh))
        return err_set(ERR_DENIED, why, "this key was used before: make a new one");
    if (old->renewed_ms != 0 && now - old->renewed_ms < RENEW_REST_MS)
        return err_set(ERR_BUSY, why, "this key was renewed a moment ago: wait a minute");
    return ERR_OK;
}

/* The fresh key beside the old one; an heir before it that never spoke goes. */
static enum err
record_heir(struct hub_keys *k, const struct key_entry *heir, struct err_text *why)
{
    struct store_txn *txn = NULL;
    enum err e = store_begin(k->options.store, &txn, why);
    if (e == ERR_OK)
        e = revoke_heirs(k, txn, heir->renews, "another key was made before it spoke", why);
    if (e == ERR_OK)
        e = append_enrol(k, txn, heir, why);
    return end_recording(k, txn, e, why);
}

enum err
hub_keys_renew(struct hub_keys *k, const struct key_entry *old, const uint8_t fresh[KEY_SIZE],
               struct err_text *why)
{
    struct key_entry heir = *old, noted = *old;
    bool done = false;
    enum err e = check_fresh(k, old, fresh, &done, why);
    if (e != ERR_OK || done)
        return e;
    memcpy(heir.renews, old->key, KEY_SIZE);
    memcpy(heir.key, fresh, KEY_SIZE);
    heir.fresh = true;
    noted.renewed_ms = k->options.clock.mono_ms(k->options.clock.owner);
    e = record_heir(k, &heir, why);
    if (e == ERR_OK)
        e = keyring_put(k->options.ring, &noted, why);
    return e;
}

enum err
hub_keys_spoke(struct hub_keys *k, const struct key_entry *entry, struct err_text *why)
{
    struct key_entry old, known = *entry;
    struct store_txn *txn = NULL;
    char name[KEY_TEXT];
    enum err e = ERR_OK;
    known.fresh = false;
    known.renewed_ms = k->options.clock.mono_ms(k->options.clock.owner);
    if (keyring_find(k->options.ring, entry->renews, 0, &old)) {
        e = store_begin(k->options.store, &txn, why);
        if (e == ERR_OK)
            e = append_revoke(k, txn, &old, "renewed", why);
        if (e == ERR_OK)
            e = store_commit(&txn, why);
        store_abort(&txn);
        if (e == ERR_OK)
            e = hub_keys_follow(k, why);
        k->options.wrote(k->options.owner);
        if (e == ERR_OK)
            diag_notice("the key of %s %s was renewed: %.16s is in, the one before is out",
                        entry->role, entry->person[0] != '\0' ? entry->person : entry->site,
                        key_print(entry->key, name));
    }
    return e == ERR_OK ? keyring_put(k->options.ring, &known, why) : e;
}
