/* process.c - limits and habits of a daemon's process. */
#include "daemon/base/process.h"

#include <fcntl.h>
#include <linux/close_range.h>
#include <signal.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define LEAKS_ARE_COUNTED 1
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define LEAKS_ARE_COUNTED 1
#endif
#endif

/* A file opened later must not land on stdout or stderr. */
static void
fill_standard_descriptors(void)
{
    /* NOLINTBEGIN(android-cloexec-open): they are for children as well */
    int fd = open("/dev/null", O_RDWR);
    while (fd >= 0 && fd <= 2)
        fd = open("/dev/null", O_RDWR);
    /* NOLINTEND(android-cloexec-open) */
    if (fd > 2)
        (void)close(fd);
}

/* What the parent left open goes no further than this process. */
static void
keep_descriptors_here(void)
{
    (void)close_range(3, ~0U, CLOSE_RANGE_CLOEXEC); /* a kernel before 5.11: helpers get them */
}

void
process_harden(void)
{
    struct rlimit none = {0, 0};
    fill_standard_descriptors();
    keep_descriptors_here();
    (void)umask(077);
    (void)setrlimit(RLIMIT_CORE, &none);
#ifndef LEAKS_ARE_COUNTED /* the leak checker reads its own process from outside */
    (void)prctl(PR_SET_DUMPABLE, 0, 0, 0, 0);
#endif
    (void)prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0);
    (void)signal(SIGPIPE, SIG_IGN);
}

bool
process_is_watched(void)
{
#ifdef LEAKS_ARE_COUNTED
    return true;
#else
    return false;
#endif
}

uint64_t
process_files(void)
{
    struct rlimit files = {0, 0};
    if (getrlimit(RLIMIT_NOFILE, &files) != 0)
        return 0;
    rlim_t want = files.rlim_max < 65536 ? files.rlim_max : 65536;
    if (files.rlim_cur < want) {
        struct rlimit more = {want, files.rlim_max};
        if (setrlimit(RLIMIT_NOFILE, &more) == 0)
            files.rlim_cur = want;
    }
    return (uint64_t)files.rlim_cur;
}
