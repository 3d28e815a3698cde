/* test_confine.c - what a confined process can still do and what not. Each try is in a process of its
 * own, for no way leads back. Sources: seccomp(2), landlock(7). */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <sched.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mount.h>
#include <sys/mman.h>
#include <sys/ptrace.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

#include "daemon/base/confine.h"

static char inside[64], outside[64];

static void
begin(void)
{
    strcpy(inside, "/tmp/knockbox-test-XXXXXX");
    strcpy(outside, "/tmp/knockbox-test-XXXXXX");
    cr_assert(mkdtemp(inside) != NULL && mkdtemp(outside) != NULL);
}

static void
end(void)
{
    char path[128];
    snprintf(path, sizeof path, "%s/file", inside);
    unlink(path);
    snprintf(path, sizeof path, "%s/file", outside);
    unlink(path);
    rmdir(inside);
    rmdir(outside);
}

TestSuite(confine, .init = begin, .fini = end, .timeout = 20);

enum {
    CALLS = 1,
    FILES = 2,
    FAILED = 255
};

/* What holds in a child, or the errno of `act` there (0: it went well). */
static int
in_child(const char *program, int (*act)(void))
{
    pid_t pid = fork();
    if (pid == 0) {
        struct confine_options options = {.folders = {inside}, .program = program};
        struct confined confined = {false, false};
        if (confine(&options, &confined, NULL) != ERR_OK)
            _exit(FAILED);
        _exit(act != NULL ? act() : confined.calls * CALLS + confined.files * FILES);
    }
    int status = 0;
    cr_assert(waitpid(pid, &status, 0) == pid && WIFEXITED(status));
    cr_assert(ne(int, WEXITSTATUS(status), FAILED));
    return WEXITSTATUS(status);
}

static bool
holds(int what)
{
    return (in_child(NULL, NULL) & what) != 0;
}

static int
code_of(long result)
{
    return result < 0 ? errno : 0;
}

static int
try_ptrace(void)
{
    return code_of(ptrace(PTRACE_TRACEME, 0, NULL, NULL));
}
static int
try_mount(void)
{
    return code_of(mount("none", inside, "tmpfs", 0, NULL));
}
static int
try_unshare(void)
{
    return code_of(unshare(CLONE_NEWUSER));
}
static int
try_bpf(void)
{
    return code_of(syscall(SYS_bpf, 0, NULL, 0));
}
static int
try_setuid(void)
{
    return code_of(syscall(SYS_setuid, getuid()));
}
static int
try_uring(void)
{
    return code_of(syscall(SYS_io_uring_setup, 0, NULL));
}
static int
try_raw(void)
{
    return code_of(socket(AF_PACKET, SOCK_RAW, 0));
}
static int
try_vsock(void)
{
    return code_of(socket(AF_VSOCK, SOCK_STREAM, 0));
}
static int
try_inet(void)
{
    return code_of(socket(AF_INET6, SOCK_STREAM, 0));
}
static int
try_unix(void)
{
    return code_of(socket(AF_UNIX, SOCK_SEQPACKET, 0));
}

static int
try_start(void)
{
    char *const argv[] = {"/bin/true", NULL};
    return code_of(execv("/bin/true", argv));
}

static int
try_start_shell(void)
{
    char *const argv[] = {"/bin/sh", "-c", "exit 0", NULL};
    return code_of(execv("/bin/sh", argv));
}

static int
make_file(const char *folder)
{
    char path[128];
    snprintf(path, sizeof path, "%s/file", folder);
    return code_of(open(path, O_WRONLY | O_CREAT, 0600));
}

static int
try_inside(void)
{
    return make_file(inside);
}
static int
try_outside(void)
{
    return make_file(outside);
}

static int
try_read(void)
{
    return code_of(open("/etc/passwd", O_RDONLY));
}

static void *
nothing(void *arg)
{
    return arg;
}

static int
try_usual(void)
{
    pthread_t thread;
    int rc = pthread_create(&thread, NULL, nothing, NULL);
    void *map = mmap(NULL, 4096, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    return rc != 0 ? rc : map == MAP_FAILED ? errno : pthread_join(thread, NULL);
}

Test(confine, what_no_daemon_needs_is_refused)
{
    static const struct {
        const char *name;
        int (*act)(void);
    } rows[] = {{"ptrace", try_ptrace},  {"mount", try_mount},   {"unshare", try_unshare},
                {"bpf", try_bpf},        {"setuid", try_setuid}, {"io_uring", try_uring},
                {"raw socket", try_raw}, {"vsock", try_vsock},   {"start a program", try_start}};
    if (!holds(CALLS))
        cr_skip_test("this kernel has no seccomp filter");
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_expect(eq(int, in_child(NULL, rows[i].act), EPERM), "%s", rows[i].name);
}

Test(confine, what_daemons_do_goes_on)
{
    static const struct {
        const char *name;
        int (*act)(void);
    } rows[] = {{"network", try_inet},
                {"people's socket", try_unix},
                {"threads and memory", try_usual},
                {"a file in its folder", try_inside},
                {"reading", try_read}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_expect(eq(int, in_child(NULL, rows[i].act), 0), "%s", rows[i].name);
}

Test(confine, files_are_written_in_its_folder_only)
{
    if (!holds(FILES))
        cr_skip_test("this kernel has no Landlock");
    cr_expect(eq(int, in_child(NULL, try_outside), EACCES));
}

Test(confine, only_the_named_program_is_started)
{
    cr_expect(eq(int, in_child("/bin/true", try_start), 0));
    if (!holds(FILES))
        cr_skip_test("this kernel has no Landlock");
    cr_expect(eq(int, in_child("/bin/true", try_start_shell), EACCES));
}
