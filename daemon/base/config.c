/* config.c - reads and prints settings by their table. */
#include "daemon/base/config.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/folder.h"

enum {
    VALUES_MOST = 128,
    VALUE_SIZE = 256
};

struct value {
    const struct config_item *item;
    char text[VALUE_SIZE]; /* as printed */
    int64_t number;
    unsigned line;
};

struct config {
    const struct config_table *table;
    struct value values[VALUES_MOST]; /* values[0..n), in order of the file, standards behind */
    size_t n;
};

bool
endpoint_split(const char *text, char *out_host, size_t host_size, unsigned *out_port)
{
    static const char scheme[] = "tcp://";
    if (strncmp(text, scheme, sizeof scheme - 1) != 0)
        return false;
    const char *host = text + sizeof scheme - 1;
    const char *colon = strrchr(host, ':');
    if (colon == NULL || colon == host || (size_t)(colon - host) >= host_size)
        return false;
    size_t len = (size_t)(colon - host);
    bool bracketed = len > 2 && host[0] == '[' && host[len - 1] == ']';
    for (size_t i = bracketed ? 1 : 0; i < len - (bracketed ? 1 : 0); i++) {
        unsigned char c = (unsigned char)host[i];
        bool fine = isalnum(c) || c == '.' || c == '-' || c == '_' || (c == '*' && len == 1) ||
                    (bracketed && (c == ':' || c == '%'));
        if (!fine)
            return false;
    }
    if (strcmp(colon + 1, "*") == 0) {
        *out_port = 0;
    } else {
        size_t digits = strspn(colon + 1, "0123456789");
        if (digits == 0 || digits > 5 || colon[1 + digits] != '\0')
            return false;
        *out_port = (unsigned)strtoul(colon + 1, NULL, 10);
    }
    memcpy(out_host, host, len);
    out_host[len] = '\0';
    return *out_port <= 65535;
}

const char *
config_want(const struct config_item *item, char *text, size_t size)
{
    switch (item->kind) {
    case CONFIG_INT:
        (void)snprintf(text, size, "%" PRId64 " to %" PRId64, item->least, item->most);
        return text;
    case CONFIG_TIME:
        (void)snprintf(text, size, "a time such as 30s or 15m, %" PRId64 "s to %" PRId64 "s",
                       item->least, item->most);
        return text;
    case CONFIG_TEXT:
        (void)snprintf(text, size, "text of %" PRId64 " to %" PRId64 " bytes", item->least,
                       item->most);
        return text;
    case CONFIG_CODE:
        return "1 to 64 bytes without spaces";
    case CONFIG_CONNECT:
        return "tcp://HOST:PORT, port 1 to 65535";
    case CONFIG_LISTEN:
        return "tcp://HOST:PORT, port 0 for one that the system chooses";
    case CONFIG_KEY:
        return "64 hexadecimal digits";
    case CONFIG_GROUP:
        return "ROLE GROUP: barista, driver, kitchen, office, operator or reader, then a group";
    }
    return "";
}

static bool
read_code(const struct config_item *item, const char *text, struct value *value)
{
    size_t len = strlen(text);
    if (len < 1 || len > 64)
        return false;
    for (size_t i = 0; i < len; i++)
        if ((unsigned char)text[i] <= ' ' || text[i] == 0x7F)
            return false;
    (void)item;
    memcpy(value->text, text, len + 1);
    return true;
}

static bool
read_text(const struct config_item *item, const char *text, struct value *value)
{
    int64_t len = (int64_t)strlen(text);
    if (len < item->least || len > item->most || len >= VALUE_SIZE)
        return false;
    for (const char *c = text; *c != '\0'; c++)
        if ((unsigned char)*c < ' ' || *c == 0x7F)
            return false;
    memcpy(value->text, text, (size_t)len + 1);
    return true;
}

/* Digits without sign; at most 12 of them. Returns what follows, NULL when there are none. */
static const char *
digits(const char *text, int64_t *out_number)
{
    size_t n = strspn(text, "0123456789");
    if (n == 0 || n > 12)
        return NULL;
    *out_number = strtoll(text, NULL, 10);
    return text + n;
}

