/* test_daemons.c - the real hub, cafés and client on loopback, waiting for events.
 *
 * Sources: the contract ("Setting up without a person", exit statuses) and the design page of this
 * project; what is tried beyond them is common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <signal.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "tests/system/program.h"

static unsigned
mode_of(const char *dir, const char *name)
{
    char path[PLACE * 3];
    struct stat st;
    snprintf(path, sizeof path, "%s/%s", dir, name);
    cr_assert(lstat(path, &st) == 0, "%s", path);
    return st.st_mode & 07777;
}

Test(hub, is_made_started_asked_and_ended, .timeout = 60)
{
    char place[PLACE];
    place_make(place);
    IN(place, "hub", hub);
    struct daemon d = start_hub(hub);
    cr_expect(eq(u32, mode_of(hub, "."), 0700));
    cr_expect(eq(u32, mode_of(hub, "hub.key"), 0600));
    cr_expect(eq(u32, mode_of(hub, "store"), 0700));
    cr_expect(answer_has(hub, "status", "\"site\":\"kitchen\""));
    struct said check = run_program("knockbox-hub", "check", hub, NULL);
    cr_expect(eq(int, check.status, 0));
    cr_expect(strstr(check.out, "listen tcp://127.0.0.1:0\n") != NULL, "%s", check.out);
    cr_expect(eq(int, end_daemon(&d), 0));
    struct said after = run_program("knockbox", "status", "--at", hub, NULL);
    cr_expect(eq(int, after.status, 4));
    struct said verify = run_program("knockbox-hub", "verify", hub, NULL);
    cr_expect(eq(int, verify.status, 0));
    place_done(place);
}

Test(hub, says_that_it_listens_on_this_machine_only, .timeout = 60)
{
    char place[PLACE];
    place_make(place);
    IN(place, "hub", hub);
    struct said said = run_program("knockbox-hub", "init", hub, "--site", "the-kitchen", NULL);
    cr_expect(eq(int, said.status, 0));
    cr_expect(strstr(said.err, "this machine only") != NULL, "%s", said.err);
    said = run_program("knockbox-hub", "check", hub, NULL);
    cr_expect(strstr(said.out, "site.name the-kitchen\n") != NULL, "%s", said.out);
    cr_expect(strstr(said.out, "listen tcp://127.0.0.1:") != NULL, "%s", said.out);
    said = run_program("knockbox-hub", "init", hub, NULL);
    cr_expect(eq(int, said.status, 1));
    cr_expect(strstr(said.err, "has a hub already") != NULL, "%s", said.err);
    place_done(place);
}

Test(hub, misuse_has_its_own_status_and_says_how, .timeout = 60)
{
    struct said said = run_program("knockbox-hub", NULL);
    cr_expect(eq(int, said.status, 2));
    said = run_program("knockbox-hub", "init", NULL);
    cr_expect(eq(int, said.status, 2));
    cr_expect(strstr(said.err, "usage: knockbox-hub init DIR") != NULL, "%s", said.err);
    said = run_program("knockbox-hub", "init", "/tmp/x", "--lis", "tcp://*:1", NULL);
    cr_expect(eq(int, said.status, 2));
    said = run_program("knockbox-hub", "--help", NULL);
    cr_expect(eq(int, said.status, 0));
    cr_expect(strstr(said.out, "enrol") != NULL);
    said = run_program("knockbox-hub", "run", "/tmp/no-such-folder-of-knockbox", NULL);
    cr_expect(eq(int, said.status, 1));
    cr_expect(strstr(said.err, "knockbox-hub init") != NULL, "%s", said.err);
}

Test(hub, a_second_one_on_the_folder_is_refused_in_words, .timeout = 60)
{
    char place[PLACE];
    place_make(place);
    IN(place, "hub", hub);
    struct daemon d = start_hub(hub);
    struct said said = run_program("knockbox-hub", "run", hub, NULL);
    cr_expect(eq(int, said.status, 1));
    cr_expect(strstr(said.err, "another process") != NULL, "%s", said.err);
    cr_expect(answer_has(hub, "status", "kitchen")); /* the first one still serves */
    cr_expect(eq(int, end_daemon(&d), 0));
    place_done(place);
}

