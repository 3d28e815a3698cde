/* words.c - the table of words. */
#include "daemon/serve/words.h"

#include <string.h>

enum {
    STAFF =
        ROLE_BIT_BARISTA | ROLE_BIT_DRIVER | ROLE_BIT_KITCHEN | ROLE_BIT_OFFICE | ROLE_BIT_OPERATOR,
    DESK = ROLE_BIT_OFFICE | ROLE_BIT_OPERATOR,
    COOKS = ROLE_BIT_KITCHEN | ROLE_BIT_OFFICE | ROLE_BIT_OPERATOR,
    READERS = COOKS | ROLE_BIT_READER,
};

static const struct word table[] = {
    {"write", STAFF, WORD_ANYWHERE, "mode keep_good force loose brief", true, word_write},
    {"export", READERS, WORD_ANYWHERE, "from to site kind after", false, word_export},
    {"status", ROLE_BIT_ALL, WORD_ANYWHERE, "", false, word_status},
    {"link", ROLE_BIT_ALL, WORD_ANYWHERE, "", false, word_link},
    {"freezer", ROLE_BIT_ALL, WORD_ANYWHERE, "site place all", false, word_freezer},
    {"stock", ROLE_BIT_ALL, WORD_ANYWHERE, "", false, word_stock},
    {"hints", STAFF, WORD_ANYWHERE, "site", false, word_hints},
    {"label", STAFF, WORD_ANYWHERE, "code", false, word_label},
    {"who", ROLE_BIT_ALL, WORD_ANYWHERE, "", false, word_who},
    {"report", READERS, WORD_AT_HUB, "month from to site basis why form frame send as dry_run",
     false, word_report},
    {"outbox", READERS, WORD_AT_HUB, "do id", false, word_outbox},
    {"trace", READERS, WORD_AT_HUB, "code form", false, word_trace},
    {"period", READERS, WORD_AT_HUB, "do month reason edition assured_by", false, word_period},
    {"plan", READERS, WORD_AT_HUB, "do days tubs_file bound_cents effort number draft full code",
     true, word_plan},
    {"forecast", READERS, WORD_AT_HUB, "site product days", false, word_forecast},
    {"today", ROLE_BIT_ALL, WORD_ANYWHERE, "day", false, word_today},
    {"recipe", READERS, WORD_ANYWHERE,
     "do code product_ml product_g grounds_g tubs vessel grounds sugar spirit coffee moisture_pct "
     "target_abv_pct target_sugar_g_l market notes",
     false, word_recipe},
    {"verify", READERS, WORD_ANYWHERE, "", false, word_verify},
    {"digest", ROLE_BIT_OPERATOR | ROLE_BIT_OFFICE, WORD_ANYWHERE, "rebuild", false, word_digest},
};

const struct word *
words(unsigned *out_n)
{
    *out_n = sizeof table / sizeof table[0];
    return table;
}

const struct word *
word_find(const char *word)
{
    for (size_t i = 0; word != NULL && i < sizeof table / sizeof table[0]; i++)
        if (strcmp(table[i].word, word) == 0)
            return &table[i];
    return NULL;
}

bool
word_takes(const struct word *word, const char *arg)
{
    size_t len = strlen(arg);
    const char *at = word->args;
    while (len > 0 && (at = strstr(at, arg)) != NULL) {
        bool starts = at == word->args || at[-1] == ' ';
        if (starts && (at[len] == '\0' || at[len] == ' '))
            return true;
        at += len;
    }
    return false;
}
