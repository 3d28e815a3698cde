/* test_damage.c - a café's store rots on the disk; the real programs, on loopback.
 *
 * Source: goal "torn or rotten store file: found, named, set aside, rebuilt from the hub" of this
 * project; no published source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "tests/system/program.h"

enum {
    PAGE = 4096
};

static char *
slurp(const char *path, size_t *out_len)
{
    struct stat st;
    FILE *file = fopen(path, "rb");
    cr_assert(file != NULL && stat(path, &st) == 0);
    char *bytes = malloc((size_t)st.st_size);
    cr_assert(fread(bytes, 1, (size_t)st.st_size, file) == (size_t)st.st_size);
    fclose(file);
    *out_len = (size_t)st.st_size;
    return bytes;
}

static void
spill(const char *path, const char *bytes, size_t len)
{
    FILE *file = fopen(path, "wb");
    cr_assert(file != NULL && fwrite(bytes, 1, len, file) == len && fclose(file) == 0);
}

/* Changes every place where `text` stands in the file. */
static void
rot(const char *path, const char *text)
{
    size_t len = 0;
    char *bytes = slurp(path, &len), *at = bytes;
    unsigned n = 0;
    for (; (at = memmem(at, len - (size_t)(at - bytes), text, strlen(text))) != NULL; n++)
        at[0] ^= 1;
    cr_assert(n > 0);
    spill(path, bytes, len);
    free(bytes);
}

static void
spoil_page(const char *path, unsigned page)
{
    size_t len = 0;
    char *bytes = slurp(path, &len);
    memset(bytes + (size_t)page * PAGE, 0x5A, PAGE);
    spill(path, bytes, len);
    free(bytes);
}

/* The port that was chosen the first time. */
static void
listen_at(const char *hub, const char *endpoint)
{
    IN(hub, "hub.conf", conf);
    FILE *file = fopen(conf, "w");
    cr_assert(file != NULL);
    fprintf(file, "site.name kitchen\nlisten %s\n", endpoint);
    fclose(file);
}

/* A hub and a café that are in step, with the tubs Q001 to Q010. */
struct pair {
    char place[PLACE], hub[PLACE * 2], cafe[PLACE * 2], data[PLACE * 2], endpoint[PLACE];
    struct daemon h, c;
};

static void
pair_start(struct pair *p)
{
    char tub[16];
    place_make(p->place);
    path_in(p->place, "hub", p->hub);
    path_in(p->place, "cafe", p->cafe);
    path_in(p->cafe, "store/data.mdb", p->data);
    p->h = start_hub(p->hub);
    endpoint_of(p->hub, p->endpoint);
    p->c = start_cafe(p->hub, p->cafe, "quayside");
    for (int i = 1; i <= 10; i++) {
        snprintf(tub, sizeof tub, "Q%03d", i);
        cr_assert(log_tub(p->cafe, tub) == 0);
    }
    wait_for_answer(p->hub, "export", "\"Q010\"");
}

static void
pair_end(struct pair *p)
{
    cr_expect(eq(int, end_daemon(&p->c), 0));
    cr_expect(eq(int, end_daemon(&p->h), 0));
    place_done(p->place);
}

static unsigned
count_of(const char *dir, const char *text)
{
    unsigned n = 0;
    struct said said = run_program("knockbox", "export", "--kind", "tub", "--at", dir, NULL);
    for (const char *at = said.out; (at = strstr(at, text)) != NULL; at++)
        n++;
    return n;
}

Test(damage, a_cafe_mends_one_head_page_says_so_and_goes_on, .timeout = 90)
{
    struct pair p;
    pair_start(&p);
    cr_expect(eq(int, end_daemon(&p.c), 0));
    spoil_page(p.data, 1);
    p.c = start_daemon("knockbox-cafe", p.cafe);
    cr_expect(log_says(&p.c, "one of the two head pages was rubbish and was mended"));
    cr_expect(eq(int, log_tub(p.cafe, "Q011"), 0));
    wait_for_answer(p.hub, "export", "\"Q011\"");
    wait_for_answer(p.cafe, "export", "\"Q010\"");
    cr_expect(eq(uint, count_of(p.hub, "\"Q010\""), 1));
    cr_expect(eq(int, end_daemon(&p.c), 0));
    cr_expect(eq(int, run_program("knockbox-cafe", "verify", p.cafe, NULL).status, 0));
    p.c = start_daemon("knockbox-cafe", p.cafe);
    pair_end(&p);
}