Test(hub, a_port_in_use_is_refused_in_words, .timeout = 60)
{
    char place[PLACE], endpoint[PLACE];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "other", other);
    struct daemon d = start_hub(hub);
    endpoint_of(hub, endpoint);
    struct said said = run_program("knockbox-hub", "init", other, "--listen", endpoint, NULL);
    cr_assert(eq(int, said.status, 0));
    said = run_program("knockbox-hub", "run", other, NULL);
    cr_expect(eq(int, said.status, 1));
    cr_expect(strstr(said.err, "another program has this port") != NULL, "%s", said.err);
    cr_expect(eq(int, end_daemon(&d), 0));
    place_done(place);
}

Test(hub, a_key_that_others_may_read_is_refused_in_words, .timeout = 60)
{
    char place[PLACE];
    place_make(place);
    IN(place, "hub", hub);
    IN(hub, "hub.key", key);
    cr_assert(run_program("knockbox-hub", "init", hub, NULL).status == 0);
    chmod(key, 0644);
    struct said said = run_program("knockbox-hub", "run", hub, NULL);
    cr_expect(eq(int, said.status, 5));
    cr_expect(strstr(said.err, "chmod 600") != NULL, "%s", said.err);
    place_done(place);
}

Test(hub, a_bad_setting_is_told_with_its_line, .timeout = 60)
{
    char place[PLACE];
    place_make(place);
    IN(place, "hub", hub);
    IN(hub, "hub.conf", conf);
    cr_assert(run_program("knockbox-hub", "init", hub, NULL).status == 0);
    FILE *file = fopen(conf, "a");
    fprintf(file, "sync.grup 5\n");
    fclose(file);
    struct said said = run_program("knockbox-hub", "check", hub, NULL);
    cr_expect(eq(int, said.status, 3));
    cr_expect(strstr(said.err, "hub.conf line 4: sync.grup: unknown key") != NULL, "%s", said.err);
    place_done(place);
}

/* A power cut between the key and the settings leaves a folder that init goes on with. */
Test(hub, an_init_that_was_cut_short_goes_on_with_its_key, .timeout = 60)
{
    char place[PLACE], before[600] = "", after[600] = "";
    place_make(place);
    IN(place, "hub", hub);
    IN(hub, "hub.key", key);
    IN(hub, "hub.conf", conf);
    IN(hub, "hub.conf.new", half);
    cr_assert(run_program("knockbox-hub", "init", hub, NULL).status == 0);
    FILE *file = fopen(key, "r");
    cr_assert(fread(before, 1, sizeof before - 1, file) > 0);
    fclose(file);
    cr_assert(rename(conf, half) == 0);
    cr_expect(eq(int, run_program("knockbox-hub", "run", hub, NULL).status, 1));
    cr_expect(eq(int, run_program("knockbox-hub", "init", hub, NULL).status, 0));
    file = fopen(key, "r");
    cr_assert(fread(after, 1, sizeof after - 1, file) > 0);
    fclose(file);
    cr_expect(eq(str, after, before));
    place_done(place);
}

/* What a person was told is there, whenever café and hub are killed. */
Test(cafe, keeps_what_it_acknowledged_through_kills, .timeout = 120)
{
    char place[PLACE], label[16], wanted[32];
    int told[64], n = 0;
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "cafe", cafe);
    struct daemon h = start_hub(hub);
    char endpoint[PLACE];
    endpoint_of(hub, endpoint);
    import_catalogue(hub, "quayside");
    join_cafe(hub, cafe, "quayside");
    IN(hub, "hub.conf", conf);
    FILE *file = fopen(conf, "w");
    fprintf(file, "listen %s\n", endpoint);
    fclose(file);
    struct daemon c = start_daemon("knockbox-cafe", cafe);
    wait_for_answer(cafe, "export", "\"house-dark\"");
    for (int i = 0; i < 12; i++) {
        snprintf(label, sizeof label, "Q%03d", i);
        if (log_tub(cafe, label) == 0)
            told[n++] = i;
        struct daemon *victim = i % 3 == 2 ? &h : &c;
        kill_daemon(victim);
        *victim =
            i % 3 == 2 ? start_daemon("knockbox-hub", hub) : start_daemon("knockbox-cafe", cafe);
    }
    cr_expect(eq(int, n, 12));
    for (int i = 0; i < n; i++) {
        snprintf(wanted, sizeof wanted, "\"Q%03d\"", told[i]);
        wait_for_answer(hub, "export", wanted);
    }
    cr_expect(eq(int, end_daemon(&c), 0));
    cr_expect(eq(int, end_daemon(&h), 0));
    cr_expect(eq(int, run_program("knockbox-hub", "verify", hub, NULL).status, 0));
    cr_expect(eq(int, run_program("knockbox-cafe", "verify", cafe, NULL).status, 0));
    place_done(place);
}

