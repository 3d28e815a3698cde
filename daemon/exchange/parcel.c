/* parcel.c - prints, summary and the job for knockbox-send. */
#include "daemon/exchange/parcel.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/report/forms.h"
#include "proto/text.h"
#include "proto/when.h"

/* ---------------------------------------------------------------- a report */

/* What the summary says, in this order, of what the model has. */
static const struct {
    const char *path, *key, *label, *unit;
} summary[] = {
    {"", "status", "status", ""},
    {"restatement", "number", "restatement", ""},
    {"grounds", "generated_kg", "grounds generated", " kg"},
    {"grounds", "captured_kg", "captured", " kg"},
    {"grounds", "capture_rate_pct", "capture rate", " %"},
    {"waste", "generated_kg", "waste generated", " kg"},
    {"waste", "diverted_kg", "diverted", " kg"},
    {"waste", "waiting_kg", "waiting", " kg"},
    {"emissions", "inventory_kg_co2e", "inventory emissions", " kg CO2e"},
    {"emissions", "not_quantified_kg", "not quantified", " kg"},
};

static void add_text(struct parcel *parcel, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static void
add_text(struct parcel *parcel, const char *format, ...)
{
    size_t used = strlen(parcel->text);
    va_list args;
    va_start(args, format);
    (void)vsnprintf(parcel->text + used, sizeof parcel->text - used, format, args);
    va_end(args);
}

static void
summarise(const struct table_model *model, const char *site, const char *month,
          struct parcel *parcel)
{
    add_text(parcel, "Knockbox report of %s, by the hub at %s.\n\n", month, site);
    for (size_t i = 0; i < sizeof summary / sizeof summary[0]; i++) {
        const char *value = table_headline(model, summary[i].path, summary[i].key);
        if (value != NULL)
            add_text(parcel, "%s: %s%s\n", summary[i].label, value, summary[i].unit);
    }
    add_text(parcel, "\nThe prints hold every figure, its unit and its cautions.\n");
}

static enum err
add_print(const struct table_model *model, const char *stem, const struct report_form *form,
          struct parcel *parcel, struct err_text *why)
{
    char *bytes = NULL;
    size_t len = 0, i = parcel->n_files;
    if (i == PARCEL_FILES)
        return err_set(ERR_INPUT, why, "more than %d prints", PARCEL_FILES);
    enum err e = form->print(model, &bytes, &len, why);
    if (e != ERR_OK)
        return e;
    Knockbox__OutboxFile *file = &parcel->files[i];
    (void)snprintf(parcel->names[i], sizeof parcel->names[i], "%s.%s", stem, form->suffix);
    knockbox__outbox_file__init(file);
    file->name = parcel->names[i];
    file->media = (char *)(uintptr_t)form->media;
    file->has_content = true;
    file->has_tables = file->tables = form->tables;
    file->content = (ProtobufCBinaryData){len, (uint8_t *)bytes};
    parcel->list[parcel->n_files++] = file;
    parcel->bytes += len;
    return ERR_OK;
}

/* A site's code as part of a file's name: what is no letter, digit or dash becomes a dash. */
static void
stem_of(const char *site, const char *rest, char *out, size_t size)
{
    (void)snprintf(out, size, "knockbox-%.64s-%s", site, rest);
    for (char *c = out; *c != '\0'; c++) {
        bool fine =
            (*c >= 'a' && *c <= 'z') || (*c >= 'A' && *c <= 'Z') || (*c >= '0' && *c <= '9');
        if (!fine)
            *c = '-';
    }
}

bool
parcel_wants_pictures(const char *as)
{
    char name[32];
    bool any = false;
    for (size_t i = 0; setup_word(as, i, name, sizeof name); i++) {
        const struct report_form *form = report_form_find(name);
        any = any || (form != NULL && form->pictures);
    }
    return any;
}

enum err
parcel_report(const struct table_model *model, const struct table_model *pictured, const char *site,
              int32_t month, const char *as, struct parcel *out_parcel, struct err_text *why)
{
    char text[MONTH_TEXT], stem[120], name[32], names[128];
    enum err e = ERR_OK;
    memset(out_parcel, 0, sizeof *out_parcel);
    (void)month_print(month, text);
    (void)snprintf(out_parcel->what, sizeof out_parcel->what, "report %s", text);
    (void)snprintf(out_parcel->subject, sizeof out_parcel->subject, "Knockbox report %s", text);
    stem_of(site, text, stem, sizeof stem);
    summarise(model, site, text, out_parcel);
    for (size_t i = 0; e == ERR_OK && setup_word(as, i, name, sizeof name); i++) {
        const struct report_form *form = report_form_find(name);
        e = form != NULL ? add_print(form->pictures ? pictured : model, stem, form, out_parcel, why)
                         : err_input(why, "form", name, report_form_names(names, sizeof names));
    }
    if (e == ERR_OK && out_parcel->n_files == 0)
        e = err_input(why, "form", as, report_form_names(names, sizeof names));
    return e;
}

/* ---------------------------------------------------------------- alerts */

enum err
parcel_alerts(const char *site, int64_t now_ms, const char *const *lines, size_t n,
              struct parcel *out_parcel, struct err_text *why)
{
    char when[32], stem[sizeof out_parcel->names[0] - 4];
    memset(out_parcel, 0, sizeof *out_parcel);
    (void)snprintf(out_parcel->what, sizeof out_parcel->what, "alerts");
    if (n == 1)
        (void)snprintf(out_parcel->subject, sizeof out_parcel->subject, "Knockbox: %.100s",
                       lines[0]);
    else
        (void)snprintf(out_parcel->subject, sizeof out_parcel->subject, "Knockbox: %zu alerts", n);
    for (size_t i = 0; i < n; i++)
        add_text(out_parcel, "%s\n", lines[i]);
    (void)snprintf(when, sizeof when, "alerts-%" PRId64, now_ms / 1000);
    stem_of(site, when, stem, sizeof stem);
    (void)snprintf(out_parcel->names[0], sizeof out_parcel->names[0], "%s.txt", stem);
    Knockbox__OutboxFile *file = &out_parcel->files[0];
    knockbox__outbox_file__init(file);
    file->name = out_parcel->names[0];
    file->media = (char *)(uintptr_t) "text/plain; charset=utf-8";
    file->has_content = true;
    size_t len = strlen(out_parcel->text);
    file->content = (ProtobufCBinaryData){len, malloc(len + 1)};
    if (file->content.data == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    memcpy(file->content.data, out_parcel->text, len);
    out_parcel->list[out_parcel->n_files++] = file;
    out_parcel->bytes = len;
    return ERR_OK;
}

void
parcel_done(struct parcel *parcel)
{
    for (size_t i = 0; i < parcel->n_files; i++)
        free(parcel->files[i].content.data);
    parcel->n_files = 0;
}

/* ---------------------------------------------------------------- to a target */

static bool
is_mail(const struct target *target)
{
    return target->scheme == SCHEME_SMTP || target->scheme == SCHEME_SMTPS;
}

enum err
parcel_job(const struct parcel *parcel, const struct target *target, int64_t now_ms,
           Knockbox__OutboxJob *out_job, struct err_text *why)
{
    size_t most = (size_t)config_number(target->config, "most_mib") << 20;
    bool text_only = is_mail(target) && strcmp(parcel->what, "alerts") == 0;
    if (parcel->bytes > most)
        return err_set(ERR_INPUT, why, "%zu bytes for %s: expected at most its most_mib, %zu",
                       parcel->bytes, target->name, most);
    knockbox__outbox_job__init(out_job);
    out_job->target = (char *)(uintptr_t)target->name;
    out_job->what = (char *)(uintptr_t)parcel->what;
    out_job->subject = (char *)(uintptr_t)parcel->subject;
    out_job->text = (char *)(uintptr_t)parcel->text;
    out_job->has_created_ms = out_job->has_give_up_ms = true;
    out_job->created_ms = now_ms;
    out_job->give_up_ms = now_ms + config_number(target->config, "give_up");
    out_job->n_files = text_only ? 0 : parcel->n_files;
    out_job->files = (Knockbox__OutboxFile **)(uintptr_t)parcel->list;
    return ERR_OK;
}

enum {
    ADDRESSES = 32
};

/* Everything that the job for knockbox-send points to. */
struct packing {
    Knockbox__SendJob send;
    char key[PATH_SIZE], ca[PATH_SIZE], known_hosts[PATH_SIZE], message_id[160];
    char addresses[ADDRESSES][256], *to[ADDRESSES];
    struct secret secret;
};

static char *
lent(const char *text)
{
    return (char *)(uintptr_t)text;
}

static char *
or_null(char *text)
{
    return text[0] != '\0' ? text : NULL;
}

static enum err
fill_paths(const struct setup *setup, const struct target *target, struct packing *p,
           struct err_text *why)
{
    enum err e = setup_path(setup, target->config, "key", p->key, why);
    if (e == ERR_OK)
        e = setup_path(setup, target->config, "ca", p->ca, why);
    if (e == ERR_OK)
        e = setup_path(setup, target->config, "known_hosts", p->known_hosts, why);
    if (e == ERR_OK && p->key[0] != '\0')
        e = file_check_secret(p->key, why);
    p->send.key_file = or_null(p->key);
    p->send.ca_file = or_null(p->ca);
    p->send.known_hosts = or_null(p->known_hosts);
    return e == ERR_OK ? setup_secret(setup, target, &p->secret, why) : e;
}

static void
fill_target(const struct target *target, struct packing *p)
{
    const struct config *config = target->config;
    Knockbox__SendJob *send = &p->send;
    send->url = lent(config_text(config, "url"));
    send->method = lent(config_text(config, "method"));
    send->from = lent(config_text(config, "from"));
    send->has_insecure = send->has_connect_ms = send->has_total_ms = send->has_redirects = true;
    send->insecure = target->insecure;
    send->connect_ms = config_number(config, "connect");
    send->total_ms = config_number(config, "timeout");
    send->redirects = config_number(config, "redirects");
    send->user = or_null(p->secret.user);
    send->password = or_null(p->secret.password);
    send->token = or_null(p->secret.token);
    send->to = p->to;
    while (send->n_to < ADDRESSES &&
           setup_word(config_text(config, "to"), send->n_to, p->addresses[send->n_to], 256)) {
        p->to[send->n_to] = p->addresses[send->n_to];
        send->n_to++;
    }
}

/* The message's name is the same in each try, so that whoever gets it twice can see it. */
static void
fill_message(const Knockbox__OutboxJob *job, const uint8_t generation[8], struct packing *p)
{
    char mark[17];
    const char *domain = strchr(p->send.from, '@');
    (void)snprintf(p->message_id, sizeof p->message_id, "knockbox-%s-%" PRIu64 "@%.100s",
                   hex_print(generation, 8, mark), job->id, domain != NULL ? domain + 1 : "hub");
    p->send.message_id = p->message_id;
    p->send.subject = job->subject;
    p->send.text = job->text;
    p->send.has_date_ms = p->send.has_files_done = true;
    p->send.date_ms = job->created_ms;
    p->send.files_done = job->files_done;
    p->send.n_files = job->n_files;
    p->send.files = job->files;
}

enum err
parcel_pack(const struct setup *setup, const struct target *target, const Knockbox__OutboxJob *job,
            const uint8_t generation[8], uint8_t **out_bytes, size_t *out_len, struct err_text *why)
{
    struct packing *p = calloc(1, sizeof *p);
    if (p == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    knockbox__send_job__init(&p->send);
    enum err e = fill_paths(setup, target, p, why);
    if (e == ERR_OK) {
        fill_target(target, p);
        fill_message(job, generation, p);
        *out_len = knockbox__send_job__get_packed_size(&p->send);
        *out_bytes = malloc(*out_len + 1);
        if (*out_bytes == NULL)
            e = err_set(ERR_MEM, why, "out of memory");
        else
            (void)knockbox__send_job__pack(&p->send, *out_bytes);
    }
    explicit_bzero(p, sizeof *p);
    free(p);
    return e;
}
