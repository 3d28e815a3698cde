/* send_mail.c - one mail: summary as text, prints as attachments, made by libcurl's MIME. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "daemon/exchange/send.h"

enum {
    HEADER = 1024,
    SUBJECT = 800,
    WORD_BYTES = 42 /* of text in one encoded word: 75 columns at most (RFC 2047) */
};

/* ---------------------------------------------------------------- headers */

static bool
is_ascii(const char *text)
{
    for (const char *c = text; *c != '\0'; c++)
        if ((unsigned char)*c > '~')
            return false;
    return true;
}

static size_t
base64(const char *from, size_t len, char *out)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    size_t used = 0;
    for (size_t i = 0; i < len; i += 3) {
        unsigned bits = 0;
        for (size_t j = 0; j < 3; j++)
            bits = bits << 8 | (i + j < len ? (unsigned char)from[i + j] : 0u);
        for (size_t j = 0; j < 4; j++)
            out[used++] = i + j <= len ? digits[bits >> (18 - 6 * j) & 63] : '=';
    }
    return used;
}

/* Encoded words of whole letters, separated by blanks. */
static void
encode(const char *text, char *out, size_t size)
{
    size_t used = 0;
    while (*text != '\0' && used + 80 < size) {
        size_t len = strnlen(text, WORD_BYTES);
        while (len > 1 && text[len] != '\0' && ((unsigned char)text[len] & 0xC0) == 0x80)
            len--;
        used += (size_t)snprintf(out + used, size - used, "%s=?UTF-8?B?", used > 0 ? " " : "");
        used += base64(text, len, out + used);
        used += (size_t)snprintf(out + used, size - used, "?=");
        text += len;
    }
    out[used] = '\0';
}

static void
date_text(int64_t ms, char *out, size_t size)
{
    struct tm tm;
    time_t seconds = (time_t)(ms / 1000);
    if (gmtime_r(&seconds, &tm) == NULL ||
        strftime(out, size, "%a, %d %b %Y %H:%M:%S +0000", &tm) == 0)
        out[0] = '\0';
}

static bool
add(struct curl_slist **list, const char *name, const char *value)
{
    char line[HEADER * 4];
    int n = snprintf(line, sizeof line, "%s: %s", name, value);
    struct curl_slist *more =
        n > 0 && (size_t)n < sizeof line ? curl_slist_append(*list, line) : NULL;
    if (more != NULL)
        *list = more;
    return more != NULL;
}

static bool
join_to(const Knockbox__SendJob *job, char *out, size_t size)
{
    size_t used = 0;
    out[0] = '\0';
    for (size_t i = 0; i < job->n_to && used < size; i++)
        used += (size_t)snprintf(out + used, size - used, "%s%s", i > 0 ? ", " : "", job->to[i]);
    return used < size && job->n_to > 0;
}

static bool
fill_headers(const Knockbox__SendJob *job, struct curl_slist **list)
{
    char to[HEADER * 2], subject[SUBJECT], date[64], id[HEADER];
    if (!join_to(job, to, sizeof to))
        return false;
    if (is_ascii(job->subject))
        (void)snprintf(subject, sizeof subject, "%s", job->subject);
    else
        encode(job->subject, subject, sizeof subject);
    date_text(job->date_ms, date, sizeof date);
    (void)snprintf(id, sizeof id, "<%s>", job->message_id);
    const char *const lines[][2] = {
        {"From", job->from}, {"To", to},         {"Subject", subject},
        {"Date", date},      {"Message-ID", id}, {"Auto-Submitted", "auto-generated"},
    };
    bool fine = true;
    for (size_t i = 0; fine && i < sizeof lines / sizeof lines[0]; i++)
        fine = add(list, lines[i][0], lines[i][1]);
    return fine;
}