Test(cafe, joins_records_and_is_heard, .timeout = 60)
{
    char place[PLACE];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "cafe", cafe);
    struct daemon h = start_hub(hub);
    struct daemon c = start_cafe(hub, cafe, "quayside");
    cr_expect(eq(int, log_tub(cafe, "Q001"), 0));
    wait_for_answer(hub, "export", "\"Q001\"");
    cr_expect(eq(u32, mode_of(cafe, "cafe.key"), 0600));
    struct said again = run_program("knockbox-cafe", "run", cafe, NULL);
    cr_expect(eq(int, again.status, 1));
    cr_expect(eq(int, end_daemon(&c), 0));
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

Test(cafe, works_alone_and_catches_up_when_the_hub_is_back, .timeout = 90)
{
    char place[PLACE], endpoint[PLACE], line[PLACE * 2];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "cafe", cafe);
    IN(hub, "hub.conf", conf);
    struct daemon h = start_hub(hub);
    struct daemon c = start_cafe(hub, cafe, "quayside");
    endpoint_of(hub, endpoint);
    kill_daemon(&h);
    cr_expect(eq(int, log_tub(cafe, "Q001"), 0));
    kill_daemon(&c); /* what was acknowledged is there after a kill */
    c = start_daemon("knockbox-cafe", cafe);
    cr_expect(answer_has(cafe, "export", "\"Q001\""));
    cr_expect(eq(int, log_tub(cafe, "Q002"), 0));
    FILE *file = fopen(conf, "w"); /* the same port as before */
    snprintf(line, sizeof line, "site.name kitchen\nlisten %s\n", endpoint);
    fputs(line, file);
    fclose(file);
    h = start_daemon("knockbox-hub", hub);
    wait_for_answer(hub, "export", "\"Q002\"");
    cr_expect(answer_has(hub, "export", "\"Q001\""));
    cr_expect(eq(int, end_daemon(&c), 0));
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

Test(enrolment, a_code_is_for_one_use_and_for_one_kind, .timeout = 90)
{
    char place[PLACE], code[512];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "one", one);
    IN(place, "two", two);
    struct daemon h = start_hub(hub);
    struct said said = run_program("knockbox-hub", "enrol", hub, "quayside", NULL);
    said.out[strcspn(said.out, "\n")] = '\0';
    snprintf(code, sizeof code, "%.500s", said.out);
    cr_assert(run_program("knockbox-cafe", "join", one, code, NULL).status == 0);
    said = run_program("knockbox-cafe", "join", one, code, NULL);
    cr_expect(eq(int, said.status, 1));
    said = run_program("knockbox-cafe", "join", two, code, NULL);
    cr_expect(eq(int, said.status, 4));
    cr_expect(strstr(said.err, "used or past its time") != NULL, "%s", said.err);
    IN(two, "cafe.conf", conf);
    cr_expect(access(conf, F_OK) != 0);
    code[20] = code[20] == 'A' ? 'B' : 'A';
    said = run_program("knockbox-cafe", "join", two, code, NULL);
    cr_expect(eq(int, said.status, 3));
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

Test(enrolment, works_while_no_hub_runs_and_is_used_later, .timeout = 60)
{
    char place[PLACE], code[512];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "cafe", cafe);
    cr_assert(run_program("knockbox-hub", "init", hub, NULL).status == 0);
    struct said said = run_program("knockbox-hub", "enrol", hub, "quayside", NULL);
    cr_assert(said.status == 0, "%s", said.err);
    said.out[strcspn(said.out, "\n")] = '\0';
    snprintf(code, sizeof code, "%.500s", said.out);
    struct daemon h = start_daemon("knockbox-hub", hub);
    cr_expect(eq(int, run_program("knockbox-cafe", "join", cafe, code, NULL).status, 0));
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

Test(enrolment, a_new_machine_takes_the_place_of_the_old_one, .timeout = 90)
{
    char place[PLACE];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "old", old);
    IN(place, "new", new);
    struct daemon h = start_hub(hub);
    import_catalogue(hub, "quayside");
    join_cafe(hub, old, "quayside");
    struct daemon c = start_daemon("knockbox-cafe", old);
    wait_for_answer(old, "export", "\"house-dark\"");
    cr_assert(log_tub(old, "Q001") == 0);
    wait_for_answer(hub, "export", "\"Q001\"");
    join_cafe(hub, new, "quayside");
    struct daemon n = start_daemon("knockbox-cafe", new);
    wait_for_answer(new, "export", "\"Q001\""); /* it has the records of the site back */
    wait_for_answer(new, "export", "\"house-dark\"");
    cr_expect(eq(int, log_tub(new, "Q002"), 0));
    wait_for_answer(hub, "export", "\"Q002\"");
    cr_expect(eq(int, log_tub(old, "Q003"), 0)); /* kept where it was made */
    wait_for_log(&c, "does not know our key");
    cr_expect(not(answer_has(hub, "export", "\"Q003\"")));
    cr_expect(eq(int, end_daemon(&n), 0));
    cr_expect(eq(int, end_daemon(&c), 0));
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

