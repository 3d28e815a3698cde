/* test_threads.c - what two threads of ours share: the ring of keys, and the handler that asks it.
 *
 * For ThreadSanitizer (tests/config/tsan.cmake), which Criterion does not start under, so this is a
 * plain program; elsewhere it shows that nobody is let in or kept out by chance. The message library
 * is not built for the sanitizer, so only our own threads meet here. */
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zmq.h>

#include "daemon/sync/zap.h"

enum {
    KEYS = 64,
    ROUNDS = 3000,
    LOOKERS = 3
};

static void
must(bool fact, const char *what)
{
    if (fact)
        return;
    printf("not ok: %s\n0 passed, 1 failed\n", what);
    exit(EXIT_FAILURE);
}

struct shared {
    struct keyring *ring;
    atomic_bool done;
    atomic_uint wrong;
};

static void
entry_of(struct key_entry *entry, unsigned n)
{
    memset(entry, 0, sizeof *entry);
    entry->key[0] = (uint8_t)n;
    entry->key[1] = (uint8_t)(n >> 8);
    entry->what = KEY_SITE;
    entry->expires_ms = INT64_MAX;
    (void)snprintf(entry->site, sizeof entry->site, "site-%u", n);
}

/* Keys 0 to KEYS are always in; what is found is whole. */
static void *
look(void *owner)
{
    struct shared *s = owner;
    for (unsigned n = 0; !atomic_load(&s->done); n = (n + 1) % KEYS) {
        struct key_entry want, found;
        entry_of(&want, n);
        if (!keyring_find(s->ring, want.key, 0, &found) || strcmp(want.site, found.site) != 0)
            atomic_fetch_add(&s->wrong, 1);
        (void)keyring_nth(s->ring, n, &found);
        (void)keyring_changes(s->ring);
    }
    return NULL;
}

static void
keys_that_are_in_are_found_while_others_come_and_go(void)
{
    struct shared s = {.ring = NULL};
    struct key_entry entry;
    pthread_t lookers[LOOKERS];
    must(keyring_new(&s.ring, NULL) == ERR_OK, "keyring_new");
    for (unsigned n = 0; n < KEYS; n++) {
        entry_of(&entry, n);
        must(keyring_put(s.ring, &entry, NULL) == ERR_OK, "keyring_put");
    }
    for (int i = 0; i < LOOKERS; i++)
        must(pthread_create(&lookers[i], NULL, look, &s) == 0, "pthread_create");
    for (unsigned n = KEYS; n < KEYS + ROUNDS; n++) {
        entry_of(&entry, n);
        must(keyring_put(s.ring, &entry, NULL) == ERR_OK, "keyring_put");
        if (n % 3 == 0)
            keyring_remove(s.ring, entry.key);
        else if (n % 3 == 1)
            must(keyring_ban(s.ring, entry.key, NULL) == ERR_OK, "keyring_ban");
    }
    atomic_store(&s.done, true);
    for (int i = 0; i < LOOKERS; i++)
        pthread_join(lookers[i], NULL);
    must(atomic_load(&s.wrong) == 0, "a key that is in was not found");
    keyring_free(s.ring);
}

static void
the_handler_of_keys_is_asked_about_from_outside_and_ends(void)
{
    struct clock clock = clock_system();
    struct keyring *ring = NULL;
    struct zap *zap = NULL;
    void *context = zmq_ctx_new();
    must(keyring_new(&ring, NULL) == ERR_OK, "keyring_new");
    must(zap_start(context, ring, &clock, &zap, NULL) == ERR_OK, "zap_start");
    for (int i = 0; i < 1000; i++) {
        zap_pause(zap, i % 2 == 0);
        must(zap_alive(zap), "the handler lives");
        must(zap_counts(zap).admitted == 0, "nobody came");
    }
    zmq_ctx_shutdown(context);
    zap_stop(zap);
    zmq_ctx_term(context);
    keyring_free(ring);
}

int
main(void)
{
    keys_that_are_in_are_found_while_others_come_and_go();
    the_handler_of_keys_is_asked_about_from_outside_and_ends();
    puts("2 passed, 0 failed");
    return EXIT_SUCCESS;
}