static bool
read_int(const struct config_item *item, const char *text, struct value *value)
{
    const char *end = digits(text, &value->number);
    if (end == NULL || *end != '\0' || value->number < item->least || value->number > item->most)
        return false;
    (void)snprintf(value->text, VALUE_SIZE, "%" PRId64, value->number);
    return true;
}

static const struct {
    const char *word;
    int64_t ms;
} time_units[] = {{"ms", 1}, {"s", 1000}, {"m", 60000}, {"h", 3600000}, {"d", 86400000}};

static bool
read_time(const struct config_item *item, const char *text, struct value *value)
{
    const char *end = digits(text, &value->number);
    for (size_t i = 0; end != NULL && i < sizeof time_units / sizeof time_units[0]; i++) {
        if (strcmp(end, time_units[i].word) != 0)
            continue;
        value->number *= time_units[i].ms; /* 10^12 * 86400000 fits */
        (void)snprintf(value->text, VALUE_SIZE, "%s", text);
        return value->number >= item->least * 1000 && value->number <= item->most * 1000;
    }
    return false;
}

static bool
read_endpoint(const struct config_item *item, const char *text, struct value *value)
{
    char host[231]; /* a longer one would not fit behind "tcp://" and before a port */
    unsigned port = 0;
    if (!endpoint_split(text, host, sizeof host, &port))
        return false;
    if (item->kind == CONFIG_CONNECT && (port == 0 || strcmp(host, "*") == 0))
        return false;
    value->number = port;
    (void)snprintf(value->text, VALUE_SIZE, "tcp://%s:%u", host, port);
    return true;
}

static bool
read_key(const struct config_item *item, const char *text, struct value *value)
{
    (void)item;
    if (strlen(text) != 64 || strspn(text, "0123456789abcdefABCDEF") != 64)
        return false;
    for (size_t i = 0; i <= 64; i++)
        value->text[i] = (char)tolower((unsigned char)text[i]);
    return true;
}

static bool
read_group(const struct config_item *item, const char *text, struct value *value)
{
    static const char *const roles[] = {"barista", "driver",   "kitchen",
                                        "office",  "operator", "reader"};
    size_t role = strcspn(text, " \t");
    size_t gap = strspn(text + role, " \t");
    const char *group = text + role + gap;
    size_t len = strcspn(group, " \t");
    (void)item;
    if (gap == 0 || len == 0 || len > 32 || group[len] != '\0')
        return false;
    for (size_t i = 0; i < sizeof roles / sizeof roles[0]; i++) {
        if (strlen(roles[i]) != role || memcmp(roles[i], text, role) != 0)
            continue;
        (void)snprintf(value->text, VALUE_SIZE, "%s %s", roles[i], group);
        return true;
    }
    return false;
}

static bool (*const readers[])(const struct config_item *, const char *, struct value *) = {
    [CONFIG_CODE] = read_code, [CONFIG_TEXT] = read_text,        [CONFIG_INT] = read_int,
    [CONFIG_TIME] = read_time, [CONFIG_CONNECT] = read_endpoint, [CONFIG_LISTEN] = read_endpoint,
    [CONFIG_KEY] = read_key,   [CONFIG_GROUP] = read_group,
};

static const struct config_item *
find_item(const struct config_table *table, const char *key)
{
    for (size_t i = 0; i < table->n; i++)
        if (strcmp(table->items[i].key, key) == 0)
            return &table->items[i];
    return NULL;
}

static const struct value *
find_value(const struct config *config, const char *key, size_t nth)
{
    for (size_t i = 0; i < config->n; i++)
        if (strcmp(config->values[i].item->key, key) == 0 && nth-- == 0)
            return &config->values[i];
    return NULL;
}

static enum err
add_value(struct config *config, const struct config_item *item, const char *text, unsigned line,
          struct err_text *why)
{
    char want[160];
    const struct value *old = find_value(config, item->key, 0);
    if (old != NULL && item->kind != CONFIG_GROUP)
        return err_set(ERR_INPUT, why, "%s stands in line %u already", item->key, old->line);
    if (config->n == VALUES_MOST)
        return err_set(ERR_INPUT, why, "%s: more than %d settings", item->key, VALUES_MOST);
    struct value *value = &config->values[config->n];
    memset(value, 0, sizeof *value);
    if (!readers[item->kind](item, text, value)) {
        const char *wanted = config_want(item, want, sizeof want);
        return err_set(ERR_INPUT, why, "%s \"%.80s\": expected %s", item->key, text, wanted);
    }
    value->item = item;
    value->line = line;
    config->n++;
    return ERR_OK;
}

