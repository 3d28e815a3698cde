/* setup.c - the sections of delivery.conf, each read by its table. */
#include "daemon/exchange/setup.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/exchange/setup_check.h"

static const struct config_item target_items[] = {
    {"url", CONFIG_TEXT, NULL, 1, 255,
     "smtp://, smtps://, https:// or sftp://HOST[:PORT][/PATH]; a file's name goes behind a path "
     "that ends in /"},
    {"from", CONFIG_TEXT, "", 0, 255, "mail: the sender's address"},
    {"to", CONFIG_TEXT, "", 0, 255, "mail: addresses, separated by blanks"},
    {"credentials", CONFIG_TEXT, "", 0, 255,
     "file with lines `user`, `password` or `token`, mode 0600"},
    {"key", CONFIG_TEXT, "", 0, 255, "sftp: private key file, mode 0600"},
    {"ca", CONFIG_TEXT, "", 0, 255, "certificates to trust in place of the system's, PEM"},
    {"known_hosts", CONFIG_TEXT, "", 0, 255, "sftp: the server's keys, as in ssh's known_hosts"},
    {"method", CONFIG_TEXT, "PUT", 3, 4, "https: PUT or POST"},
    {"redirects", CONFIG_INT, "0", 0, 5, "https: redirects to follow, to https:// only"},
    {"connect", CONFIG_TIME, "15s", 1, 120, "most that connecting may take"},
    {"timeout", CONFIG_TIME, "2m", 1, 3600, "most that sending a file or a mail may take"},
    {"most_mib", CONFIG_INT, "20", 1, 32, "most that one delivery may weigh"},
    {"retry", CONFIG_TIME, "1m", 1, 3600, "wait before the second try; later ones wait longer"},
    {"give_up", CONFIG_TIME, "3d", 1, 2592000, "a try that fails after this was the last"},
    {"insecure-for-tests", CONFIG_TEXT, "no", 2, 3,
     "yes: smtp:// to this very machine without TLS"},
};

static const struct config_item schedule_items[] = {
    {"on", CONFIG_INT, NULL, 1, 28, "day of each month"},
    {"at", CONFIG_TEXT, "07:00", 5, 5, "HH:MM on the clock of the hub's site"},
    {"month", CONFIG_TEXT, "last", 4, 4, "last or this: the month that is reported"},
    {"as", CONFIG_TEXT, NULL, 1, 255, "prints, separated by blanks: html xlsx"},
    {"to", CONFIG_TEXT, NULL, 1, 255, "targets, separated by blanks"},
};

static const struct config_item alert_items[] = {
    {"to", CONFIG_TEXT, NULL, 1, 255, "targets, separated by blanks"},
    {"every", CONFIG_TIME, "15m", 1, 86400, "how often causes are looked for"},
    {"silent", CONFIG_TIME, "1d", 60, 2592000, "silence of a café that is told"},
    {"tub_days", CONFIG_INT, "7", 0, 365, "days before its date that a tub is told"},
    {"disk_mib", CONFIG_INT, "512", 1, 1048576, "free room on the disk under which it is told"},
    {"clock", CONFIG_TIME, "5s", 1, 86400, "how far a café's clock may be off"},
};

#define TABLE(file, items)                            \
    {                                                 \
        file, items, sizeof(items) / sizeof(items)[0] \
    }
const struct config_table setup_targets = TABLE("target", target_items);
const struct config_table setup_schedules = TABLE("schedule", schedule_items);
const struct config_table setup_alerts = TABLE("alerts", alert_items);

struct section {
    const struct config_table *table;
    char name[SETUP_NAME]; /* "" for alerts */
    struct config *config;
};

struct setup {
    char dir[PATH_SIZE];
    struct section sections[SETUP_SECTIONS]; /* in the order of the file */
    size_t n;
    struct target targets[SETUP_SECTIONS];
    size_t n_targets;
    struct schedule schedules[SETUP_SECTIONS];
    size_t n_schedules;
    const struct config *alerts;
};

