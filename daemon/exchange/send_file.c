/* send_file.c - files one by one: HTTPS PUT or POST, and SFTP under a name of passage. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/exchange/send.h"

enum {
    URL = 1024,
    COMMAND = 1200
};

/* The name goes behind a path that ends in /, else the URL is the file's own. Names are ours:
 * letters, digits, dashes and a dot. */
static bool
url_of(const struct sending *s, const Knockbox__OutboxFile *file, char out[URL])
{
    const char *url = s->job->url;
    size_t len = strlen(url);
    bool folder = len > 0 && url[len - 1] == '/';
    if (!send_is_line(url) || !send_is_line(file->name) || !send_is_line(file->media) ||
        strpbrk(file->name, "/\\\"?#%: ") != NULL)
        return false;
    int n = snprintf(out, URL, "%s%s", url, folder ? file->name : "");
    return n > 0 && n < URL;
}

typedef enum send_end send_one(struct sending *s, const char *url, size_t i);

/* From the first file that has not arrived yet. */
static enum send_end
send_all(struct sending *s, send_one *one)
{
    const Knockbox__SendJob *job = s->job;
    char url[URL];
    for (size_t i = job->files_done; i < job->n_files; i++) {
        if (!url_of(s, job->files[i], url))
            return send_refuse(s, "a file's name that cannot stand in a URL");
        enum send_end end = one(s, url, i);
        if (end != SEND_SENT)
            return end;
        send_arrived(i + 1);
    }
    return SEND_SENT;
}

/* ---------------------------------------------------------------- https */

/* 4xx is meant for good, save what a person or time can mend. */
static enum send_end
judge_reply(struct sending *s)
{
    static const long mendable[] = {401, 403, 404, 407, 408, 421, 423, 425, 429};
    long reply = 0;
    const char *method = NULL;
    (void)curl_easy_getinfo(s->curl, CURLINFO_RESPONSE_CODE, &reply);
    (void)curl_easy_getinfo(s->curl, CURLINFO_EFFECTIVE_METHOD, &method);
    bool same = method != NULL && strcmp(method, s->job->method) == 0;
    if (reply >= 200 && reply <= 299 && same)
        return SEND_SENT;
    (void)snprintf(s->words, sizeof s->words, "the server answered %ld%s", reply,
                   reply >= 300 && reply <= 399 ? ": it is elsewhere, set its URL" : "");
    for (size_t i = 0; i < sizeof mendable / sizeof mendable[0]; i++)
        if (reply == mendable[i])
            return SEND_LATER;
    return reply >= 400 && reply <= 499 ? SEND_NEVER : SEND_LATER;
}

static struct curl_slist *
https_headers(const Knockbox__SendJob *job, size_t i)
{
    const Knockbox__OutboxFile *file = job->files[i];
    char lines[4][512];
    struct curl_slist *list = NULL;
    (void)snprintf(lines[0], sizeof lines[0], "Content-Type: %s", file->media);
    (void)snprintf(lines[1], sizeof lines[1], "Content-Disposition: attachment; filename=\"%s\"",
                   file->name);
    (void)snprintf(lines[2], sizeof lines[2], "Idempotency-Key: %s-%zu", job->message_id, i);
    (void)snprintf(lines[3], sizeof lines[3], "Expect:"); /* no waiting for leave */
    for (size_t j = 0; j < 4; j++) {
        struct curl_slist *more = curl_slist_append(list, lines[j]);
        if (more == NULL) {
            curl_slist_free_all(list);
            return NULL;
        }
        list = more;
    }
    return list;
}

static void
allow_redirects(CURL *curl, const Knockbox__SendJob *job)
{
    if (job->redirects <= 0)
        return;
    (void)curl_easy_setopt(curl, CURLOPT_FOLLOWLOCATION, 1L);
    (void)curl_easy_setopt(curl, CURLOPT_MAXREDIRS, (long)job->redirects);
    (void)curl_easy_setopt(curl, CURLOPT_POSTREDIR, (long)CURL_REDIR_POST_ALL);
}

static void
authorise(CURL *curl, const Knockbox__SendJob *job)
{
    if (job->token != NULL) {
        (void)curl_easy_setopt(curl, CURLOPT_HTTPAUTH, CURLAUTH_BEARER);
        (void)curl_easy_setopt(curl, CURLOPT_XOAUTH2_BEARER, job->token);
    } else if (job->user != NULL) {
        (void)curl_easy_setopt(curl, CURLOPT_HTTPAUTH, CURLAUTH_BASIC);
    }
}

