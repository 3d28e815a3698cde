/* test_send.c - what knockbox-send refuses before it speaks to anybody.
 *
 * Header injection: common practice, no source (RFC 5322 section 2.2: a field is one line). */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "proto/outbox.pb-c.h"

/* The program's last line about these bytes. */
static void
ask(const void *bytes, size_t len, char out[512])
{
    char in[] = "/tmp/knockbox-send-XXXXXX", command[1024];
    int fd = mkstemp(in);
    cr_assert(fd >= 0 && write(fd, bytes, len) == (ssize_t)len);
    close(fd);
    snprintf(command, sizeof command, "'%s/knockbox-send' <%s", TEST_BIN, in);
    FILE *f = popen(command, "r");
    cr_assert(f != NULL);
    out[0] = '\0';
    while (fgets(out, 512, f) != NULL)
        ;
    pclose(f);
    unlink(in);
}

static void
send_job(const Knockbox__SendJob *job, char out[512])
{
    uint8_t bytes[4096];
    size_t len = knockbox__send_job__pack(job, bytes);
    ask(bytes, len, out);
}

/* A mail to a port that nobody listens on; each test spoils one thing. */
static Knockbox__SendJob
mail(char **to)
{
    Knockbox__SendJob job = KNOCKBOX__SEND_JOB__INIT;
    job.url = "smtps://127.0.0.1:9";
    job.from = "knockbox@saltmere.example";
    job.n_to = 1;
    job.to = to;
    job.subject = "Knockbox report";
    job.message_id = "1@saltmere.example";
    job.has_connect_ms = job.has_total_ms = true;
    job.connect_ms = job.total_ms = 1000;
    return job;
}

Test(send, a_line_feed_in_any_header_is_refused_for_good)
{
    char *to[] = {"office@saltmere.example"}, *bad_to[] = {"a@b\r\nRCPT TO:<x@y>"};
    char out[512];
    Knockbox__SendJob job = mail(to);
    job.subject = "Knockbox\r\nBcc: all@saltmere.example";
    send_job(&job, out);
    cr_expect(strncmp(out, "never subject", 13) == 0, "%s", out);
    job = mail(to);
    job.from = "a@b\nX: y";
    send_job(&job, out);
    cr_expect(strncmp(out, "never from", 10) == 0, "%s", out);
    job = mail(bad_to);
    send_job(&job, out);
    cr_expect(strncmp(out, "never to", 8) == 0, "%s", out);
    Knockbox__OutboxFile file = KNOCKBOX__OUTBOX_FILE__INIT, *files[] = {&file};
    file.name = "a.txt\"\r\nX: y";
    file.media = "text/plain";
    job = mail(to);
    job.n_files = 1;
    job.files = files;
    send_job(&job, out);
    cr_expect(strncmp(out, "never name", 10) == 0, "%s", out);
}

Test(send, a_name_that_leads_elsewhere_is_refused)
{
    char out[512];
    Knockbox__SendJob job = mail(NULL);
    Knockbox__OutboxFile file = KNOCKBOX__OUTBOX_FILE__INIT, *files[] = {&file};
    job.n_to = 0;
    job.url = "https://127.0.0.1:9/in/";
    job.method = "PUT";
    job.n_files = 1;
    job.files = files;
    file.name = "../etc";
    file.media = "text/plain";
    send_job(&job, out);
    cr_expect(strncmp(out, "never", 5) == 0, "%s", out);
}

Test(send, nobody_there_is_tried_later_and_other_ways_are_refused)
{
    char *to[] = {"office@saltmere.example"};
    char out[512];
    Knockbox__SendJob job = mail(to);
    send_job(&job, out);
    cr_expect(strncmp(out, "later", 5) == 0, "%s", out);
    static char *const others[] = {"http://127.0.0.1/", "ftp://127.0.0.1/", "file:///etc/passwd",
                                   "telnet://127.0.0.1/", "gopher://127.0.0.1/"};
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
        job.url = others[i];
        send_job(&job, out);
        cr_expect(strncmp(out, "never", 5) == 0, "%s: %s", others[i], out);
    }
}

Test(send, nonsense_for_a_job_is_told_and_does_no_harm)
{
    char out[512];
    uint8_t bytes[4096];
    ask("\xff\xff\xff\xff hello", 10, out);
    cr_expect(strncmp(out, "later", 5) == 0, "%s", out);
    unsigned seed = 7;
    for (int round = 0; round < 20; round++) {
        for (size_t i = 0; i < sizeof bytes; i++)
            bytes[i] = (uint8_t)((seed = seed * 1103515245 + 12345) >> 16);
        ask(bytes, sizeof bytes, out);
        cr_expect(strncmp(out, "later", 5) == 0 || strncmp(out, "never", 5) == 0, "%s", out);
    }
}
