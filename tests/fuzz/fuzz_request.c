/* fuzz_request.c - what a person may ask a hub: any word, arguments and lines.
 *
 * Input: a word, `name=value` words, then lines, each part ended by a line feed; ' stands for ".
 * Every request gets one last answer, a refusal has words, and the chains stay whole.
 */
#include <stdlib.h>
#include <string.h>

#include "proto/text.h"
#include "tests/fuzz/fuzz.h"
#include "tests/serve/room.h"

enum {
    ROUNDS = 200,    /* requests to one hub: making one costs more than a request */
    LINES_MOST = 50, /* of one request */
    ARGS_MOST = 15,
};

static struct room *room;

static void
fresh_room(void)
{
    static int rounds;
    if (room != NULL && ++rounds < ROUNDS)
        return;
    rounds = 0;
    if (room != NULL) {
        if (room_ask(room, "verify", "", NULL) != ERR_OK)
            abort();
        room_free(room);
    }
    room = room_new("kitchen", true);
    if (room_ask(room, "write", "mode=import", saltmere_catalogue) != ERR_OK)
        abort();
}

/* Text (the codec has looked), `name=value` each, and few enough: what the room's own packing takes.
 */
static bool
args_fit(const char *args)
{
    int n = 0;
    if (!text_good(args, TEXT_FREE, 0, 4000))
        return false;
    for (const char *word = args; *word != '\0';) {
        size_t len = strcspn(word, " ");
        if (memchr(word, '=', len) == NULL || ++n > ARGS_MOST)
            return false;
        word += len + (word[len] != '\0');
    }
    return true;
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *text = strndup((const char *)data, size), *lines = text;
    if (text == NULL)
        abort();
    const char *word = strsep(&lines, "\n");
    char *args = lines != NULL ? strsep(&lines, "\n") : NULL;
    int n = 0;
    for (char *c = lines; c != NULL && *c != '\0'; c++)
        if (*c == '\n' && ++n == LINES_MOST)
            *c = '\0', c--;
    if (args != NULL && !args_fit(args))
        args = NULL;
    if (!text_good(word, TEXT_FREE, 1, 32))
        word = "who";
    fresh_room();
    enum err e = room_ask_in_pieces(room, word, args != NULL ? args : "", lines, 7);
    if (e == ERR_PEER || e == ERR_IO || e == ERR_MEM || (e != ERR_OK && room_why(room)[0] == '\0'))
        abort();
    free(text);
    return 0;
}