/* ---------------------------------------------------------------- lines to sections */

static const struct {
    const char *word;
    const struct config_table *table;
    bool named;
} kinds[] = {
    {"target", &setup_targets, true},
    {"schedule", &setup_schedules, true},
    {"alerts", &setup_alerts, false},
};

enum {
    KINDS = sizeof kinds / sizeof kinds[0]
};

bool
setup_word(const char *list, size_t i, char out[], size_t size)
{
    for (;; i--) {
        list += strspn(list, " \t");
        size_t len = strcspn(list, " \t\r\n");
        if (len == 0)
            return false;
        if (i == 0) {
            (void)snprintf(out, size, "%.*s", (int)len, list);
            return true;
        }
        list += len;
    }
}

/* The kind of section that the line begins, KINDS when it begins none. */
static size_t
begins(const char *line, size_t len)
{
    char copy[512], word[32];
    (void)snprintf(copy, sizeof copy, "%.*s", (int)(len < 500 ? len : 500), line);
    size_t kind = KINDS;
    if (setup_word(copy, 0, word, sizeof word))
        for (kind = 0; kind < KINDS && strcmp(kinds[kind].word, word) != 0;)
            kind++;
    return kind;
}

static bool
is_name(const char *name)
{
    size_t len = strlen(name);
    return len > 0 && len < SETUP_NAME &&
           strspn(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.") == len;
}

static enum err
begin_section(struct setup *setup, size_t kind, const char *line, size_t len, struct err_text *why)
{
    char copy[512], name[80] = "", more[8];
    (void)snprintf(copy, sizeof copy, "%.*s", (int)(len < 500 ? len : 500), line);
    size_t words = kinds[kind].named ? 2 : 1;
    bool fine = !setup_word(copy, words, more, sizeof more) &&
                (!kinds[kind].named || (setup_word(copy, 1, name, sizeof name) && is_name(name)));
    if (!fine)
        return err_set(ERR_INPUT, why, "expected `%s%s`", kinds[kind].word,
                       kinds[kind].named ? " NAME` of letters, digits, - _ ." : "");
    for (size_t i = 0; i < setup->n; i++)
        if (setup->sections[i].table == kinds[kind].table &&
            strcmp(setup->sections[i].name, name) == 0)
            return err_set(ERR_INPUT, why, "a second section %s %s", kinds[kind].word, name);
    if (setup->n == SETUP_SECTIONS)
        return err_set(ERR_INPUT, why, "more than %d sections", SETUP_SECTIONS);
    struct section *section = &setup->sections[setup->n++];
    section->table = kinds[kind].table;
    memcpy(section->name, name, sizeof section->name);
    section->name[SETUP_NAME - 1] = '\0';
    return ERR_OK;
}

/* The section's own lines, with all lines before it blank, so that numbers of lines are right. */
static enum err
parse_section(struct section *section, const char *name, const char *text, size_t begin, size_t end,
              struct err_text *why)
{
    char *padded = malloc(end + 1);
    if (padded == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    for (size_t i = 0; i < begin; i++)
        padded[i] = text[i] == '\n' ? '\n' : ' ';
    memcpy(padded + begin, text + begin, end - begin);
    /* blank lines may be longer than a line of settings: keep only their ends */
    size_t used = 0;
    for (size_t i = 0; i < end; i++)
        if (i >= begin || padded[i] == '\n')
            padded[used++] = padded[i];
    enum err e = config_parse(name, padded, used, section->table, &section->config, why);
    free(padded);
    return e;
}

static enum err
no_section(const char *line, size_t len, struct err_text *why)
{
    size_t blank = 0;
    while (blank < len && strchr(" \t\r", line[blank]) != NULL)
        blank++;
    if (blank == len || line[blank] == '#')
        return ERR_OK;
    return err_set(ERR_INPUT, why, "expected `target NAME`, `schedule NAME` or `alerts` first");
}

static enum err
add_sections(struct setup *setup, const char *name, const char *text, size_t len,
             struct err_text *why)
{
    size_t begin = 0; /* of the lines of the last section */
    unsigned number = 0;
    enum err e = ERR_OK;
    for (size_t at = 0; at < len && e == ERR_OK;) {
        const char *end = memchr(text + at, '\n', len - at);
        size_t size = end != NULL ? (size_t)(end - text) - at : len - at;
        size_t kind = begins(text + at, size);
        number++;
        if (kind < KINDS && setup->n > 0)
            e = parse_section(&setup->sections[setup->n - 1], name, text, begin, at, why);
        if (e != ERR_OK)
            return e; /* has its line */
        if (kind < KINDS) {
            e = begin_section(setup, kind, text + at, size, why);
            begin = at + size;
        } else if (setup->n == 0) {
            e = no_section(text + at, size, why);
        }
        if (e != ERR_OK)
            err_prefix(why, "%s line %u: ", name, number);
        at += size + (end != NULL);
    }
    if (e == ERR_OK && setup->n > 0)
        e = parse_section(&setup->sections[setup->n - 1], name, text, begin, len, why);
    return e;
}

/* ---------------------------------------------------------------- sections to what they mean */

static enum err
understand(struct setup *setup, struct section *section, struct err_text *why)
{
    if (section->table == &setup_alerts) {
        setup->alerts = section->config;
        return check_alerts(setup, section->config, why);
    }
    if (section->table == &setup_targets) {
        struct target *target = &setup->targets[setup->n_targets++];
        memcpy(target->name, section->name, sizeof target->name);
        target->config = section->config;
        return check_target(setup, target, why);
    }
    struct schedule *schedule = &setup->schedules[setup->n_schedules++];
    memcpy(schedule->name, section->name, sizeof schedule->name);
    schedule->config = section->config;
    return check_schedule(setup, schedule, why);
}

/* Targets first: the others name them. */
static enum err
understand_all(struct setup *setup, const char *name, struct err_text *why)
{
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = 0; i < setup->n; i++) {
            struct section *section = &setup->sections[i];
            if ((section->table == &setup_targets) != (pass == 0))
                continue;
            enum err e = understand(setup, section, why);
            if (e != ERR_OK) {
                err_prefix(why, "%s, %s%s%s: ", name, section->table->file,
                           section->name[0] != '\0' ? " " : "", section->name);
                return e;
            }
        }
    return ERR_OK;
}

enum err
setup_parse(const char *dir, const char *name, const char *text, size_t len,
            struct setup **out_setup, struct err_text *why)
{
    struct setup *setup = calloc(1, sizeof *setup);
    if (setup == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    (void)snprintf(setup->dir, sizeof setup->dir, "%s", dir);
    enum err e = add_sections(setup, name, text, len, why);
    if (e == ERR_OK)
        e = understand_all(setup, name, why);
    if (e == ERR_OK)
        *out_setup = setup;
    else
        setup_free(setup);
    return e;
}

enum err
setup_load(const char *dir, struct setup **out_setup, struct err_text *why)
{
    char path[PATH_SIZE];
    char *text = NULL;
    size_t len = 0;
    enum err e = path_join(dir, SETUP_FILE, path, why);
    if (e == ERR_OK && !file_there(dir, SETUP_FILE))
        return setup_parse(dir, path, "", 0, out_setup, why);
    if (e == ERR_OK)
        e = file_read(path, &text, &len, why);
    if (e == ERR_OK)
        e = setup_parse(dir, path, text, len, out_setup, why);
    free(text);
    return e;
}

void
setup_free(struct setup *setup)
{
    for (size_t i = 0; setup != NULL && i < setup->n; i++)
        config_free(setup->sections[i].config);
    free(setup);
}

void
setup_print(const struct setup *setup, FILE *out)
{
    for (size_t i = 0; i < setup->n; i++) {
        const struct section *section = &setup->sections[i];
        (void)fprintf(out, "%s%s%s\n", section->table->file, section->name[0] != '\0' ? " " : "",
                      section->name);
        config_print(section->config, out);
    }
}

/* ---------------------------------------------------------------- asking */

const struct target *
setup_target(const struct setup *setup, const char *name)
{
    for (size_t i = 0; i < setup->n_targets; i++)
        if (strcmp(setup->targets[i].name, name) == 0)
            return &setup->targets[i];
    return NULL;
}

const struct target *
setup_target_at(const struct setup *setup, size_t i)
{
    return i < setup->n_targets ? &setup->targets[i] : NULL;
}

const struct schedule *
setup_schedule(const struct setup *setup, size_t i)
{
    return i < setup->n_schedules ? &setup->schedules[i] : NULL;
}

const struct config *
setup_alert(const struct setup *setup)
{
    return setup->alerts;
}

enum err
setup_path(const struct setup *setup, const struct config *config, const char *key,
           char out[PATH_SIZE], struct err_text *why)
{
    const char *value = config_text(config, key);
    out[0] = '\0';
    if (value[0] == '\0')
        return ERR_OK;
    if (value[0] != '/')
        return path_join(setup->dir, value, out, why);
    (void)snprintf(out, PATH_SIZE, "%s", value);
    return ERR_OK;
}

/* ---------------------------------------------------------------- secrets */

static const struct {
    const char *key;
    size_t at, size;
} secret_lines[] = {
    {"user", offsetof(struct secret, user), sizeof((struct secret *)0)->user},
    {"password", offsetof(struct secret, password), sizeof((struct secret *)0)->password},
    {"token", offsetof(struct secret, token), sizeof((struct secret *)0)->token},
};

/* One line into its place. What stands there is never repeated in a message. */
static bool
take_secret(struct secret *secret, const char *line, size_t len)
{
    while (len > 0 && line[len - 1] == '\r')
        len--;
    if (len == 0 || line[0] == '#')
        return true;
    const char *blank = memchr(line, ' ', len);
    if (blank == NULL || memchr(line, '\0', len) != NULL)
        return false;
    size_t key = (size_t)(blank - line), value = len - key - 1;
    for (size_t i = 0; i < sizeof secret_lines / sizeof secret_lines[0]; i++) {
        char *place = (char *)secret + secret_lines[i].at;
        if (strlen(secret_lines[i].key) != key || memcmp(line, secret_lines[i].key, key) != 0)
            continue;
        if (value == 0 || value >= secret_lines[i].size || place[0] != '\0')
            return false;
        memcpy(place, blank + 1, value);
        place[value] = '\0';
        return true;
    }
    return false;
}

enum err
setup_secret(const struct setup *setup, const struct target *target, struct secret *out_secret,
             struct err_text *why)
{
    char path[PATH_SIZE];
    char *text = NULL;
    size_t len = 0;
    unsigned number = 0;
    memset(out_secret, 0, sizeof *out_secret);
    enum err e = setup_path(setup, target->config, "credentials", path, why);
    if (e != ERR_OK || path[0] == '\0')
        return e;
    e = file_check_secret(path, why);
    if (e == ERR_OK)
        e = file_read(path, &text, &len, why);
    for (size_t at = 0; e == ERR_OK && at < len;) {
        const char *end = memchr(text + at, '\n', len - at);
        size_t size = end != NULL ? (size_t)(end - text) - at : len - at;
        number++;
        if (!take_secret(out_secret, text + at, size))
            e = err_set(ERR_INPUT, why,
                        "%.300s line %u: expected `user`, `password` or `token`, a blank and its "
                        "value, once each",
                        path, number);
        at += size + 1;
    }
    if (text != NULL)
        explicit_bzero(text, len);
    free(text);
    return e;
}
