/* calendar_main.c - knockbox-calendar: a plan as JSON on stdin, iCalendar on stdout.
 *
 * A program of its own, so that the client starts without libical and its Unicode tables.
 */
#include <stdio.h>
#include <stdlib.h>
#include "client/calendar/calendar.h"

int
main(void)
{
    struct err_text why = {.s = ""};
    char *text = NULL;
    json_error_t error;
    json_t *view = json_loadf(stdin, 0, &error);
    enum err e = view != NULL ? calendar_print(view, &text, &why)
                              : err_set(ERR_INPUT, &why, "stdin: %.200s", error.text);
    if (e == ERR_OK && (fputs(text, stdout) == EOF || fflush(stdout) != 0))
        e = err_set(ERR_IO, &why, "stdout cannot be written");
    if (e != ERR_OK)
        (void)fprintf(stderr, "knockbox-calendar: %s\n", why.s);
    free(text);
    json_decref(view);
    return e == ERR_OK ? EXIT_SUCCESS : EXIT_FAILURE;
}