Test(revoke, holds_at_once_on_an_open_connection_and_after_restarts, .timeout = 90)
{
    char place[PLACE];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "cafe", cafe);
    struct daemon h = start_hub(hub);
    struct daemon c = start_cafe(hub, cafe, "quayside");
    struct said said = run_program("knockbox-hub", "revoke", hub, "quayside", NULL);
    cr_assert(said.status == 0, "%s", said.err);
    cr_expect(eq(int, log_tub(cafe, "Q001"), 0));
    wait_for_log(&c, "does not know our key");
    cr_expect(not(answer_has(hub, "export", "\"Q001\"")));
    said = run_program("knockbox-hub", "keys", hub, NULL);
    cr_expect(eq(str, said.out, ""));
    cr_expect(eq(int, end_daemon(&h), 0));
    h = start_daemon("knockbox-hub", hub);
    said = run_program("knockbox-hub", "keys", hub, NULL);
    cr_expect(eq(str, said.out, ""));
    said = run_program("knockbox-hub", "revoke", hub, "quayside", NULL);
    cr_expect(eq(int, said.status, 1));
    cr_expect(eq(int, end_daemon(&c), 0));
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

Test(desk, asks_with_its_role_and_no_more, .timeout = 90)
{
    char place[PLACE], endpoint[PLACE], code[512];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "reader.key", key);
    struct daemon h = start_hub(hub);
    import_catalogue(hub, "quayside");
    endpoint_of(hub, endpoint);
    struct said said = run_program("knockbox-hub", "enrol", hub, "quayside", "--person",
                                   "Tam Reader", "--role", "reader", NULL);
    cr_assert(said.status == 0, "%s", said.err);
    said.out[strcspn(said.out, "\n")] = '\0';
    snprintf(code, sizeof code, "%.500s", said.out);
    cr_assert(run_program("knockbox-link", "join", code, key, NULL).status == 0);
    said = run_program("knockbox", "status", "--at", endpoint, "--key", key, "--json", NULL);
    cr_expect(eq(int, said.status, 0));
    cr_expect(strstr(said.out, "kitchen") != NULL, "%s %s", said.out, said.err);
    said = run_program("knockbox", "log", "coffee", "code=x", "--at", endpoint, "--key", key, NULL);
    cr_expect(eq(int, said.status, 5));
    cr_assert(run_program("knockbox-hub", "revoke", hub, "Tam Reader", NULL).status == 0);
    said = run_program("knockbox", "status", "--at", endpoint, "--key", key, NULL);
    cr_expect(eq(int, said.status, 5));
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

/* ---------------------------------------------------------------- new keys */

static void
public_of(const char *path, char out[80])
{
    char text[TEXT_MOST];
    FILE *file = fopen(path, "r");
    cr_assert(file != NULL, "%s", path);
    text[fread(text, 1, sizeof text - 1, file)] = '\0';
    fclose(file);
    cr_assert(sscanf(strstr(text, "public "), "public %79s", out) == 1);
}

static void
expect_only_key(const char *hub, const char *key)
{
    struct said said = run_program("knockbox-hub", "keys", hub, NULL);
    cr_expect(strncmp(said.out, key, 64) == 0, "%s", said.out);
    cr_expect(strchr(said.out, '\n') == strrchr(said.out, '\n'), "%s", said.out);
}

