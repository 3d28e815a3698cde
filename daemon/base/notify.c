/* notify.c - the notify protocol in a page, without libsystemd. */
#include "daemon/base/notify.h"

#include <errno.h>
#include <inttypes.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

static void
tell(const char *message)
{
    const char *path = getenv("NOTIFY_SOCKET");
    struct sockaddr_un to = {.sun_family = AF_UNIX};
    size_t len = path != NULL ? strlen(path) : 0;
    if (len < 2 || len >= sizeof to.sun_path || (path[0] != '/' && path[0] != '@'))
        return;
    memcpy(to.sun_path, path, len);
    if (path[0] == '@')
        to.sun_path[0] = '\0'; /* abstract socket */
    int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (fd < 0)
        return;
    socklen_t size = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + len);
    (void)sendto(fd, message, strlen(message), MSG_NOSIGNAL, (struct sockaddr *)&to, size);
    (void)close(fd); /* readiness is a courtesy: nothing to do when it fails */
}

void
notify_ready(void)
{
    static const char line[] = "ready\n";
    while (write(STDERR_FILENO, line, sizeof line - 1) < 0 && errno == EINTR)
        continue;
    tell("READY=1");
}

void
notify_stopping(void)
{
    tell("STOPPING=1");
}

void
notify_reloading(void)
{
    struct timespec t = {0};
    char message[96];
    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    int64_t us = (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
    (void)snprintf(message, sizeof message, "RELOADING=1\nMONOTONIC_USEC=%" PRId64, us);
    tell(message);
}

void
notify_reloaded(void)
{
    tell("READY=1");
}

void
notify_status(const char *text)
{
    char message[256];
    (void)snprintf(message, sizeof message, "STATUS=%s", text);
    tell(message);
}

void
notify_alive(void)
{
    tell("WATCHDOG=1");
}

uint32_t
notify_alive_every_ms(void)
{
    const char *text = getenv("WATCHDOG_USEC");
    const char *pid = getenv("WATCHDOG_PID");
    if (text == NULL || (pid != NULL && strtol(pid, NULL, 10) != (long)getpid()))
        return 0;
    unsigned long long us = strtoull(text, NULL, 10);
    return us > 0 && us / 2000 < UINT32_MAX ? (uint32_t)(us / 2000) + 1 : 0;
}
