/* test_folder.c - files are there whole or not at all; secrets that others may read are refused.
 *
 * Source: common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/base/folder.h"

static char *
fresh(char *dir)
{
    strcpy(dir, "/tmp/knockbox-test-XXXXXX");
    cr_assert(mkdtemp(dir) != NULL);
    return dir;
}

Test(folder, writes_reads_and_replaces_a_file)
{
    char dir[64], path[PATH_SIZE];
    char *text = NULL;
    size_t len = 0;
    struct stat st;
    fresh(dir);
    cr_assert(path_join(dir, "a", path, NULL) == ERR_OK);
    cr_assert(file_write(dir, "a", "one", 3, 0600, NULL) == ERR_OK);
    cr_assert(file_write(dir, "a", "three", 5, 0640, NULL) == ERR_OK);
    cr_assert(file_read(path, &text, &len, NULL) == ERR_OK);
    cr_expect(eq(str, text, "three"));
    cr_assert(stat(path, &st) == 0);
    cr_expect(eq(u32, st.st_mode & 07777, 0640));
    free(text);
    cr_expect(file_remove(dir, "a", NULL) == ERR_OK);
    cr_expect(file_remove(dir, "a", NULL) == ERR_OK);
    cr_expect(not(file_there(dir, "a")));
    rmdir(dir);
}

Test(folder, a_file_that_is_so_already_is_kept)
{
    char dir[64], path[PATH_SIZE];
    struct stat before, after;
    fresh(dir);
    cr_assert(path_join(dir, "a", path, NULL) == ERR_OK);
    cr_assert(file_keep(dir, "a", "one", 3, 0600, NULL) == ERR_OK);
    cr_assert(stat(path, &before) == 0);
    cr_assert(file_keep(dir, "a", "one", 3, 0600, NULL) == ERR_OK);
    cr_assert(stat(path, &after) == 0);
    cr_expect(before.st_ino == after.st_ino);
    cr_assert(file_keep(dir, "a", "two", 3, 0600, NULL) == ERR_OK);
    cr_assert(file_keep(dir, "a", "two", 3, 0640, NULL) == ERR_OK);
    cr_assert(stat(path, &after) == 0);
    cr_expect(eq(u32, after.st_mode & 07777, 0640));
    cr_expect(file_remove(dir, "a", NULL) == ERR_OK);
    rmdir(dir);
}

Test(folder, a_failed_write_leaves_the_old_file)
{
    char dir[64], path[PATH_SIZE];
    char *text = NULL;
    size_t len = 0;
    fresh(dir);
    path_join(dir, "a", path, NULL);
    cr_assert(file_write(dir, "a", "old", 3, 0600, NULL) == ERR_OK);
    struct err_text why = {.s = ""};
    char inside[PATH_SIZE];
    path_join(dir, "a.new", inside, NULL);
    mkdir(inside, 0700); /* the temporary name is taken by a folder */
    cr_expect(file_write(dir, "a", "new", 3, 0600, &why) != ERR_OK);
    cr_expect(strstr(why.s, "a.new") != NULL, "%s", why.s);
    cr_assert(file_read(path, &text, &len, NULL) == ERR_OK);
    cr_expect(eq(str, text, "old"));
    free(text);
    rmdir(inside);
    unlink(path);
    rmdir(dir);
}

Test(folder, refuses_a_secret_that_others_may_read)
{
    char dir[64], path[PATH_SIZE], link_path[PATH_SIZE];
    struct err_text why = {.s = ""};
    fresh(dir);
    path_join(dir, "key", path, NULL);
    path_join(dir, "link", link_path, NULL);
    cr_assert(file_write(dir, "key", "s", 1, 0600, NULL) == ERR_OK);
    cr_expect(file_check_secret(path, &why) == ERR_OK, "%s", why.s);
    chmod(path, 0640);
    cr_expect(file_check_secret(path, &why) == ERR_DENIED);
    cr_expect(strstr(why.s, "chmod 600") != NULL, "%s", why.s);
    chmod(path, 0600);
    cr_assert(symlink(path, link_path) == 0);
    cr_expect(file_check_secret(link_path, &why) == ERR_DENIED);
    unlink(link_path);
    unlink(path);
    rmdir(dir);
}

Test(folder, makes_a_folder_with_its_mode_and_only_once)
{
    char dir[64], path[PATH_SIZE];
    struct stat st;
    fresh(dir);
    path_join(dir, "run", path, NULL);
    cr_expect(folder_make(path, 0750, NULL) == ERR_OK);
    cr_assert(stat(path, &st) == 0);
    cr_expect(eq(u32, st.st_mode & 07777, 0750));
    cr_expect(folder_make(path, 0700, NULL) == ERR_OK);
    rmdir(path);
    cr_assert(file_write(dir, "run", "", 0, 0600, NULL) == ERR_OK);
    struct err_text why = {.s = ""};
    cr_expect(folder_make(path, 0700, &why) == ERR_IO);
    unlink(path);
    rmdir(dir);
}