static char *
trim(char *text)
{
    text += strspn(text, " \t");
    size_t len = strlen(text);
    while (len > 0 && strchr(" \t\r", text[len - 1]) != NULL)
        text[--len] = '\0';
    return text;
}

static enum err
add_line(struct config *config, char *line, unsigned number, struct err_text *why)
{
    char *key = trim(line);
    if (key[0] == '\0' || key[0] == '#')
        return ERR_OK;
    size_t len = strcspn(key, " \t");
    char *value = key[len] != '\0' ? trim(key + len) : key + len;
    key[len] = '\0';
    const struct config_item *item = find_item(config->table, key);
    if (item == NULL)
        return err_set(ERR_INPUT, why, "%.80s: unknown key; `knockbox-%s check` prints all", key,
                       config->table == &config_cafe ? "cafe" : "hub");
    return add_value(config, item, value, number, why);
}

static enum err
add_lines(struct config *config, const char *name, const char *text, size_t len,
          struct err_text *why)
{
    unsigned number = 0;
    char line[512];
    while (len > 0) {
        const char *end = memchr(text, '\n', len);
        size_t size = end != NULL ? (size_t)(end - text) : len;
        enum err e = ERR_OK;
        number++;
        if (size >= sizeof line || memchr(text, '\0', size) != NULL) {
            e = err_set(ERR_INPUT, why, "expected at most %zu bytes without NUL", sizeof line - 1);
        } else {
            memcpy(line, text, size);
            line[size] = '\0';
            e = add_line(config, line, number, why);
        }
        if (e != ERR_OK) {
            err_prefix(why, "%s line %u: ", name, number);
            return e;
        }
        size_t step = end != NULL ? size + 1 : size;
        text += step;
        len -= step;
    }
    return ERR_OK;
}

static enum err
add_standards(struct config *config, struct err_text *why)
{
    for (size_t i = 0; i < config->table->n; i++) {
        const struct config_item *item = &config->table->items[i];
        if (item->standard == NULL || find_value(config, item->key, 0) != NULL)
            continue;
        enum err e = add_value(config, item, item->standard, 0, why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

enum err
config_parse(const char *name, const char *text, size_t len, const struct config_table *table,
             struct config **out_config, struct err_text *why)
{
    struct config *config = calloc(1, sizeof *config);
    if (config == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    config->table = table;
    enum err e = add_lines(config, name, text, len, why);
    if (e == ERR_OK)
        e = add_standards(config, why);
    if (e == ERR_OK)
        *out_config = config;
    else
        free(config);
    return e;
}

enum err
config_load(const char *dir, const struct config_table *table, struct config **out_config,
            struct err_text *why)
{
    char path[PATH_SIZE];
    char *text = NULL;
    size_t len = 0;
    enum err e = path_join(dir, table->file, path, why);
    if (e == ERR_OK)
        e = file_read(path, &text, &len, why);
    if (e == ERR_OK)
        e = config_parse(path, text, len, table, out_config, why);
    free(text);
    return e;
}

void
config_free(struct config *config)
{
    free(config);
}

const char *
config_nth(const struct config *config, const char *key, size_t i)
{
    const struct value *value = find_value(config, key, i);
    return value != NULL ? value->text : NULL;
}

const char *
config_text(const struct config *config, const char *key)
{
    const char *text = config_nth(config, key, 0);
    return text != NULL ? text : "";
}

int64_t
config_number(const struct config *config, const char *key)
{
    const struct value *value = find_value(config, key, 0);
    return value != NULL ? value->number : 0;
}

void
config_print(const struct config *config, FILE *out)
{
    for (size_t i = 0; i < config->table->n; i++) {
        const char *key = config->table->items[i].key;
        const char *text = NULL;
        for (size_t nth = 0; (text = config_nth(config, key, nth)) != NULL; nth++)
            (void)fprintf(out, "%s %s\n", key, text);
    }
}
