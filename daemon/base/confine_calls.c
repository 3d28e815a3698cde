/* confine_calls.c - the seccomp filter: which system calls fail with EPERM. */
#include "daemon/base/confine_int.h"

#include <errno.h>
#include <linux/audit.h>
#include <linux/filter.h>
#include <linux/seccomp.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/syscall.h>
#include <unistd.h>

#if defined(__x86_64__)
#define MACHINE AUDIT_ARCH_X86_64
#elif defined(__aarch64__)
#define MACHINE AUDIT_ARCH_AARCH64
#endif

#ifdef MACHINE

enum {
    X32_BIT = 0x40000000, /* x86-64: the same calls by other numbers */
    STATEMENTS_MOST = 200
};

/* Other processes, the kernel itself, other users, other roots, raw memory. */
static const int denied[] = {
    SYS_ptrace,
    SYS_process_vm_readv,
    SYS_process_vm_writev,
    SYS_kcmp,
    SYS_pidfd_getfd,
    SYS_mount,
    SYS_umount2,
    SYS_pivot_root,
    SYS_chroot,
    SYS_setns,
    SYS_unshare,
    SYS_open_tree,
    SYS_move_mount,
    SYS_fsopen,
    SYS_fsconfig,
    SYS_fsmount,
    SYS_fspick,
    SYS_mount_setattr,
    SYS_init_module,
    SYS_finit_module,
    SYS_delete_module,
    SYS_kexec_load,
    SYS_reboot,
    SYS_swapon,
    SYS_swapoff,
    SYS_bpf,
    SYS_perf_event_open,
    SYS_userfaultfd,
    SYS_add_key,
    SYS_request_key,
    SYS_keyctl,
    SYS_io_uring_setup,
    SYS_io_uring_enter,
    SYS_io_uring_register,
    SYS_setuid,
    SYS_setgid,
    SYS_setreuid,
    SYS_setregid,
    SYS_setresuid,
    SYS_setresgid,
    SYS_setgroups,
    SYS_setfsuid,
    SYS_setfsgid,
    SYS_capset,
    SYS_acct,
    SYS_settimeofday,
    SYS_clock_settime,
    SYS_clock_adjtime,
    SYS_personality,
    SYS_mknodat,
    SYS_quotactl,
    SYS_fanotify_init,
    SYS_fanotify_mark,
    SYS_open_by_handle_at,
    SYS_move_pages,
    SYS_syslog,
    SYS_vhangup,
    SYS_sethostname,
    SYS_setdomainname,
    SYS_memfd_secret,
#ifdef SYS_kexec_file_load
    SYS_kexec_file_load,
#endif
#ifdef SYS_iopl
    SYS_iopl,
    SYS_ioperm,
#endif
#ifdef SYS_mknod
    SYS_mknod,
#endif
};

static const int starting[] = {SYS_execve, SYS_execveat};

/* Cafés, hubs and people come over these; names are looked up by the last. */
static const int families[] = {AF_UNIX, AF_INET, AF_INET6, AF_NETLINK};

struct program {
    struct sock_filter at[STATEMENTS_MOST];
    unsigned short n;
};

static void
add(struct program *p, uint16_t code, uint8_t yes, uint8_t no, uint32_t k)
{
    if (p->n < STATEMENTS_MOST)
        p->at[p->n++] = (struct sock_filter){code, yes, no, k};
}

static void
load(struct program *p, size_t offset)
{
    add(p, BPF_LD | BPF_W | BPF_ABS, 0, 0, (uint32_t)offset);
}

static void
answer(struct program *p, uint32_t action)
{
    add(p, BPF_RET | BPF_K, 0, 0, action);
}

static void
deny(struct program *p)
{
    answer(p, SECCOMP_RET_ERRNO | EPERM);
}

static void
deny_calls(struct program *p, const int *calls, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        add(p, BPF_JMP | BPF_JEQ | BPF_K, 0, 1, (uint32_t)calls[i]);
        deny(p);
    }
}

/* socket(): the first argument is one of `families`, or it is denied. Last: it reads another word. */
static void
check_sockets(struct program *p)
{
    enum {
        FAMILIES = sizeof families / sizeof families[0]
    };
    add(p, BPF_JMP | BPF_JEQ | BPF_K, 1, 0, SYS_socket);
    answer(p, SECCOMP_RET_ALLOW);
    load(p, offsetof(struct seccomp_data, args[0])); /* its low half: little-endian */
    for (int i = 0; i < FAMILIES; i++)
        add(p, BPF_JMP | BPF_JEQ | BPF_K, (uint8_t)(FAMILIES - i), 0, (uint32_t)families[i]);
    deny(p);
    answer(p, SECCOMP_RET_ALLOW);
}

static void
write_program(struct program *p, bool may_start)
{
    load(p, offsetof(struct seccomp_data, arch));
    add(p, BPF_JMP | BPF_JEQ | BPF_K, 1, 0, MACHINE);
    deny(p); /* calls by the numbers of another machine */
    load(p, offsetof(struct seccomp_data, nr));
#ifdef __x86_64__
    add(p, BPF_JMP | BPF_JGE | BPF_K, 0, 1, X32_BIT);
    deny(p);
#endif
    deny_calls(p, denied, sizeof denied / sizeof denied[0]);
    if (!may_start)
        deny_calls(p, starting, sizeof starting / sizeof starting[0]);
    check_sockets(p);
}

enum confine_result
confine_calls(bool may_start)
{
    struct program program = {.n = 0};
    write_program(&program, may_start);
    struct sock_fprog filter = {program.n, program.at};
    if (program.n == STATEMENTS_MOST)
        return CONFINE_REFUSED; /* the table above has grown */
    if (prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0 &&
        prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, &filter, 0, 0) == 0)
        return CONFINE_DONE;
    return errno == EINVAL || errno == ENOSYS ? CONFINE_LACKING : CONFINE_REFUSED;
}

#else

enum confine_result
confine_calls(bool may_start)
{
    (void)may_start;
    return CONFINE_LACKING; /* no table for this machine */
}

#endif
