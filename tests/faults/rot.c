/* rot.c - a store whose file is changed bit by bit: found, or harmless; never a crash, never other
 * bytes shown as right.
 *
 *   rot STORE     STORE is a closed store in a folder of its own, which is changed and put back
 * Lines on stdin: `flip BIT`, `cut BYTES`; an answer on stdout for each: `found WORDS`, `harmless`
 * or `WRONG WORDS`. It may die: the driver starts it again behind the line that did it.
 */
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/store/store.h"

enum {
    RECORDS_MOST = 1000
};

static uint8_t hashes[RECORDS_MOST][HASH_SIZE];
static uint64_t records;

/* Every record by its arrival number; `fill`: remembered, else compared. */
static bool
read_all(struct store *store, bool fill, struct err_text *why)
{
    struct store_view *view = NULL;
    struct stored stored;
    bool fine = store_look(store, &view, why) == ERR_OK;
    if (fine && fill)
        records = store_last(view);
    fine = fine && store_last(view) == records && records < RECORDS_MOST;
    for (uint64_t n = 1; fine && n <= records; n++) {
        fine = store_get(view, n, &stored, why) == ERR_OK;
        if (fine && fill)
            memcpy(hashes[n], stored.hash, HASH_SIZE);
        fine = fine && memcmp(hashes[n], stored.hash, HASH_SIZE) == 0;
    }
    store_done(&view);
    return fine;
}

/* Opens for reading, walks every chain, reads every record. */
static void
judge(const char *dir, bool fill)
{
    struct store_options options = {.read_only = true, .clock = clock_system()};
    struct err_text why = {.s = ""};
    struct store *store = NULL;
    uint64_t checked = 0;
    enum err e = store_open(dir, &options, &store, &why);
    if (e == ERR_OK)
        e = store_verify(store, &checked, &why);
    bool same = e == ERR_OK && read_all(store, fill, &why);
    store_close(store);
    if (e == ERR_OK && same)
        (void)printf("harmless\n");
    else if (why.s[0] != '\0')
        (void)printf("found %.100s\n", why.s);
    else
        (void)printf("WRONG other records, and not a word\n");
    (void)fflush(stdout);
}

static void
flip(int fd, uint64_t bit)
{
    uint8_t byte = 0;
    if (pread(fd, &byte, 1, (off_t)(bit / 8)) != 1)
        exit(3);
    byte ^= (uint8_t)(1 << bit % 8);
    if (pwrite(fd, &byte, 1, (off_t)(bit / 8)) != 1)
        exit(3);
}

static void
cut(int fd, const char *dir, uint64_t bytes)
{
    struct stat st;
    if (fstat(fd, &st) != 0 || (uint64_t)st.st_size <= bytes)
        exit(3);
    size_t len = (size_t)st.st_size - bytes;
    uint8_t *tail = malloc(len);
    if (tail == NULL || pread(fd, tail, len, (off_t)bytes) != (ssize_t)len ||
        ftruncate(fd, (off_t)bytes) != 0)
        exit(3);
    judge(dir, false);
    if (pwrite(fd, tail, len, (off_t)bytes) != (ssize_t)len)
        exit(3);
    free(tail);
}

int
main(int argc, char **argv)
{
    char path[4096], line[64];
    uint64_t n = 0;
    if (argc != 2 || snprintf(path, sizeof path, "%s/data.mdb", argv[1]) >= (int)sizeof path)
        return 2;
    int fd = open(path, O_RDWR | O_CLOEXEC);
    if (fd < 0)
        return 2;
    judge(argv[1], true);
    while (fgets(line, sizeof line, stdin) != NULL) {
        if (sscanf(line, "flip %" SCNu64, &n) == 1) {
            flip(fd, n);
            judge(argv[1], false);
            flip(fd, n);
        } else if (sscanf(line, "cut %" SCNu64, &n) == 1) {
            cut(fd, argv[1], n);
        }
    }
    return close(fd) == 0 ? 0 : 1;
}
