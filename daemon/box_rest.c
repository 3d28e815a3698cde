/* box_rest.c - what works on a daemon's folder while no daemon runs there. */
#include <inttypes.h>
#include <stdio.h>

#include "daemon/base/folder.h"
#include "daemon/base/process.h"
#include "daemon/box.h"
#include "daemon/ledger/ledger.h"

enum err
box_verify(const char *dir, const struct config *config, struct err_text *why)
{
    struct store *store = NULL;
    uint64_t checked = 0;
    enum err e = box_store(dir, config, true, &store, why);
    if (e != ERR_OK)
        return e;
    e = store_verify(store, &checked, why);
    store_close(store);
    (void)printf("%" PRIu64 " records checked\n", checked);
    return e;
}

enum err
box_rebuild(const char *dir, const struct config *config, struct err_text *why)
{
    struct store *store = NULL;
    struct ledger *ledger = NULL;
    uint64_t records = 0;
    uint8_t digest[32];
    enum err e = box_store(dir, config, false, &store, why);
    if (e == ERR_OK)
        e = ledger_open(store, &ledger, why);
    if (e == ERR_OK)
        e = ledger_rebuild(ledger, &records, why);
    if (e == ERR_OK)
        e = ledger_digest(ledger, digest, why);
    if (e == ERR_OK) {
        (void)printf("%" PRIu64 " records folded, ledger ", records);
        for (size_t i = 0; i < sizeof digest; i++)
            (void)printf("%02x", digest[i]);
        (void)printf("\n");
    }
    ledger_close(ledger);
    store_close(store);
    return e;
}

enum err
box_at_rest(const char *dir, box_load *load, box_act *act, struct err_text *why)
{
    struct config *config = NULL;
    process_harden();
    enum err e = load(dir, &config, why);
    if (e == ERR_OK)
        e = act(dir, config, why);
    config_free(config);
    return e;
}

enum err
box_read_key(const char *dir, const char *name, struct key_file *out_key, struct err_text *why)
{
    char path[PATH_SIZE];
    enum err e = path_join(dir, name, path, why);
    return e == ERR_OK ? key_file_read(path, out_key, why) : e;
}
