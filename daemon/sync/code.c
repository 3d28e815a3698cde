/* code.c - one-time codes as text.
 *
 * Bytes: 1 (form), the hub's key, the secret, HOST:PORT, then 3 bytes of BLAKE2b over all before.
 * Text: base 32 without I, L, O and U, in groups of five.
 */
#include "daemon/sync/keys.h"

#include <ctype.h>
#include <sodium.h>
#include <string.h>

enum {
    FORM = 1,
    CHECK_SIZE = 3,
    FIXED = 1 + KEY_SIZE + SECRET_SIZE,
    BYTES_MOST = FIXED + ENDPOINT_SIZE + CHECK_SIZE,
    GROUP = 5,
};

static const char letters[] = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
static const char scheme[] = "tcp://";

static void
check_of(const uint8_t *bytes, size_t len, uint8_t out[CHECK_SIZE])
{
    static const char purpose[] = "knockbox one-time code";
    uint8_t hash[crypto_generichash_BYTES_MIN];
    (void)crypto_generichash(hash, sizeof hash, bytes, len, (const uint8_t *)purpose,
                             sizeof purpose - 1);
    memcpy(out, hash, CHECK_SIZE);
}

/* Five bits a letter, the last padded with zeros. */
static size_t
to_letters(const uint8_t *bytes, size_t len, char *out)
{
    size_t n = 0;
    size_t written = 0;
    for (size_t bit = 0; bit < len * 8; bit += 5) {
        unsigned value = (unsigned)bytes[bit / 8] << 8;
        if (bit / 8 + 1 < len)
            value |= bytes[bit / 8 + 1];
        if (written > 0 && written % GROUP == 0)
            out[n++] = '-';
        out[n++] = letters[value >> (11 - bit % 8) & 31];
        written++;
    }
    out[n] = '\0';
    return n;
}

/* 0..31; -1: between letters; -2: no letter of a code. */
static int
letter_value(char c)
{
    if (c == '-' || c == ' ')
        return -1;
    char up = (char)toupper((unsigned char)c);
    if (up == 'O')
        up = '0';
    if (up == 'I' || up == 'L')
        up = '1';
    const char *at = up != '\0' ? strchr(letters, up) : NULL;
    return at != NULL ? (int)(at - letters) : -2;
}

/* Returns the whole bytes in `text`, 0: not letters of a code or too many. */
static size_t
from_letters(const char *text, uint8_t *bytes, size_t size)
{
    size_t n = 0;
    unsigned held = 0, bits = 0;
    for (; *text != '\0'; text++) {
        int value = letter_value(*text);
        if (value == -1)
            continue;
        if (value < 0 || n == size)
            return 0;
        held = held << 5 | (unsigned)value;
        bits += 5;
        if (bits >= 8) {
            bits -= 8;
            bytes[n++] = (uint8_t)(held >> bits & 0xFF);
            held &= (1U << bits) - 1;
        }
    }
    return held == 0 ? n : 0;
}

enum err
code_print(const struct join_code *code, char out[CODE_TEXT], struct err_text *why)
{
    uint8_t bytes[BYTES_MOST];
    size_t skip = sizeof scheme - 1;
    size_t host = strlen(code->endpoint);
    if (strncmp(code->endpoint, scheme, skip) != 0 || host - skip > 100)
        return err_input(why, "listen.public", code->endpoint,
                         "tcp://HOST:PORT of at most 100 bytes");
    host -= skip;
    bytes[0] = FORM;
    memcpy(bytes + 1, code->hub, KEY_SIZE);
    memcpy(bytes + 1 + KEY_SIZE, code->secret, SECRET_SIZE);
    memcpy(bytes + FIXED, code->endpoint + skip, host);
    check_of(bytes, FIXED + host, bytes + FIXED + host);
    (void)to_letters(bytes, FIXED + host + CHECK_SIZE, out);
    keys_wipe(bytes, sizeof bytes);
    return ERR_OK;
}

enum err
code_parse(const char *text, struct join_code *out_code, struct err_text *why)
{
    uint8_t bytes[BYTES_MOST], check[CHECK_SIZE];
    size_t n = from_letters(text, bytes, sizeof bytes);
    size_t body = n > CHECK_SIZE ? n - CHECK_SIZE : 0;
    enum err e = ERR_OK;
    if (body <= FIXED)
        return err_set(ERR_INPUT, why,
                       "this is not a whole one-time code: copy all that `enrol` printed");
    check_of(bytes, body, check);
    if (memcmp(check, bytes + body, CHECK_SIZE) != 0 ||
        body - FIXED + sizeof scheme > sizeof out_code->endpoint) {
        e = err_set(ERR_INPUT, why, "the one-time code is mistyped: its check does not fit");
    } else if (bytes[0] != FORM) {
        e = err_set(ERR_FORMAT, why, "the one-time code is of a newer release than this program");
    } else {
        memset(out_code, 0, sizeof *out_code);
        memcpy(out_code->hub, bytes + 1, KEY_SIZE);
        memcpy(out_code->secret, bytes + 1 + KEY_SIZE, SECRET_SIZE);
        memcpy(out_code->endpoint, scheme, sizeof scheme - 1);
        memcpy(out_code->endpoint + sizeof scheme - 1, bytes + FIXED, body - FIXED);
    }
    keys_wipe(bytes, sizeof bytes);
    return e;
}

void
code_pair(const uint8_t secret[SECRET_SIZE], struct key_pair *out_pair)
{
    static const char purpose[] = "knockbox enrolment";
    (void)crypto_generichash(out_pair->secret_key, KEY_SIZE, secret, SECRET_SIZE,
                             (const uint8_t *)purpose, sizeof purpose - 1);
    (void)crypto_scalarmult_base(out_pair->public_key, out_pair->secret_key);
}
