/* send_main.c - knockbox-send: takes one job (SendJob) from standard input, sends it, says how it
 * went on standard output, and ends. Started by knockbox-hub; nothing else links libcurl.
 *
 * Arguments and environment hold nothing of the job.
 */
#include "daemon/exchange/send.h"

#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <unistd.h>

#include "daemon/base/process.h"
#include "daemon/exchange/sheet.h"

enum {
    JOB_MOST = 48 << 20,
    ROOM = 65536
};

/* Everything to the end; NULL: too much, or no memory. */
static uint8_t *
read_job(size_t *out_len)
{
    size_t room = ROOM, used = 0;
    uint8_t *bytes = malloc(room);
    for (;;) {
        if (used == room) {
            uint8_t *more = room < JOB_MOST ? realloc(bytes, room * 2) : NULL;
            if (more == NULL)
                break;
            bytes = more;
            room *= 2;
        }
        ssize_t n = bytes != NULL ? read(STDIN_FILENO, bytes + used, room - used) : -1;
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            break;
        if (n == 0) {
            *out_len = used;
            return bytes;
        }
        used += (size_t)n;
    }
    free(bytes);
    return NULL;
}

void
send_arrived(size_t files_done)
{
    (void)printf("file %zu\n", files_done);
    (void)fflush(stdout);
}

/* Spreadsheets come as their tables. */
static enum err
make_sheets(Knockbox__SendJob *job, struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < job->n_files; i++) {
        Knockbox__OutboxFile *file = job->files[i];
        uint8_t *bytes = NULL;
        size_t len = 0;
        if (!file->tables || i < job->files_done)
            continue;
        e = sheet_make(file->content.data, file->content.len, &bytes, &len, why);
        if (e != ERR_OK)
            continue;
        free(file->content.data);
        file->content = (ProtobufCBinaryData){len, bytes};
        file->has_size = true;
        file->size = len;
    }
    return e;
}

static const struct {
    const char *prefix;
    enum send_end (*send)(struct sending *s);
} ways[] = {
    {"smtp://", send_mail},
    {"smtps://", send_mail},
    {"https://", send_https},
    {"sftp://", send_sftp},
};

static enum send_end
carry_out(struct sending *s, Knockbox__SendJob *job)
{
    struct err_text why = {.s = ""};
    enum err e = make_sheets(job, &why);
    if (e != ERR_OK) {
        (void)snprintf(s->words, sizeof s->words, "%.300s", why.s);
        return e == ERR_INPUT ? SEND_NEVER : SEND_LATER;
    }
    const char *url = s->job->url != NULL ? s->job->url : "";
    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++)
        if (strncmp(url, ways[i].prefix, strlen(ways[i].prefix)) == 0)
            return ways[i].send(s);
    return send_refuse(s, "an address of an unknown kind");
}

int
main(void)
{
    static const char *const words[] = {
        [SEND_SENT] = "sent", [SEND_LATER] = "later", [SEND_NEVER] = "never"};
    static struct sending s;
    size_t len = 0;
    (void)prctl(PR_SET_PDEATHSIG, SIGKILL); /* whom to tell, when the hub is gone? */
    process_harden();
    uint8_t *bytes = read_job(&len);
    Knockbox__SendJob *job = bytes != NULL ? knockbox__send_job__unpack(NULL, len, bytes) : NULL;
    if (bytes != NULL)
        explicit_bzero(bytes, len);
    free(bytes);
    if (job == NULL || curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK) {
        (void)puts("later the job could not be read");
        return EXIT_FAILURE;
    }
    s.job = job;
    enum send_end end = carry_out(&s, job);
    (void)printf("%s %s\n", words[end], end == SEND_SENT ? "" : s.words);
    (void)fflush(stdout);
    curl_easy_cleanup(s.curl);
    curl_global_cleanup();
    knockbox__send_job__free_unpacked(job, NULL);
    return EXIT_SUCCESS;
}
