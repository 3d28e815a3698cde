/* fault_rules.c - which call is struck, and how. */
#include "tests/faults/fault.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

enum {
    MOST_RULES = 32
};

static const char *const class_names[] = {"write", "sync", "trunc", "open",  "rename", "unlink",
                                          "mkdir", "mmap", "read",  "alloc", "sock"};

enum act {
    ACT_FAIL,
    ACT_SHORT,
    ACT_DELAY,
    ACT_KILL
};

static struct rule {
    char call[16];
    long from, to;
    int percent;
    enum act act;
    long value; /* errno, bytes or ms */
} rules[MOST_RULES];
static int n_rules;

/* In FAULT_STATE, of all processes; disk.py and the sweep read `met` first. */
static struct shared {
    _Atomic uint64_t met[MOST_RULES];
    _Atomic uint64_t grown;
    _Atomic uint64_t random;
} * shared;

static const char *quota;
bool fault_ready;
unsigned fault_classes;

void
fault_bad(const char *what, const char *arg)
{
    char text[300];
    int n = snprintf(text, sizeof text, "fault: %s: %s\n", what, arg != NULL ? arg : "");
    (void)syscall(SYS_write, 2, text, (size_t)n);
    _exit(119);
}

static int
error_of(const char *word)
{
    static const struct {
        const char *word;
        int error;
    } rows[] = {{"EIO", EIO},       {"ENOSPC", ENOSPC}, {"EDQUOT", EDQUOT}, {"EMFILE", EMFILE},
                {"ENFILE", ENFILE}, {"EROFS", EROFS},   {"ENOMEM", ENOMEM}, {"EINTR", EINTR},
                {"EACCES", EACCES}, {"EAGAIN", EAGAIN}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (strcmp(word, rows[i].word) == 0)
            return rows[i].error;
    return atoi(word);
}

static void
parse_when(struct rule *rule, const char *when)
{
    char *end = NULL;
    rule->from = 1;
    rule->to = LONG_MAX;
    if (*when == '%') {
        rule->percent = atoi(when + 1);
    } else if (*when != '*') {
        rule->from = strtol(when, &end, 10);
        if (*end != '+')
            rule->to = *end == '-' ? strtol(end + 1, NULL, 10) : rule->from;
        if (rule->from < 1)
            fault_bad("rule not understood", when);
    }
}

static void
parse_action(struct rule *rule, const char *action)
{
    static const struct {
        const char *word;
        enum act act;
    } rows[] = {{"short=", ACT_SHORT}, {"delay=", ACT_DELAY}, {"kill", ACT_KILL}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        size_t len = strlen(rows[i].word);
        if (strncmp(action, rows[i].word, len) != 0)
            continue;
        rule->act = rows[i].act;
        rule->value = atol(action + len);
        return;
    }
    rule->act = ACT_FAIL;
    rule->value = error_of(action);
    if (rule->value == 0)
        fault_bad("rule not understood", action);
}

static bool
means(const struct rule *rule, int class, const char *name)
{
    return (strcmp(rule->call, "any") == 0 && class < CALL_MMAP) ||
           strcmp(rule->call, class_names[class]) == 0 || strcmp(rule->call, name) == 0;
}

/* A call by its name is looked for in every class that costs nothing to ask. */
static unsigned
classes_of(const struct rule *rule)
{
    unsigned classes = 0;
    for (int class = 0; class <= CALL_SOCK; class ++)
        if (means(rule, class, ""))
            classes |= 1U << class;
    return classes != 0 ? classes : (1U << CALL_ALLOC) - 1;
}

static void
parse_rules(const char *text)
{
    char *all = strdup(text), *save = NULL;
    for (char *word = strtok_r(all, ",", &save); word != NULL; word = strtok_r(NULL, ",", &save)) {
        char *when = strchr(word, ':');
        char *action = when != NULL ? strchr(when + 1, ':') : NULL;
        if (action == NULL || n_rules == MOST_RULES)
            fault_bad("rule not understood", word);
        *when++ = '\0';
        *action++ = '\0';
        struct rule *rule = &rules[n_rules++];
        (void)snprintf(rule->call, sizeof rule->call, "%s", word);
        parse_when(rule, when);
        parse_action(rule, action);
        fault_classes |= classes_of(rule);
    }
    free(all);
}

void
fault_rules_init(void)
{
    const char *path = getenv("FAULT_STATE"), *seed = getenv("FAULT_SEED");
    int fd = -1;
    if (path != NULL) {
        fd = (int)syscall(SYS_openat, AT_FDCWD, path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
        if (fd < 0 || syscall(SYS_ftruncate, fd, sizeof *shared) != 0)
            fault_bad("FAULT_STATE", path);
    }
    shared = (struct shared *)syscall(SYS_mmap, NULL, sizeof *shared, PROT_READ | PROT_WRITE,
                                      MAP_SHARED | (fd < 0 ? MAP_ANONYMOUS : 0), fd, 0L);
    if (shared == MAP_FAILED)
        fault_bad("FAULT_STATE", "cannot be mapped");
    if (fd >= 0)
        (void)close(fd);
    uint64_t zero = 0, first = seed != NULL ? strtoull(seed, NULL, 10) : 1;
    atomic_compare_exchange_strong(&shared->random, &zero, first * 0x9e3779b97f4a7c15U | 1);
    quota = getenv("FAULT_QUOTA");
    if (getenv("FAULT_RULES") != NULL)
        parse_rules(getenv("FAULT_RULES"));
}

/* splitmix64 (Steele, Lea, Flood 2014) */
static uint64_t
next_random(void)
{
    uint64_t z = atomic_fetch_add(&shared->random, 0x9e3779b97f4a7c15U);
    z = (z ^ z >> 30) * 0xbf58476d1ce4e5b9U;
    z = (z ^ z >> 27) * 0x94d049bb133111ebU;
    return z ^ z >> 31;
}

static bool
is_due(struct rule *rule)
{
    long n = (long)atomic_fetch_add(&shared->met[rule - rules], 1) + 1;
    if (rule->percent != 0)
        return next_random() % 100 < (uint64_t)rule->percent;
    return n >= rule->from && n <= rule->to;
}

static void
die_now(void)
{
    (void)kill(getpid(), SIGKILL);
    for (;;)
        (void)pause();
}

long
fault_strike(enum call_class class, const char *name)
{
    long most = 0;
    for (int i = 0; fault_ready && i < n_rules; i++) {
        struct rule *rule = &rules[i];
        struct timespec wait = {rule->value / 1000, rule->value % 1000 * 1000000L};
        if (!means(rule, (int)class, name) || !is_due(rule))
            continue;
        if (rule->act == ACT_KILL)
            die_now();
        if (rule->act == ACT_FAIL) {
            errno = (int)rule->value;
            return -1;
        }
        if (rule->act == ACT_SHORT)
            most = rule->value + 1;
        else
            (void)nanosleep(&wait, NULL);
    }
    return most;
}

/* The bytes that files may grow by; UINT64_MAX without a limit. */
static uint64_t
room(void)
{
    char text[32] = "";
    if (quota == NULL)
        return UINT64_MAX;
    if (*quota != '/')
        return strtoull(quota, NULL, 10);
    int fd = (int)syscall(SYS_openat, AT_FDCWD, quota, O_RDONLY | O_CLOEXEC, 0);
    if (fd < 0)
        return UINT64_MAX; /* taken away: the disk is free again */
    (void)syscall(SYS_read, fd, text, sizeof text - 1);
    (void)close(fd);
    return strtoull(text, NULL, 10);
}

bool
fault_may_grow(uint64_t more)
{
    if (quota == NULL || atomic_fetch_add(&shared->grown, more) + more <= room())
        return true;
    atomic_fetch_sub(&shared->grown, more);
    errno = ENOSPC;
    return false;
}
