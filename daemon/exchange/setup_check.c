/* setup_check.c - what a target, a schedule and the alerts must say. */
#include "daemon/exchange/setup_check.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/report/forms.h"
#include "proto/text.h"

static const struct {
    const char *prefix;
    bool mail;
} schemes[] = {
    [SCHEME_SMTP] = {"smtp://", true},
    [SCHEME_SMTPS] = {"smtps://", true},
    [SCHEME_HTTPS] = {"https://", false},
    [SCHEME_SFTP] = {"sftp://", false},
};

enum {
    SCHEMES = sizeof schemes / sizeof schemes[0]
};

const char *
scheme_word(enum scheme scheme)
{
    static const char *const words[] = {[SCHEME_SMTP] = "smtp",
                                        [SCHEME_SMTPS] = "smtps",
                                        [SCHEME_HTTPS] = "https",
                                        [SCHEME_SFTP] = "sftp"};
    return words[scheme];
}

/* HOST[:PORT] of the URL: no user, no password. */
static bool
read_url(const char *url, enum scheme *out_scheme, char *host, size_t size)
{
    size_t s = 0;
    while (s < SCHEMES && strncmp(url, schemes[s].prefix, strlen(schemes[s].prefix)) != 0)
        s++;
    if (s == SCHEMES)
        return false;
    *out_scheme = (enum scheme)s;
    for (const char *c = url; *c != '\0'; c++)
        if ((unsigned char)*c <= ' ' || (unsigned char)*c > '~' || strchr("@?#\"<>\\`{|}", *c))
            return false;
    const char *from = url + strlen(schemes[s].prefix);
    size_t len = strcspn(from, "/");
    (void)snprintf(host, size, "%.*s", (int)len, from);
    return len > 0 && host[0] != ':' && len < size;
}

static bool
is_this_machine(const char *host)
{
    static const char *const names[] = {"127.0.0.1", "[::1]", "localhost"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        size_t len = strlen(names[i]);
        if (strncmp(host, names[i], len) == 0 && (host[len] == ':' || host[len] == '\0'))
            return true;
    }
    return false;
}

bool
is_address(const char *text)
{
    const char *at = strchr(text, '@');
    if (at == NULL || at == text || at[1] == '\0' || strchr(at + 1, '@') != NULL ||
        text[0] == '-' || text[0] == '.')
        return false;
    for (const char *c = text; *c != '\0'; c++)
        if ((unsigned char)*c <= ' ' || (unsigned char)*c > '~' || strchr("<>()[],;:\"\\", *c))
            return false;
    return true;
}

static enum err
check_mail(const struct target *target, struct err_text *why)
{
    char address[256];
    const char *to = config_text(target->config, "to");
    const char *from = config_text(target->config, "from");
    if (!is_address(from))
        return err_input(why, "from", from, "an address such as knockbox@saltmere.example");
    if (!setup_word(to, 0, address, sizeof address))
        return err_input(why, "to", to, "at least one address");
    for (size_t i = 0; setup_word(to, i, address, sizeof address); i++)
        if (!is_address(address))
            return err_input(why, "to", address, "addresses such as office@saltmere.example");
    return ERR_OK;
}

static enum err
check_insecure(struct target *target, const char *host, struct err_text *why)
{
    const char *value = config_text(target->config, "insecure-for-tests");
    target->insecure = strcmp(value, "yes") == 0;
    if (!target->insecure && strcmp(value, "no") != 0)
        return err_input(why, "insecure-for-tests", value, "yes or no");
    if (target->insecure && (target->scheme != SCHEME_SMTP || !is_this_machine(host) ||
                             config_text(target->config, "credentials")[0] != '\0'))
        return err_input(why, "insecure-for-tests", value,
                         "no, save for smtp:// to 127.0.0.1 without credentials");
    return ERR_OK;
}

