/* sheet_main.c - knockbox-sheet: the tables of a report from standard input, a spreadsheet on
 * standard output. Started by knockbox; ends with 1 and a sentence when it cannot.
 */
#include <stdio.h>
#include <stdlib.h>

#include "daemon/exchange/sheet.h"

enum {
    TABLES_MOST = 256 << 20
};

/* Everything to the end; NULL: too much, or no memory. */
static uint8_t *
read_all(FILE *in, size_t *out_len)
{
    size_t room = 65536, used = 0;
    uint8_t *bytes = malloc(room);
    while (bytes != NULL) {
        used += fread(bytes + used, 1, room - used, in);
        if (used < room)
            break;
        uint8_t *more = room < TABLES_MOST ? realloc(bytes, room * 2) : NULL;
        if (more == NULL)
            free(bytes);
        bytes = more;
        room *= 2;
    }
    *out_len = used;
    return bytes;
}

int
main(void)
{
    struct err_text why = {.s = ""};
    uint8_t *bytes = NULL;
    size_t len = 0, size = 0;
    uint8_t *tables = read_all(stdin, &len);
    enum err e = tables != NULL ? sheet_make(tables, len, &bytes, &size, &why)
                                : err_set(ERR_MEM, &why, "no memory for the tables");
    if (e == ERR_OK && (fwrite(bytes, 1, size, stdout) != size || fflush(stdout) != 0))
        e = err_set(ERR_IO, &why, "the spreadsheet could not be written");
    if (e != ERR_OK)
        (void)fprintf(stderr, "knockbox-sheet: %s\n", why.s);
    free(bytes);
    free(tables);
    return e == ERR_OK ? EXIT_SUCCESS : EXIT_FAILURE;
}
