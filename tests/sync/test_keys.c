/* test_keys.c - key files, one-time codes and the table of keys.
 *
 * Sources: RFC 7748 section 6.1 for the key pair (through libsodium); the rest is own design, no
 * source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/base/folder.h"
#include "daemon/sync/keyring.h"
#include "daemon/sync/keys.h"

static void
example_code(struct join_code *code)
{
    memset(code, 0, sizeof *code);
    for (unsigned i = 0; i < KEY_SIZE; i++)
        code->hub[i] = (uint8_t)(i * 7 + 1);
    for (unsigned i = 0; i < SECRET_SIZE; i++)
        code->secret[i] = (uint8_t)(200 - i);
    snprintf(code->endpoint, sizeof code->endpoint, "tcp://127.0.0.1:7749");
}

Test(code, comes_back_from_its_letters_however_they_are_typed)
{
    struct join_code code, back;
    char text[CODE_TEXT], typed[2 * CODE_TEXT];
    struct err_text why = {.s = ""};
    example_code(&code);
    cr_assert(code_print(&code, text, &why) == ERR_OK, "%s", why.s);
    cr_expect(strlen(text) <= 140, "%zu letters", strlen(text));
    cr_assert(code_parse(text, &back, &why) == ERR_OK, "%s", why.s);
    cr_expect(memcmp(&code, &back, sizeof code) == 0);
    size_t n = 0;
    for (const char *c = text; *c != '\0'; c++) { /* lower case, O for 0, l for 1, no hyphens */
        if (*c == '-')
            continue;
        typed[n++] = *c == '0' ? 'o' : *c == '1' ? 'l' : (char)(*c >= 'A' ? *c + 32 : *c);
        if (n % 11 == 0)
            typed[n++] = ' ';
    }
    typed[n] = '\0';
    cr_assert(code_parse(typed, &back, &why) == ERR_OK, "%s", why.s);
    cr_expect(memcmp(&code, &back, sizeof code) == 0);
}

Test(code, any_one_letter_mistyped_is_refused)
{
    struct join_code code, back;
    char text[CODE_TEXT];
    example_code(&code);
    cr_assert(code_print(&code, text, NULL) == ERR_OK);
    unsigned let_through = 0;
    for (size_t i = 0; text[i] != '\0'; i++) {
        char was = text[i];
        if (was == '-')
            continue;
        text[i] = was == 'X' ? 'Y' : 'X';
        let_through += code_parse(text, &back, NULL) == ERR_OK;
        text[i] = was;
    }
    cr_expect(eq(u32, let_through, 0));
}

Test(code, what_is_no_code_is_refused_in_words)
{
    static const char *const rows[] = {"", "-", "hello", "0000", "UUUUU", "caf\xC3\xA9"};
    struct join_code back;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct err_text why = {.s = ""};
        cr_expect(code_parse(rows[i], &back, &why) == ERR_INPUT, "%s", rows[i]);
        cr_expect(strstr(why.s, "code") != NULL, "%s", why.s);
    }
    char longest[4 * CODE_TEXT];
    memset(longest, '0', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    cr_expect(code_parse(longest, &back, NULL) == ERR_INPUT);
}

Test(keys, the_pair_of_a_code_is_the_same_for_hub_and_bearer)
{
    struct join_code code;
    struct key_pair a, b;
    uint8_t expect[KEY_SIZE];
    example_code(&code);
    code_pair(code.secret, &a);
    code_pair(code.secret, &b);
    cr_expect(memcmp(&a, &b, sizeof a) == 0);
    crypto_scalarmult_base(expect, a.secret_key);
    cr_expect(memcmp(expect, a.public_key, KEY_SIZE) == 0);
    code.secret[0] ^= 1;
    code_pair(code.secret, &b);
    cr_expect(memcmp(a.public_key, b.public_key, KEY_SIZE) != 0);
}