Test(renewal, of_a_running_cafe_goes_without_a_pause, .timeout = 90)
{
    char place[PLACE], old[80], fresh[80];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "cafe", cafe);
    IN(cafe, "cafe.key", key);
    struct daemon h = start_hub(hub);
    import_catalogue(hub, "quayside");
    join_cafe(hub, cafe, "quayside");
    public_of(key, old);
    struct daemon c = start_daemon("knockbox-cafe", cafe);
    wait_for_answer(cafe, "export", "\"house-dark\"");
    struct said said = run_program("knockbox-cafe", "renew", cafe, NULL);
    cr_assert(said.status == 0, "%s", said.err);
    cr_expect(eq(str, said.out, "renewed\n"));
    public_of(key, fresh);
    cr_expect(ne(str, old, fresh));
    cr_expect(eq(u32, mode_of(cafe, "cafe.key"), 0600));
    wait_for_log(&h, "was renewed");
    expect_only_key(hub, fresh);
    cr_expect(eq(int, log_tub(cafe, "Q001"), 0));
    wait_for_answer(hub, "export", "\"Q001\"");
    cr_expect(eq(int, end_daemon(&c), 0));
    c = start_daemon("knockbox-cafe", cafe);
    cr_expect(eq(int, log_tub(cafe, "Q002"), 0));
    wait_for_answer(hub, "export", "\"Q002\"");
    cr_expect(eq(int, end_daemon(&c), 0));
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

Test(renewal, waits_for_a_cafe_that_does_not_run, .timeout = 90)
{
    char place[PLACE], old[80], fresh[80];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "cafe", cafe);
    IN(cafe, "cafe.key", key);
    struct daemon h = start_hub(hub);
    join_cafe(hub, cafe, "quayside");
    public_of(key, old);
    struct said said = run_program("knockbox-cafe", "renew", cafe, NULL);
    cr_expect(eq(int, said.status, 0));
    cr_expect(strstr(said.err, "a new key waits") != NULL, "%s", said.err);
    public_of(key, fresh);
    cr_expect(eq(str, old, fresh));
    struct daemon c = start_daemon("knockbox-cafe", cafe);
    wait_for_log(&h, "was renewed");
    public_of(key, fresh);
    cr_expect(ne(str, old, fresh));
    expect_only_key(hub, fresh);
    cr_expect(eq(int, end_daemon(&c), 0));
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

Test(renewal, of_a_desk_is_one_command, .timeout = 90)
{
    char place[PLACE], endpoint[PLACE], code[512], old[80], fresh[80];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "office.key", key);
    struct daemon h = start_hub(hub);
    endpoint_of(hub, endpoint);
    struct said said = run_program("knockbox-hub", "enrol", hub, "kitchen", "--person",
                                   "Rosa Quill", "--role", "office", NULL);
    cr_assert(said.status == 0, "%s", said.err);
    snprintf(code, sizeof code, "%.*s", (int)strcspn(said.out, "\n"), said.out);
    cr_assert(run_program("knockbox-link", "join", code, key, NULL).status == 0);
    public_of(key, old);
    said = run_program("knockbox-link", "renew", key, NULL);
    cr_assert(said.status == 0, "%s", said.err);
    public_of(key, fresh);
    cr_expect(ne(str, old, fresh));
    expect_only_key(hub, fresh);
    said = run_program("knockbox", "status", "--at", endpoint, "--key", key, "--json", NULL);
    cr_expect(eq(int, said.status, 0), "%s", said.err);
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

/* ---------------------------------------------------------------- least rights */

static bool
file_has(const char *path, const char *line)
{
    char text[TEXT_MOST];
    FILE *file = fopen(path, "r");
    cr_assert(file != NULL, "%s", path);
    text[fread(text, 1, sizeof text - 1, file)] = '\0';
    fclose(file);
    return strstr(text, line) != NULL;
}

/* Every thread: those of the message library too. Returns how many there are. */
static int
expect_each_thread(pid_t pid, const char *line)
{
    char path[PLACE * 4];
    struct dirent *task = NULL;
    int n = 0;
    snprintf(path, sizeof path, "/proc/%d/task", (int)pid);
    DIR *folder = opendir(path);
    cr_assert(folder != NULL);
    while ((task = readdir(folder)) != NULL) {
        if (task->d_name[0] == '.')
            continue;
        snprintf(path, sizeof path, "/proc/%d/task/%s/status", (int)pid, task->d_name);
        cr_expect(file_has(path, line), "thread %s of %d: %s", task->d_name, (int)pid, line);
        n++;
    }
    closedir(folder);
    return n;
}

static void
expect_least_rights(const struct daemon *d, int threads)
{
    char path[PLACE];
    snprintf(path, sizeof path, "/proc/%d/limits", (int)d->pid);
    cr_expect(file_has(path, "Max core file size        0                    0"));
    cr_expect(expect_each_thread(d->pid, "NoNewPrivs:\t1") >= threads);
    if (!log_says(d, "not confined") && !log_says(d, "does not confine"))
        (void)expect_each_thread(d->pid, "Seccomp:\t2");
}

