/* hub_accept.c - accept4() of the hub's program, for libzmq: it does not spin without descriptors.
 *
 * libzmq 4.3.4 goes back to epoll at once when accept4() says that there are no descriptors, and the
 * caller still waits: one processor for as long as that lasts. A program's own function comes before
 * the C library's (ld.so(8)), so this one is called; then libzmq's thread rests a moment. Those who are
 * connected are served between two rests; those who wait keep their place in the queue. The people's
 * door (a socket of this machine) knows by itself when to rest.
 */
#include <dlfcn.h>
#include <errno.h>
#include <stdbool.h>
#include <sys/socket.h>
#include <time.h>

enum {
    REST_MS = 20
};

static bool
is_local(int fd)
{
    int domain = 0;
    socklen_t size = sizeof domain;
    return getsockopt(fd, SOL_SOCKET, SO_DOMAIN, &domain, &size) == 0 && domain == AF_UNIX;
}

typedef int accept_fn(int fd, struct sockaddr *addr, socklen_t *len, int flags);

int
accept4(int fd, struct sockaddr *addr, socklen_t *len, int flags)
{
    static _Atomic(accept_fn *) next;
    accept_fn *real = next;
    if (real == NULL) {
        *(void **)&real = dlsym(RTLD_NEXT, "accept4"); /* as dlsym(3) has it */
        next = real;
    }
    int got = real(fd, addr, len, flags);
    int code = errno;
    if (got < 0 && (code == EMFILE || code == ENFILE) && !is_local(fd)) {
        struct timespec rest = {.tv_nsec = REST_MS * 1000000L};
        (void)nanosleep(&rest, NULL);
    }
    errno = code;
    return got;
}