Test(keys, a_file_comes_back_and_is_refused_when_others_may_read_it)
{
    char dir[] = "/tmp/knockbox-test-XXXXXX", path[PATH_SIZE];
    struct key_file file = {.has_hub = true, .connect = "tcp://127.0.0.1:7749"}, back;
    struct err_text why = {.s = ""};
    cr_assert(mkdtemp(dir) != NULL);
    cr_assert(key_pair_new(&file.own, &why) == ERR_OK, "%s", why.s);
    memset(file.hub, 7, sizeof file.hub);
    cr_assert(key_file_write(dir, "cafe.key", &file, &why) == ERR_OK, "%s", why.s);
    cr_assert(path_join(dir, "cafe.key", path, NULL) == ERR_OK);
    cr_assert(key_file_read(path, &back, &why) == ERR_OK, "%s", why.s);
    cr_expect(memcmp(&file.own, &back.own, sizeof back.own) == 0);
    cr_expect(memcmp(file.hub, back.hub, KEY_SIZE) == 0);
    cr_expect(eq(str, back.connect, file.connect));
    chmod(path, 0604);
    cr_expect(key_file_read(path, &back, &why) == ERR_DENIED);
    unlink(path);
    rmdir(dir);
}

Test(keys, a_file_of_other_content_is_refused)
{
    static const char *const rows[] = {
        "",
        "knockbox-key 1\n",
        "knockbox-key 2\npublic 00\n",
        "nonsense\n",
        "public \n\n\n",
        "knockbox-key 1\n"
        "public 0000000000000000000000000000000000000000000000000000000000000000\n"
        "secret 0000000000000000000000000000000000000000000000000000000000000001\n"};
    char dir[] = "/tmp/knockbox-test-XXXXXX", path[PATH_SIZE];
    cr_assert(mkdtemp(dir) != NULL);
    path_join(dir, "key", path, NULL);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct key_file back;
        cr_assert(file_write(dir, "key", rows[i], strlen(rows[i]), 0600, NULL) == ERR_OK);
        cr_expect(key_file_read(path, &back, NULL) == ERR_INPUT, "row %zu", i);
    }
    unlink(path);
    rmdir(dir);
}

static void
entry_of(struct key_entry *entry, unsigned number)
{
    memset(entry, 0, sizeof *entry);
    entry->key[0] = (uint8_t)(number * 37);
    entry->key[1] = (uint8_t)number;
    entry->what = KEY_SITE;
    entry->expires_ms = INT64_MAX;
    snprintf(entry->site, sizeof entry->site, "site-%u", number);
}

Test(keyring, finds_what_was_put_and_nothing_else)
{
    struct keyring *ring = NULL;
    struct key_entry entry, found;
    cr_assert(keyring_new(&ring, NULL) == ERR_OK);
    for (unsigned i = 0; i < 200; i++) {
        entry_of(&entry, i * 13 % 200);
        cr_assert(keyring_put(ring, &entry, NULL) == ERR_OK);
    }
    for (unsigned i = 0; i < 200; i++) {
        entry_of(&entry, i);
        cr_assert(keyring_find(ring, entry.key, 0, &found));
        cr_assert(eq(str, found.site, entry.site));
        if (i % 2 == 0)
            keyring_remove(ring, entry.key);
        cr_assert(keyring_find(ring, entry.key, 0, &found) == (i % 2 != 0));
    }
    size_t n = 0;
    while (keyring_nth(ring, n, &found))
        n++;
    cr_expect(eq(sz, n, 100));
    keyring_free(ring);
}

Test(keyring, a_banned_key_never_comes_back_and_a_code_ends)
{
    struct keyring *ring = NULL;
    struct key_entry entry, found;
    cr_assert(keyring_new(&ring, NULL) == ERR_OK);
    entry_of(&entry, 1);
    keyring_put(ring, &entry, NULL);
    keyring_ban(ring, entry.key, NULL);
    cr_expect(keyring_banned(ring, entry.key));
    cr_expect(not(keyring_find(ring, entry.key, 0, &found)));
    keyring_put(ring, &entry, NULL);
    cr_expect(not(keyring_find(ring, entry.key, 0, &found)));
    entry_of(&entry, 2);
    entry.what = KEY_CODE;
    entry.expires_ms = 1000;
    keyring_put(ring, &entry, NULL);
    cr_expect(keyring_find(ring, entry.key, 999, &found));
    cr_expect(not(keyring_find(ring, entry.key, 1000, &found)));
    keyring_free(ring);
}