/* What goes into a header or an envelope must be one line. */
static const char *
injection(const Knockbox__SendJob *job)
{
    const char *const texts[] = {job->from, job->subject, job->message_id};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if (!send_is_line(texts[i]))
            return i == 0 ? "from" : i == 1 ? "subject" : "message id";
    for (size_t i = 0; i < job->n_to; i++)
        if (!send_is_line(job->to[i]) || strpbrk(job->to[i], " <>,") != NULL)
            return "to";
    for (size_t i = 0; i < job->n_files; i++)
        if (!send_is_line(job->files[i]->name) || !send_is_line(job->files[i]->media))
            return "name of a file";
    return NULL;
}

/* ---------------------------------------------------------------- the mail */

static bool
add_text(curl_mime *mime, const char *text)
{
    curl_mimepart *part = curl_mime_addpart(mime);
    return part != NULL && curl_mime_data(part, text, CURL_ZERO_TERMINATED) == CURLE_OK &&
           curl_mime_type(part, "text/plain; charset=utf-8") == CURLE_OK &&
           curl_mime_encoder(part, "quoted-printable") == CURLE_OK;
}

static bool
add_file(curl_mime *mime, const Knockbox__OutboxFile *file)
{
    curl_mimepart *part = curl_mime_addpart(mime);
    return part != NULL &&
           curl_mime_data(part, (const char *)file->content.data, file->content.len) == CURLE_OK &&
           curl_mime_type(part, file->media) == CURLE_OK &&
           curl_mime_filename(part, file->name) == CURLE_OK &&
           curl_mime_encoder(part, "base64") == CURLE_OK;
}

static bool
fill_parts(const Knockbox__SendJob *job, curl_mime *mime)
{
    bool fine = mime != NULL && add_text(mime, job->text != NULL ? job->text : "");
    for (size_t i = 0; fine && i < job->n_files; i++)
        fine = add_file(mime, job->files[i]);
    return fine;
}

/* 5xx is meant for good, save where a password or the moment is the reason. */
static enum send_end
judge(struct sending *s, CURLcode code)
{
    long reply = 0;
    if (code == CURLE_OK)
        return SEND_SENT;
    (void)curl_easy_getinfo(s->curl, CURLINFO_RESPONSE_CODE, &reply);
    enum send_end end = send_failed(s, code);
    bool for_good = reply >= 500 && reply <= 599 && code != CURLE_LOGIN_DENIED && reply != 535 &&
                    reply != 530 && reply != 534;
    return for_good ? SEND_NEVER : end;
}

static enum send_end
perform(struct sending *s, struct curl_slist *headers, struct curl_slist *to, curl_mime *mime)
{
    CURLcode code = curl_easy_setopt(s->curl, CURLOPT_MAIL_FROM, s->job->from);
    if (code == CURLE_OK)
        code = curl_easy_setopt(s->curl, CURLOPT_MAIL_RCPT, to);
    if (code == CURLE_OK)
        code = curl_easy_setopt(s->curl, CURLOPT_HTTPHEADER, headers);
    if (code == CURLE_OK)
        code = curl_easy_setopt(s->curl, CURLOPT_MIMEPOST, mime);
    if (code == CURLE_OK)
        code = curl_easy_perform(s->curl);
    return judge(s, code);
}

enum send_end
send_mail(struct sending *s)
{
    const Knockbox__SendJob *job = s->job;
    const char *bad = injection(job);
    struct curl_slist *headers = NULL, *to = NULL;
    bool fine = true;
    if (bad != NULL)
        return send_refuse(s, "%s: expected one line without control characters", bad);
    if (!send_prepare(s, job->url, strncmp(job->url, "smtps", 5) == 0 ? "smtps" : "smtp"))
        return SEND_LATER;
    for (size_t i = 0; fine && i < job->n_to; i++) {
        struct curl_slist *more = curl_slist_append(to, job->to[i]);
        fine = more != NULL;
        to = fine ? more : to;
    }
    curl_mime *mime = curl_mime_init(s->curl);
    fine = fine && fill_headers(job, &headers) && fill_parts(job, mime);
    enum send_end end = fine ? perform(s, headers, to, mime) : send_failed(s, CURLE_OUT_OF_MEMORY);
    curl_slist_free_all(headers);
    curl_slist_free_all(to);
    curl_mime_free(mime);
    return end;
}