Test(rights, of_running_daemons_are_few, .timeout = 60)
{
    char place[PLACE];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "cafe", cafe);
    struct daemon h = start_hub(hub);
    join_cafe(hub, cafe, "quayside");
    struct daemon c = start_daemon("knockbox-cafe", cafe);
    wait_for_answer(hub, "status", "\"online\":true");
    expect_least_rights(&h, 4); /* the loop, keys, and two of the message library */
    expect_least_rights(&c, 3);
    cr_expect(eq(int, end_daemon(&c), 0));
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

/* The page on operations says how; cafés keep their keys and get the hub's new one by hand. */
Test(renewal, of_the_hubs_own_key_goes_as_the_page_says, .timeout = 90)
{
    char place[PLACE], listen[PLACE], line[200], fresh[80], text[TEXT_MOST];
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "cafe", cafe);
    IN(hub, "hub.key", key);
    IN(hub, "hub.conf", conf);
    IN(place, "old.conf", old_conf);
    IN(cafe, "cafe.conf", settings);
    struct daemon h = start_hub(hub);
    import_catalogue(hub, "quayside");
    join_cafe(hub, cafe, "quayside");
    cr_expect(eq(int, end_daemon(&h), 0));
    cr_assert(unlink(key) == 0 && rename(conf, old_conf) == 0);
    cr_assert(run_program("knockbox-hub", "init", hub, NULL).status == 0);
    cr_assert(rename(old_conf, conf) == 0);
    public_of(key, fresh);
    h = start_daemon("knockbox-hub", hub);
    endpoint_of(hub, listen);
    FILE *file = fopen(settings, "r");
    text[fread(text, 1, sizeof text - 1, file)] = '\0';
    fclose(file);
    char *at = strstr(text, "hub.key ");
    cr_assert(at != NULL);
    memcpy(at + strlen("hub.key "), fresh, 64);
    file = fopen(settings, "w");
    for (char *rest = text, *one; (one = strsep(&rest, "\n")) != NULL && *one != '\0';) {
        snprintf(line, sizeof line, "hub.connect %s", listen); /* the tests' hub changes its port */
        fprintf(file, "%s\n", strncmp(one, "hub.connect ", 12) == 0 ? line : one);
    }
    fclose(file);
    struct daemon c = start_daemon("knockbox-cafe", cafe);
    wait_for_answer(hub, "status", "\"online\":true");
    cr_expect(eq(int, end_daemon(&c), 0));
    cr_expect(eq(int, end_daemon(&h), 0));
    place_done(place);
}

/* What secrets there are stay out of logs. */
Test(secrets, are_in_no_log, .timeout = 60)
{
    char place[PLACE], text[TEXT_MOST], secret[80] = "";
    place_make(place);
    IN(place, "hub", hub);
    IN(place, "cafe", cafe);
    struct daemon h = start_hub(hub);
    join_cafe(hub, cafe, "quayside");
    struct daemon c = start_daemon("knockbox-cafe", cafe);
    wait_for_answer(hub, "status", "\"online\":true");
    end_daemon(&c);
    end_daemon(&h);
    static const char *const keys[] = {"hub/hub.key", "cafe/cafe.key"};
    for (int i = 0; i < 2; i++) {
        IN(place, keys[i], path);
        FILE *file = fopen(path, "r");
        size_t n = fread(text, 1, sizeof text - 1, file);
        fclose(file);
        text[n] = '\0';
        cr_assert(sscanf(strstr(text, "secret "), "secret %79s", secret) == 1);
        cr_expect(not(log_says(&h, secret)));
        cr_expect(not(log_says(&c, secret)));
    }
    place_done(place);
}

Test(daemons, a_bad_setting_does_not_end_a_daemon_that_is_told_to_read_again, .timeout = 60)
{
    char place[PLACE], hub[PLACE * 2], file[PLACE * 3];
    place_make(place);
    snprintf(hub, sizeof hub, "%s/hub", place);
    struct daemon d = start_hub(hub);
    snprintf(file, sizeof file, "%s/hub.conf", hub);
    FILE *f = fopen(file, "a");
    cr_assert_not_null(f);
    fputs("role.group barista no-such-group-here\n", f);
    fclose(f);
    cr_assert(kill(d.pid, SIGHUP) == 0);
    wait_for_log(&d, "the roles stay as they were");
    cr_expect(answer_has(hub, "status", "\"hub\":true"));
    cr_expect(eq(int, end_daemon(&d), 0));
    place_done(place);
}