/* A file that must be there; a secret one for nobody else's eyes. */
static enum err
check_file(const struct setup *setup, const struct target *target, const char *key, bool secret,
           struct err_text *why)
{
    char path[PATH_SIZE];
    char *text = NULL;
    size_t len = 0;
    enum err e = setup_path(setup, target->config, key, path, why);
    if (e != ERR_OK || path[0] == '\0')
        return e;
    if (secret)
        e = file_check_secret(path, why);
    if (e == ERR_OK)
        e = file_read(path, &text, &len, why);
    if (text != NULL)
        explicit_bzero(text, len);
    free(text);
    if (e != ERR_OK)
        err_prefix(why, "%s: ", key);
    return e;
}

static enum err
check_files(const struct setup *setup, const struct target *target, struct err_text *why)
{
    static const struct {
        const char *key;
        bool secret;
    } files[] = {{"ca", false}, {"known_hosts", false}, {"key", true}, {"credentials", true}};
    struct secret secret;
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < sizeof files / sizeof files[0]; i++)
        e = check_file(setup, target, files[i].key, files[i].secret, why);
    if (e == ERR_OK)
        e = setup_secret(setup, target, &secret, why);
    explicit_bzero(&secret, sizeof secret);
    return e;
}

enum err
check_target(const struct setup *setup, struct target *target, struct err_text *why)
{
    char host[256];
    const struct config *config = target->config;
    const char *url = config_text(config, "url"), *method = config_text(config, "method");
    if (!read_url(url, &target->scheme, host, sizeof host))
        return err_input(why, "url", url,
                         "smtp://, smtps://, https:// or sftp://HOST[:PORT][/PATH] without user, "
                         "password and query");
    if (strcmp(method, "PUT") != 0 && strcmp(method, "POST") != 0)
        return err_input(why, "method", method, "PUT or POST");
    if (target->scheme == SCHEME_SFTP && config_text(config, "known_hosts")[0] == '\0')
        return err_input(why, "known_hosts", NULL, "a file with the server's key");
    if (target->scheme == SCHEME_SFTP && config_text(config, "credentials")[0] == '\0')
        return err_input(why, "credentials", NULL, "a file with at least the line `user`");
    enum err e = check_insecure(target, host, why);
    if (e == ERR_OK && schemes[target->scheme].mail)
        e = check_mail(target, why);
    return e == ERR_OK ? check_files(setup, target, why) : e;
}

static enum err
check_targets_named(const struct setup *setup, const struct config *config, struct err_text *why)
{
    char name[SETUP_NAME];
    const char *to = config_text(config, "to");
    size_t i = 0;
    for (; setup_word(to, i, name, sizeof name); i++)
        if (setup_target(setup, name) == NULL || i == SETUP_TARGETS)
            return err_input(why, "to", name, "names of up to 8 targets of this file");
    return i > 0 ? ERR_OK : err_input(why, "to", to, "at least one target");
}

static enum err
check_forms(const struct config *config, struct err_text *why)
{
    char name[32], names[128];
    const char *as = config_text(config, "as");
    size_t i = 0;
    for (; setup_word(as, i, name, sizeof name); i++)
        if (report_form_find(name) == NULL)
            return err_input(why, "as", name, report_form_names(names, sizeof names));
    return i > 0 ? ERR_OK : err_input(why, "as", as, report_form_names(names, sizeof names));
}

enum err
check_schedule(const struct setup *setup, struct schedule *schedule, struct err_text *why)
{
    const struct config *config = schedule->config;
    const char *at = config_text(config, "at"), *month = config_text(config, "month");
    schedule->day = (int)config_number(config, "on");
    schedule->minute = hhmm_minutes(at);
    schedule->months_back = strcmp(month, "last") == 0;
    if (schedule->day < 1)
        return err_input(why, "on", NULL, "a day, 1 to 28");
    if (schedule->minute < 0)
        return err_input(why, "at", at, "HH:MM");
    if (schedule->months_back == 0 && strcmp(month, "this") != 0)
        return err_input(why, "month", month, "last or this");
    enum err e = check_forms(config, why);
    return e == ERR_OK ? check_targets_named(setup, config, why) : e;
}

enum err
check_alerts(const struct setup *setup, const struct config *config, struct err_text *why)
{
    return check_targets_named(setup, config, why);
}
