/* send_curl.c - what holds for every transfer: who may be spoken to, how long, how much. */
#include "daemon/exchange/send.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    SLOW_BYTES_S = 10, /* slower than this */
    SLOW_S = 30        /* for so long: given up */
};

bool
send_is_line(const char *text)
{
    for (const char *c = text; c != NULL && *c != '\0'; c++)
        if ((unsigned char)*c < ' ' || *c == 0x7F)
            return false;
    return text != NULL;
}

/* Answers are not wanted; one without end ends the transfer. */
static size_t
drop_answer(char *bytes, size_t size, size_t n, void *owner)
{
    struct sending *s = owner;
    (void)bytes;
    s->answered += size * n;
    return s->answered <= SEND_ANSWER_MOST ? size * n : 0;
}

static CURLcode
set_numbers(CURL *curl, const Knockbox__SendJob *job)
{
    const struct {
        CURLoption option;
        long value;
    } numbers[] = {
        {CURLOPT_NOSIGNAL, 1},
        {CURLOPT_NETRC, CURL_NETRC_IGNORED},
        {CURLOPT_FOLLOWLOCATION, 0},
        {CURLOPT_CONNECTTIMEOUT_MS, (long)job->connect_ms},
        {CURLOPT_TIMEOUT_MS, (long)job->total_ms},
        {CURLOPT_LOW_SPEED_LIMIT, SLOW_BYTES_S},
        {CURLOPT_LOW_SPEED_TIME, SLOW_S},
        {CURLOPT_MAXFILESIZE, SEND_ANSWER_MOST},
        {CURLOPT_SSL_VERIFYPEER, 1},
        {CURLOPT_SSL_VERIFYHOST, 2},
        {CURLOPT_SSLVERSION, CURL_SSLVERSION_TLSv1_2},
        {CURLOPT_USE_SSL, job->insecure ? CURLUSESSL_NONE : CURLUSESSL_ALL},
        {CURLOPT_HTTP_VERSION, CURL_HTTP_VERSION_1_1},
        {CURLOPT_FORBID_REUSE, 1},
    };
    CURLcode code = CURLE_OK;
    for (size_t i = 0; code == CURLE_OK && i < sizeof numbers / sizeof numbers[0]; i++)
        code = curl_easy_setopt(curl, numbers[i].option, numbers[i].value);
    return code;
}

static CURLcode
set_texts(CURL *curl, const Knockbox__SendJob *job, const char *url, const char *protocols)
{
    const struct {
        CURLoption option;
        const char *value; /* NULL: as it is */
    } texts[] = {
        {CURLOPT_URL, url},
        {CURLOPT_PROTOCOLS_STR, protocols},
        {CURLOPT_REDIR_PROTOCOLS_STR, "https"},
        {CURLOPT_PROXY, ""}, /* none, whatever the environment says */
        {CURLOPT_CAINFO, job->ca_file},
        {CURLOPT_USERNAME, job->user},
        {CURLOPT_PASSWORD, job->password},
        {CURLOPT_USERAGENT, "knockbox/" KNOCKBOX_VERSION},
    };
    CURLcode code = CURLE_OK;
    for (size_t i = 0; code == CURLE_OK && i < sizeof texts / sizeof texts[0]; i++)
        if (texts[i].value != NULL)
            code = curl_easy_setopt(curl, texts[i].option, texts[i].value);
    return code;
}

bool
send_prepare(struct sending *s, const char *url, const char *protocols)
{
    if (s->curl != NULL)
        curl_easy_cleanup(s->curl); /* nothing goes over from one file to the next */
    s->curl = curl_easy_init();
    s->answered = 0;
    s->error[0] = '\0';
    CURLcode code = s->curl != NULL ? set_numbers(s->curl, s->job) : CURLE_OUT_OF_MEMORY;
    if (code == CURLE_OK)
        code = set_texts(s->curl, s->job, url, protocols);
    if (code == CURLE_OK)
        code = curl_easy_setopt(s->curl, CURLOPT_ERRORBUFFER, s->error);
    if (code == CURLE_OK)
        code = curl_easy_setopt(s->curl, CURLOPT_WRITEFUNCTION, drop_answer);
    if (code == CURLE_OK)
        code = curl_easy_setopt(s->curl, CURLOPT_WRITEDATA, s);
    if (code != CURLE_OK)
        (void)send_failed(s, code);
    return code == CURLE_OK;
}

enum send_end
send_failed(struct sending *s, CURLcode code)
{
    if (s->answered > SEND_ANSWER_MOST)
        (void)snprintf(s->words, sizeof s->words, "the server answers without end");
    else
        (void)snprintf(s->words, sizeof s->words, "%s (%d)",
                       s->error[0] != '\0' ? s->error : curl_easy_strerror(code), (int)code);
    for (char *c = s->words; *c != '\0'; c++)
        if (*c == '\n' || *c == '\r')
            *c = ' '; /* one line */
    return SEND_LATER;
}

enum send_end
send_refuse(struct sending *s, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    (void)vsnprintf(s->words, sizeof s->words, format, args);
    va_end(args);
    return SEND_NEVER;
}

static size_t
give_bytes(char *to, size_t size, size_t n, void *owner)
{
    struct source *source = owner;
    size_t room = size * n, left = source->len - source->at;
    size_t give = left < room ? left : room;
    memcpy(to, source->bytes + source->at, give);
    source->at += give;
    return give;
}

static int
seek_bytes(void *owner, curl_off_t offset, int origin)
{
    struct source *source = owner;
    if (origin != SEEK_SET || offset < 0 || (size_t)offset > source->len)
        return CURL_SEEKFUNC_CANTSEEK;
    source->at = (size_t)offset;
    return CURL_SEEKFUNC_OK;
}

void
send_source(struct sending *s, struct source *source)
{
    (void)curl_easy_setopt(s->curl, CURLOPT_UPLOAD, 1L);
    (void)curl_easy_setopt(s->curl, CURLOPT_READFUNCTION, give_bytes);
    (void)curl_easy_setopt(s->curl, CURLOPT_READDATA, source);
    (void)curl_easy_setopt(s->curl, CURLOPT_SEEKFUNCTION, seek_bytes);
    (void)curl_easy_setopt(s->curl, CURLOPT_SEEKDATA, source);
    (void)curl_easy_setopt(s->curl, CURLOPT_INFILESIZE_LARGE, (curl_off_t)source->len);
}
