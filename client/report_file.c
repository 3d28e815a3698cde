/* report_file.c - the print of a report into its file; a spreadsheet by way of knockbox-sheet. */
#include "client/report_file.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>
#include "client/beside.h"

static enum err
failed(const char *what, struct err_text *why)
{
    return err_set(ERR_IO, why, "%.300s: %s", what, strerror(errno));
}

static enum err
write_all(int fd, const char *what, const char *bytes, size_t len, struct err_text *why)
{
    while (len > 0) {
        ssize_t n = write(fd, bytes, len);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return failed(what, why);
        bytes += n;
        len -= (size_t)n;
    }
    return ERR_OK;
}

/* ---- knockbox-sheet */

/* The tables in a file of memory, which the program reads to its end. */
static enum err
make_sheet(const char *tables, int out, struct err_text *why)
{
    int in = memfd_create("tables", MFD_CLOEXEC);
    if (in < 0)
        return failed("memory for the tables", why);
    enum err e = write_all(in, "memory for the tables", tables, strlen(tables), why);
    if (e == ERR_OK && lseek(in, 0, SEEK_SET) != 0)
        e = failed("memory for the tables", why);
    if (e == ERR_OK)
        e = beside_run("knockbox-sheet", in, out, why);
    (void)close(in);
    return e;
}

/* ---- the file */

static enum err
fill(int fd, const char *what, const char *text, bool tables, struct err_text *why)
{
    return tables ? make_sheet(text, fd, why) : write_all(fd, what, text, strlen(text), why);
}

/* A new file beside `path`, with the rights that a new file has. */
static int
open_beside(const char *path, char beside[PATH_MAX])
{
    if (snprintf(beside, PATH_MAX, "%s.XXXXXX", path) >= PATH_MAX) {
        errno = ENAMETOOLONG;
        return -1;
    }
    mode_t mask = umask(0);
    (void)umask(mask);
    int fd = mkostemp(beside, O_CLOEXEC);
    if (fd >= 0)
        (void)fchmod(fd, 0666 & ~mask);
    return fd;
}

/* A pipe, a terminal or a device is written as it is. */
static bool
is_special(const char *path)
{
    struct stat s;
    return stat(path, &s) == 0 && !S_ISREG(s.st_mode);
}

static enum err
put_special(const char *path, const char *text, bool tables, struct err_text *why)
{
    int fd = open(path, O_WRONLY | O_CLOEXEC | O_NOCTTY);
    if (fd < 0)
        return failed(path, why);
    enum err e = fill(fd, path, text, tables, why);
    return close(fd) == 0 || e != ERR_OK ? e : failed(path, why);
}

enum err
report_put(const char *path, const char *text, bool tables, struct err_text *why)
{
    char beside[PATH_MAX];
    if (path == NULL)
        return fill(STDOUT_FILENO, "stdout", text, tables, why);
    if (is_special(path))
        return put_special(path, text, tables, why);
    int fd = open_beside(path, beside);
    if (fd < 0)
        return failed(path, why);
    enum err e = fill(fd, path, text, tables, why);
    if (close(fd) != 0 && e == ERR_OK)
        e = failed(path, why);
    if (e == ERR_OK && rename(beside, path) != 0)
        e = failed(path, why);
    if (e != ERR_OK)
        (void)unlink(beside);
    return e;
}
