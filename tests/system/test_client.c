/* test_client.c - the client against real daemons: what scripts rely on, and a close at a terminal.
 *
 * Source: the contract of this project; the terminal is a pseudo-terminal of the kernel. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include "tests/system/program.h"

static void
write_file(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");
    cr_assert_not_null(f);
    fputs(text, f);
    fclose(f);
}

static const char lines[] =
    "{\"kind\":\"site\",\"code\":\"quayside\",\"name\":\"Quayside\",\"role\":\"cafe\","
    "\"zone\":\"Europe/London\",\"currency\":\"GBP\"}\n"
    "{\"kind\":\"note\",\"text\":\"first\",\"site\":\"quayside\","
    "\"id\":\"019c87cb-b400-735a-8b0c-314d939736f8\",\"at\":\"2026-03-01T10:00:00Z\"}\n";

Test(client, what_was_exported_is_imported_elsewhere_once, .timeout = 60)
{
    char place[PLACE], one[PLACE * 2], two[PLACE * 2], file[PLACE * 2];
    place_make(place);
    path_in(place, "one", one);
    path_in(place, "two", two);
    path_in(place, "lines.jsonl", file);
    write_file(file, lines);
    struct daemon a = start_hub(one), b = start_hub(two);
    struct said said = run_program("knockbox", "import", file, "--at", one, "--json", NULL);
    cr_expect(eq(int, said.status, 0), "%s", said.err);
    cr_expect(strstr(said.out, "\"written\":2") != NULL, "%s", said.out);
    said = run_program("knockbox", "export", "--at", one, NULL);
    write_file(file, said.out);
    cr_expect(eq(int, run_program("knockbox", "import", file, "--at", two, NULL).status, 0));
    said = run_program("knockbox", "import", file, "--at", two, "--json", NULL);
    cr_expect(eq(int, said.status, 0), "%s", said.err);
    cr_expect(strstr(said.out, "\"written\":0,\"already\":2") != NULL, "%s", said.out);
    cr_expect(eq(int, end_daemon(&a), 0));
    cr_expect(eq(int, end_daemon(&b), 0));
    place_done(place);
}

Test(client, a_bad_line_writes_nothing_and_says_which, .timeout = 60)
{
    char place[PLACE], hub[PLACE * 2], file[PLACE * 2];
    place_make(place);
    path_in(place, "hub", hub);
    path_in(place, "lines.jsonl", file);
    write_file(file,
               "{\"kind\":\"note\",\"text\":\"good\"}\n\n{\"kind\":\"noet\",\"text\":\"bad\"}\n");
    struct daemon d = start_hub(hub);
    struct said said = run_program("knockbox", "import", file, "--at", hub, NULL);
    cr_expect(eq(int, said.status, 3));
    cr_expect(strstr(said.err, "line 3: kind: noet") != NULL, "%s", said.err);
    said = run_program("knockbox", "import", file, "--at", hub, "--json", NULL);
    cr_expect(strncmp(said.err, "{\"error\":{\"code\":\"input\",\"field\":\"kind\"", 39) == 0, "%s",
              said.err);
    said = run_program("knockbox", "export", "--at", hub, NULL);
    cr_expect(eq(str, said.out, ""));
    said = run_program("knockbox", "import", file, "--at", hub, "--keep-good", NULL);
    cr_expect(eq(int, said.status, 3));
    cr_expect(strstr(said.out, "1 written, 0 there already, 1 refused") != NULL, "%s", said.out);
    cr_expect(eq(int, end_daemon(&d), 0));
    place_done(place);
}

Test(client, a_plan_is_printed_to_a_file_in_every_form, .timeout = 60)
{
    static const struct {
        const char *form, *begins;
    } forms[] = {{"text", "Kitchen plan 1 (draft), "},
                 {"json", "{\"days\":["},
                 {"csv", "day,what,recipe,"},
                 {"html", "<!DOCTYPE html>"},
                 {"ics", "BEGIN:VCALENDAR\r\n"}};
    char place[PLACE], hub[PLACE * 2], file[PLACE * 2], head[64];
    place_make(place);
    path_in(place, "hub", hub);
    path_in(place, "plan", file);
    struct daemon d = start_hub(hub);
    struct said said =
        run_program("knockbox", "plan", "make", "--effort", "0", "--quiet", "--at", hub, NULL);
    cr_expect(eq(int, said.status, 0), "%s", said.err);
    for (size_t i = 0; i < sizeof forms / sizeof forms[0]; i++) {
        said = run_program("knockbox", "plan", "show", "--format", forms[i].form, "-o", file,
                           "--at", hub, NULL);
        cr_expect(eq(int, said.status, 0), "%s", said.err);
        cr_expect(eq(str, said.out, ""));
        FILE *f = fopen(file, "r");
        cr_assert_not_null(f);
        head[fread(head, 1, sizeof head - 1, f)] = '\0';
        fclose(f);
        cr_expect(strncmp(head, forms[i].begins, strlen(forms[i].begins)) == 0, "%s", head);
    }
    said = run_program("knockbox", "plan", "show", "--format", "pdf", "--at", hub, NULL);
    cr_expect(eq(int, said.status, 3));
    cr_expect(strstr(said.err, "text, json, csv, html or ics") != NULL, "%s", said.err);
    cr_expect(eq(int, end_daemon(&d), 0));
    place_done(place);
}

Test(client, never_asks_without_a_terminal, .timeout = 60)
{
    char place[PLACE], hub[PLACE * 2];
    place_make(place);
    path_in(place, "hub", hub);
    struct daemon d = start_hub(hub);
    struct said said = run_program("knockbox", "close", "--at", hub, NULL);
    cr_expect(eq(int, said.status, 2), "%s%s", said.out, said.err);
    cr_expect(eq(int, end_daemon(&d), 0));
    place_done(place);
}

/* ---- a terminal of 80 columns and 24 lines */

