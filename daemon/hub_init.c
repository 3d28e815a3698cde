/* hub_init.c - a hub in a fresh folder. */
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <netinet/in.h>
#include <unistd.h>

#include "daemon/base/clock.h"
#include "daemon/base/config.h"
#include "daemon/base/folder.h"
#include "daemon/base/process.h"
#include "daemon/hub_commands.h"
#include "daemon/sync/keys.h"

#define KEY_FILE HUB_KEY_FILE

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

enum err
hub_init(const char *const *words, const char *const *values, struct err_text *why)
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