static enum send_end
https_one(struct sending *s, const char *url, size_t i)
{
    const Knockbox__SendJob *job = s->job;
    const Knockbox__OutboxFile *file = job->files[i];
    struct source source = {.bytes = file->content.data, .len = file->content.len};
    if (!send_prepare(s, url, "https"))
        return SEND_LATER;
    struct curl_slist *headers = https_headers(job, i);
    if (headers == NULL)
        return send_failed(s, CURLE_OUT_OF_MEMORY);
    if (strcmp(job->method, "POST") == 0) {
        (void)curl_easy_setopt(s->curl, CURLOPT_POST, 1L);
        (void)curl_easy_setopt(s->curl, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)file->content.len);
        (void)curl_easy_setopt(s->curl, CURLOPT_POSTFIELDS, (const char *)file->content.data);
    } else {
        send_source(s, &source);
    }
    allow_redirects(s->curl, job);
    authorise(s->curl, job);
    CURLcode code = curl_easy_setopt(s->curl, CURLOPT_HTTPHEADER, headers);
    if (code == CURLE_OK)
        code = curl_easy_perform(s->curl);
    enum send_end end = code == CURLE_OK ? judge_reply(s) : send_failed(s, code);
    curl_slist_free_all(headers);
    return end;
}

enum send_end
send_https(struct sending *s)
{
    if (s->job->method == NULL || s->job->message_id == NULL || !send_is_line(s->job->message_id) ||
        (s->job->token != NULL && !send_is_line(s->job->token)))
        return send_refuse(s, "expected one line without control characters");
    return send_all(s, https_one);
}

/* ---------------------------------------------------------------- sftp */

/* The path as the server knows it. */
static const char *
path_of(const char *url)
{
    const char *host = strstr(url, "://");
    const char *path = host != NULL ? strchr(host + 3, '/') : NULL;
    return path != NULL ? path : "/";
}

/* A file that is half there never has the name that people wait for. Renaming over a file is
 * refused by servers of this protocol's common version, so an old one is removed first. */
static struct curl_slist *
rename_commands(const char *passage, const char *name)
{
    char lines[2][COMMAND * 2];
    (void)snprintf(lines[0], sizeof lines[0], "*rm \"%s\"", name);
    (void)snprintf(lines[1], sizeof lines[1], "rename \"%s\" \"%s\"", passage, name);
    struct curl_slist *list = curl_slist_append(NULL, lines[0]);
    struct curl_slist *more = list != NULL ? curl_slist_append(list, lines[1]) : NULL;
    if (more == NULL)
        curl_slist_free_all(list);
    return more;
}

static CURLcode
set_ssh(CURL *curl, const Knockbox__SendJob *job)
{
    long ways = job->key_file != NULL ? CURLSSH_AUTH_PUBLICKEY
                                      : CURLSSH_AUTH_PASSWORD | CURLSSH_AUTH_KEYBOARD;
    CURLcode code = curl_easy_setopt(curl, CURLOPT_SSH_KNOWNHOSTS, job->known_hosts);
    if (code == CURLE_OK)
        code = curl_easy_setopt(curl, CURLOPT_SSH_AUTH_TYPES, ways);
    if (code == CURLE_OK && job->key_file != NULL)
        code = curl_easy_setopt(curl, CURLOPT_SSH_PRIVATE_KEYFILE, job->key_file);
    if (code == CURLE_OK && job->key_file != NULL && job->password != NULL)
        code = curl_easy_setopt(curl, CURLOPT_KEYPASSWD, job->password);
    return code;
}

static enum send_end
sftp_one(struct sending *s, const char *url, size_t i)
{
    const Knockbox__OutboxFile *file = s->job->files[i];
    struct source source = {.bytes = file->content.data, .len = file->content.len};
    char passage[URL + 8];
    (void)snprintf(passage, sizeof passage, "%s.part", url);
    if (!send_prepare(s, passage, "sftp"))
        return SEND_LATER;
    struct curl_slist *commands = rename_commands(path_of(passage), path_of(url));
    send_source(s, &source);
    CURLcode code = commands != NULL ? set_ssh(s->curl, s->job) : CURLE_OUT_OF_MEMORY;
    if (code == CURLE_OK)
        code = curl_easy_setopt(s->curl, CURLOPT_POSTQUOTE, commands);
    if (code == CURLE_OK)
        code = curl_easy_perform(s->curl);
    enum send_end end = code == CURLE_OK ? SEND_SENT : send_failed(s, code);
    curl_slist_free_all(commands);
    return end;
}

enum send_end
send_sftp(struct sending *s)
{
    if (s->job->known_hosts == NULL || s->job->user == NULL)
        return send_refuse(s, "expected a file of known hosts and a user");
    return send_all(s, sftp_one);
}
