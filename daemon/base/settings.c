/* settings.c - every setting of the hub and of a café, with its standard, range and one line. */
#include "daemon/base/config.h"

#define SHARED_ITEMS                                                                                \
    {"store.map_mib", CONFIG_INT, "64", 16, 65536, "first size of the store's map, in MiB"},        \
        {"store.most_mib", CONFIG_INT, "65536", 16, 1048576, "most the store may grow to, in MiB"}, \
        {"disk.low_mib", CONFIG_INT,                                                                \
         "512",          1,                                                                         \
         1048576,        "free room on the disk under which it is called low, in MiB"},             \
        {"people.share",                                                                            \
         CONFIG_INT,                                                                                \
         "50",                                                                                      \
         1,                                                                                         \
         100,                                                                                       \
         "percent of its time that one person may take who asks without end"},                      \
        {"local.socket",                                                                            \
         CONFIG_TEXT,                                                                               \
         "knockbox.sock",                                                                           \
         1,                                                                                         \
         100,                                                                                       \
         "socket for people on this machine; a relative path is in the folder"},                    \
    {                                                                                               \
        "role.group", CONFIG_GROUP, NULL, 0, 0,                                                     \
            "members of this group have this role on the local socket; may repeat"                  \
    }

static const struct config_item hub_items[] = {
    {"site.name", CONFIG_CODE, "kitchen", 1, 64, "code of the hub's own site"},
    {"site.zone", CONFIG_TEXT, "", 0, 64,
     "IANA time zone of this site until the catalogue has one; empty: the machine's own"},
    {"listen", CONFIG_LISTEN, "tcp://127.0.0.1:7749", 0, 65535,
     "where cafés and people elsewhere reach the hub"},
    {"listen.public", CONFIG_CONNECT, NULL, 1, 65535,
     "address that one-time codes carry, when cafés reach the hub by another name"},
    {"sync.group", CONFIG_INT, "1000", 1, 5000, "most records that one commit takes in"},
    {"enrol.minutes", CONFIG_INT, "15", 1, 1440, "life of a one-time code"},
    SHARED_ITEMS,
};

static const struct config_item cafe_items[] = {
    {"site.name", CONFIG_CODE, NULL, 1, 64, "code of this site; set by join"},
    {"site.zone", CONFIG_TEXT, "", 0, 64,
     "IANA time zone of this site until the catalogue has one; empty: the machine's own"},
    {"hub.connect", CONFIG_CONNECT, NULL, 1, 65535, "where the hub listens; set by join"},
    {"hub.key", CONFIG_KEY, NULL, 64, 64, "public key of the hub; set by join"},
    {"hub.site", CONFIG_CODE, "kitchen", 1, 64, "code of the hub's own site; set by join"},
    {"sync.retry", CONFIG_TIME, "30s", 5, 3600,
     "how long a new connection may stay without an answer before another is made"},
    {"sync.window", CONFIG_INT, "4", 1, 16, "batches on their way to the hub at most"},
    SHARED_ITEMS,
};

const struct config_table config_hub = {"hub.conf", hub_items,
                                        sizeof hub_items / sizeof hub_items[0]};
const struct config_table config_cafe = {"cafe.conf", cafe_items,
                                         sizeof cafe_items / sizeof cafe_items[0]};
