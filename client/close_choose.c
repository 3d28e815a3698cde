/* close_choose.c - a code out of what the site offers. */
#include "client/close_choose.h"

#include <stdio.h>
#include <string.h>
#include "proto/text.h"

/* A list in words: "house-dark, single-light"; "" for an empty one. */
static void
list_choices(const struct close_choices *choices, char *out, size_t size)
{
    size_t used = 0;
    out[0] = '\0';
    for (size_t i = 0; i < choices->n && used < size; i++) {
        int n = snprintf(out + used, size - used, "%s%s", i > 0 ? ", " : "", choices->list[i].code);
        used += n > 0 ? (size_t)n : 0;
    }
}

/* The whole code, or the beginning of just one, or of just one name. */
static const struct close_choice *
find_choice(const struct close_choices *choices, const char *answer)
{
    const struct close_choice *found = NULL;
    size_t len = strlen(answer), n = 0;
    for (size_t i = 0; i < choices->n; i++) {
        const struct close_choice *one = &choices->list[i];
        if (strcmp(one->code, answer) == 0)
            return one;
        if (strncasecmp(one->code, answer, len) == 0 || strncasecmp(one->name, answer, len) == 0) {
            found = one;
            n++;
        }
    }
    return n == 1 ? found : NULL;
}

enum err
take_choice(const struct close_choices *choices, const char *field, const char *answer,
            char out[SHEET_CODE], struct err_text *why)
{
    char want[150];
    const struct close_choice *choice = find_choice(choices, answer);
    if (choice != NULL || choices->n == 0) {
        if (choice == NULL && !text_good(answer, TEXT_CODE, 1, SHEET_CODE - 1))
            return err_input(why, field, answer, "a code without blanks");
        (void)snprintf(out, SHEET_CODE, "%s", choice != NULL ? choice->code : answer);
        return ERR_OK;
    }
    list_choices(choices, want, sizeof want);
    return err_input(why, field, answer, want);
}

const char *
only_choice(const struct close_choices *choices)
{
    return choices->n == 1 ? choices->list[0].code : "";
}