struct terminal {
    int fd;
    pid_t pid;
    char seen[TEXT_MOST];
    size_t n, from; /* looked at up to here */
};

static struct terminal
open_terminal(const char *dir, const char *state)
{
    struct terminal t = {.fd = posix_openpt(O_RDWR | O_NOCTTY)};
    struct winsize size = {.ws_row = 24, .ws_col = 80};
    cr_assert(t.fd >= 0 && grantpt(t.fd) == 0 && unlockpt(t.fd) == 0);
    cr_assert(ioctl(t.fd, TIOCSWINSZ, &size) == 0);
    t.pid = fork();
    if (t.pid == 0) {
        setsid();
        int fd = open(ptsname(t.fd), O_RDWR);
        dup2(fd, 0);
        dup2(fd, 1);
        dup2(fd, 2);
        setenv("XDG_STATE_HOME", state, 1);
        execl(TEST_BIN "/knockbox", "knockbox", "close", "--at", dir, "--by", "RK", NULL);
        _exit(127);
    }
    return t;
}

/* Reads until `text` was shown behind what was looked at before. */
static void
wait_for(struct terminal *t, const char *text)
{
    for (;;) {
        const char *found = strstr(t->seen + t->from, text);
        if (found != NULL) {
            t->from = (size_t)(found - t->seen) + strlen(text);
            return;
        }
        struct pollfd wait = {.fd = t->fd, .events = POLLIN};
        cr_assert(poll(&wait, 1, PATIENCE_MS) == 1, "no \"%s\" in: %s", text, t->seen);
        ssize_t n = read(t->fd, t->seen + t->n, sizeof t->seen - t->n - 1);
        cr_assert(n > 0, "no \"%s\" in: %s", text, t->seen);
        t->n += (size_t)n;
        t->seen[t->n] = '\0';
    }
}

static void
type(struct terminal *t, const char *text)
{
    cr_assert(write(t->fd, text, strlen(text)) == (ssize_t)strlen(text));
}

static int
end_terminal(struct terminal *t)
{
    int status = 0;
    cr_assert(waitpid(t->pid, &status, 0) == t->pid);
    close(t->fd);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
}

/* Ctrl-C between a prompt and its read, and under a parent that holds it back. */
Test(client, control_c_before_a_question_is_not_lost, .timeout = 90)
{
    char place[PLACE], hub[PLACE * 2], state[PLACE * 2];
    place_make(place);
    path_in(place, "hub", hub);
    path_in(place, "state", state);
    struct daemon d = start_hub(hub);
    sigset_t held;
    sigemptyset(&held);
    sigaddset(&held, SIGINT);
    sigprocmask(SIG_BLOCK, &held, NULL); /* the client inherits it */
    struct terminal t = open_terminal(hub, state);
    kill(t.pid, SIGINT);
    wait_for(&t, "Nothing was written.");
    cr_expect(eq(int, end_terminal(&t), 3));
    cr_expect(eq(int, end_daemon(&d), 0));
    place_done(place);
}

Test(client, a_day_is_closed_at_a_terminal, .timeout = 90)
{
    char place[PLACE], hub[PLACE * 2], state[PLACE * 2];
    place_make(place);
    path_in(place, "hub", hub);
    path_in(place, "state", state);
    struct daemon d = start_hub(hub);
    struct terminal t = open_terminal(hub, state);
    wait_for(&t, "Tub ");
    type(&t, "K-1\n");
    wait_for(&t, "Coffee");
    type(&t, "house-dark\n");
    wait_for(&t, "Grounds of");
    type(&t, "\n");
    wait_for(&t, "Freezer");
    type(&t, "f1\n");
    wait_for(&t, "Gross weight");
    type(&t, "5\n"); /* nonsense: kilograms or grams? */
    wait_for(&t, "kg or g behind the number");
    type(&t, "3.62 kg\n");
    wait_for(&t, "Empty box");
    type(&t, "0.18\n");
    wait_for(&t, "grounds 3.44 kg");
    kill(t.pid, SIGINT); /* left without writing */
    wait_for(&t, "Nothing was written.");
    cr_expect(eq(int, end_terminal(&t), 3));
    struct said said = run_program("knockbox", "export", "--at", hub, NULL);
    cr_expect(eq(str, said.out, ""));

    t = open_terminal(hub, state); /* what was typed is offered again */
    for (int i = 0; i < 6; i++) {
        wait_for(&t, "] ");
        type(&t, "\n");
    }
    wait_for(&t, "First knock-out");
    type(&t, "now\n");
    wait_for(&t, "Into freezer");
    type(&t, "\n");
    wait_for(&t, "Another tub?");
    type(&t, "\n");
    wait_for(&t, "To a bin");
    type(&t, "0\n");
    wait_for(&t, "Write it?");
    type(&t, "y\n");
    wait_for(&t, "Written, numbers 1 to 2.");
    cr_expect(eq(int, end_terminal(&t), 0));
    said = run_program("knockbox", "freezer", "--at", hub, "--json", NULL);
    cr_expect(strstr(said.out, "\"net_g\":3440") != NULL, "%s", said.out);
    cr_expect(eq(int, end_daemon(&d), 0));
    place_done(place);
}