Test(damage, a_store_that_does_not_open_is_set_aside_and_nothing_of_it_is_lost, .timeout = 150)
{
    struct pair p;
    struct stat st;
    pair_start(&p);
    kill_daemon(&p.h);
    cr_assert(log_tub(p.cafe, "Q011") == 0); /* these two the hub has not */
    cr_assert(log_tub(p.cafe, "Q012") == 0);
    struct said said = run_program("knockbox-cafe", "rescue", p.cafe, NULL);
    cr_expect(eq(int, said.status, 1)); /* not while it runs */
    cr_expect(strstr(said.err, "has this store open") != NULL, "%s", said.err);
    cr_expect(eq(int, end_daemon(&p.c), 0));

    rot(p.data, "Q005"); /* this one the hub has */
    spoil_page(p.data, 0);
    spoil_page(p.data, 1);
    said = run_program("knockbox-cafe", "run", p.cafe, NULL);
    cr_expect(eq(int, said.status, 1));
    said = run_program("knockbox-cafe", "rescue", p.cafe, NULL);
    cr_assert(said.status == 0, "%s", said.err);
    cr_expect(strstr(said.out, "set aside as store.damaged.1\n11 own records read, 4 of them") !=
                  NULL,
              "%s", said.out);
    cr_expect(strstr(said.out, "epoch 1: not readable: record 5\n") != NULL, "%s", said.out);
    IN(p.cafe, "store.damaged.1/data.mdb", kept);
    cr_expect(stat(kept, &st) == 0);

    listen_at(p.hub, p.endpoint);
    p.h = start_daemon("knockbox-hub", p.hub);
    p.c = start_daemon("knockbox-cafe", p.cafe);
    wait_for_answer(p.cafe, "export", "\"Q010\""); /* given back */
    cr_expect(eq(uint, count_of(p.cafe, "\"Q005\""), 1));
    cr_expect(eq(int, log_tub(p.cafe, "Q013"), 0));
    cr_expect(eq(int, end_daemon(&p.c), 0));

    said = run_program("knockbox-cafe", "rescue", p.cafe, NULL);
    cr_assert(said.status == 0, "%s", said.err);
    cr_expect(strstr(said.out, "record 11 was only there: written again\n") != NULL, "%s",
              said.out);
    cr_expect(strstr(said.out, "; 2 records that only an older store had") != NULL, "%s", said.out);
    said = run_program("knockbox-cafe", "rescue", p.cafe, NULL); /* again is harmless */
    cr_expect(strstr(said.out, "; 0 records that only") != NULL, "%s", said.out);
    p.c = start_daemon("knockbox-cafe", p.cafe);
    wait_for_answer(p.hub, "export", "\"Q012\"");
    wait_for_answer(p.hub, "export", "\"Q013\"");
    for (int i = 1; i <= 13; i++) {
        char tub[16];
        snprintf(tub, sizeof tub, "\"Q%03d\"", i);
        cr_expect(eq(uint, count_of(p.hub, tub), 1), "%s", tub);
        cr_expect(eq(uint, count_of(p.cafe, tub), 1), "%s", tub);
    }
    pair_end(&p);
}

/* The file opens, one record in it is not what was written: the daily check, which begins at the
 * start, says which and what to do; the hub has that record. */
Test(damage, a_record_that_rotted_is_named_with_the_command_and_comes_back_from_the_hub,
     .timeout = 120)
{
    struct pair p;
    pair_start(&p);
    cr_expect(eq(int, end_daemon(&p.c), 0));
    rot(p.data, "Q003");
    p.c = start_daemon("knockbox-cafe", p.cafe);
    char command[PLACE * 3];
    snprintf(command, sizeof command, "then: knockbox-cafe rescue %s", p.cafe);
    wait_for_log(&p.c, command);
    cr_expect(log_says(&p.c, "is not what was written"));
    cr_expect(eq(int, log_tub(p.cafe, "Q011"), 0)); /* it goes on */
    cr_expect(eq(int, end_daemon(&p.c), 0));
    struct said said = run_program("knockbox-cafe", "rescue", p.cafe, NULL);
    cr_assert(said.status == 0, "%s", said.err);
    cr_expect(strstr(said.out, "not readable: record 3\n") != NULL, "%s", said.out);
    p.c = start_daemon("knockbox-cafe", p.cafe);
    wait_for_answer(p.cafe, "export", "\"Q003\"");
    wait_for_answer(p.cafe, "export", "\"Q010\"");
    cr_expect(eq(int, end_daemon(&p.c), 0));
    said = run_program("knockbox-cafe", "rescue", p.cafe, NULL);
    cr_expect(eq(int, said.status, 0), "%s", said.err);
    p.c = start_daemon("knockbox-cafe", p.cafe);
    wait_for_answer(p.hub, "export", "\"Q011\"");
    for (int i = 1; i <= 11; i++) {
        char tub[16];
        snprintf(tub, sizeof tub, "\"Q%03d\"", i);
        cr_expect(eq(uint, count_of(p.cafe, tub), 1), "%s", tub);
        cr_expect(eq(uint, count_of(p.hub, tub), 1), "%s", tub);
    }
    pair_end(&p);
}
