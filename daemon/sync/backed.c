/* backed.c - how far each log stands in a backup, as a file. */
#include "daemon/sync/backed.h"

#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/folder.h"

enum {
    HEX = MARK_SIZE * 2 + 1
};

static char *
print_mark(const uint8_t mark[MARK_SIZE], char out[HEX])
{
    return sodium_bin2hex(out, HEX, mark, MARK_SIZE);
}

static bool
read_mark(const char *text, uint8_t out[MARK_SIZE])
{
    size_t len = 0;
    return strlen(text) == HEX - 1 &&
           sodium_hex2bin(out, MARK_SIZE, text, HEX - 1, NULL, &len, NULL) == 0 && len == MARK_SIZE;
}

enum err
backed_write(const char *dir, const struct backed *backed, struct err_text *why)
{
    char *text = NULL, hex[HEX];
    size_t len = 0;
    FILE *out = open_memstream(&text, &len);
    if (out == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    (void)fprintf(out, "made %" PRId64 "\ngeneration %s\n", backed->made_ms,
                  print_mark(backed->generation, hex));
    for (size_t i = 0; i < backed->n; i++)
        (void)fprintf(out, "%" PRIu64 " %" PRIu32 " %s %s\n", backed->marks[i].seq,
                      backed->marks[i].epoch, print_mark(backed->marks[i].mark, hex),
                      backed->marks[i].site);
    enum err e = fclose(out) == 0 ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    if (e == ERR_OK && len > FILE_MOST)
        e = err_set(ERR_FULL, why, "there are too many logs to say how far each is backed up");
    if (e == ERR_OK)
        e = file_write(dir, BACKED_FILE, text, len, 0600, why);
    free(text);
    return e;
}

static bool
take_line(struct backed *backed, const char *line)
{
    struct log_mark *mark = &backed->marks[backed->n];
    char hex[HEX + 1] = "";
    int at = 0;
    if (sscanf(line, "made %" SCNd64 "%n", &backed->made_ms, &at) == 1)
        return line[at] == '\0';
    if (sscanf(line, "generation %17s%n", hex, &at) == 1)
        return line[at] == '\0' && read_mark(hex, backed->generation);
    memset(mark, 0, sizeof *mark);
    if (sscanf(line, "%" SCNu64 " %" SCNu32 " %17s %n", &mark->seq, &mark->epoch, hex, &at) != 3 ||
        !read_mark(hex, mark->mark) || line[at] == '\0' || strlen(line + at) >= SITE_SIZE)
        return false;
    (void)snprintf(mark->site, sizeof mark->site, "%s", line + at);
    backed->n++;
    return true;
}

static enum err
take_lines(const char *dir, char *text, struct backed *out, struct err_text *why)
{
    char *rest = NULL;
    size_t lines = 1;
    for (const char *c = text; *c != '\0'; c++)
        lines += *c == '\n';
    out->marks = calloc(lines, sizeof *out->marks);
    if (out->marks == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    for (char *line = strtok_r(text, "\n", &rest); line != NULL; line = strtok_r(NULL, "\n", &rest))
        if (!take_line(out, line))
            return err_set(ERR_DAMAGED, why, "%.200s/%s has a line that makes no sense", dir,
                           BACKED_FILE);
    return ERR_OK;
}

enum err
backed_read(const char *dir, struct backed *out, struct err_text *why)
{
    char path[PATH_SIZE];
    char *text = NULL;
    size_t len = 0;
    memset(out, 0, sizeof *out);
    enum err e = path_join(dir, BACKED_FILE, path, why);
    if (e == ERR_OK)
        e = file_read(path, &text, &len, why);
    if (e != ERR_OK)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    e = take_lines(dir, text, out, why);
    free(text);
    if (e != ERR_OK)
        backed_done(out);
    return e;
}

void
backed_done(struct backed *backed)
{
    free(backed->marks);
    memset(backed, 0, sizeof *backed);
}

uint64_t
backed_seq(const struct backed *backed, const char *site, const struct log_mark *log)
{
    for (size_t i = 0; i < backed->n; i++) {
        const struct log_mark *mark = &backed->marks[i];
        if (mark->epoch == log->epoch && memcmp(mark->mark, log->mark, MARK_SIZE) == 0 &&
            strcmp(mark->site, site) == 0)
            return mark->seq;
    }
    return 0;
}

uint64_t
backed_count(const struct backed *backed, const char *site)
{
    uint64_t n = 0;
    for (size_t i = 0; i < backed->n; i++)
        if (strcmp(backed->marks[i].site, site) == 0)
            n += backed->marks[i].seq;
    return n;
}
