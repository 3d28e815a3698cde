/* send.h - inside of knockbox-send: one job from its standard input, carried out with libcurl.
 */
#ifndef DAEMON_EXCHANGE_SEND_H
#define DAEMON_EXCHANGE_SEND_H

#include <curl/curl.h>
#include <stdbool.h>
#include <stddef.h>
#include "proto/err.h"
#include "proto/outbox.pb-c.h"

enum send_end {
    SEND_SENT,
    SEND_LATER,
    SEND_NEVER,
};

enum {
    SEND_WORDS = 400,
    SEND_ANSWER_MOST = 65536 /* bytes of an answer that are borne */
};

struct sending {
    const Knockbox__SendJob *job;
    CURL *curl;
    char words[SEND_WORDS];      /* why it failed */
    char error[CURL_ERROR_SIZE]; /* libcurl's */
    size_t answered;             /* bytes of the answer so far */
};

/* Each carries the whole job out; "file N" is said on the way. */
enum send_end send_mail(struct sending *s);
enum send_end send_https(struct sending *s);
enum send_end send_sftp(struct sending *s);

/* A fresh handle with what holds for every way: `protocols` as libcurl names them, TLS verified,
 * times, sizes, no proxy, no signals, answers capped. false: no memory, or libcurl cannot. */
bool send_prepare(struct sending *s, const char *url, const char *protocols);
/* One failure that is not the server's: LATER with libcurl's words. */
enum send_end send_failed(struct sending *s, CURLcode code);
/* NEVER with these words. */
enum send_end send_refuse(struct sending *s, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* There, and without CR, LF and other control bytes: fit for a line of a header. */
bool send_is_line(const char *text);

/* Bytes to upload, as libcurl asks for them. */
struct source {
    const uint8_t *bytes;
    size_t len, at;
};
void send_source(struct sending *s, struct source *source);

/* "file N": so many have arrived. */
void send_arrived(size_t files_done);

#endif
