/* reminders.c - which published facts touch a drink. */
#include "daemon/calc/reminders.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/calc/near.h"

static const struct calc_rule rules[] = {
#include "daemon/calc/alcohol-rules.inc"
};

enum {
    RULES = sizeof rules / sizeof rules[0]
};

const struct calc_rule *
calc_rule_at(size_t i)
{
    return i < RULES ? &rules[i] : NULL;
}

const struct calc_rule *
calc_rule_find(const char *id)
{
    for (size_t i = 0; i < RULES; i++)
        if (strcmp(rules[i].id, id) == 0)
            return &rules[i];
    return NULL;
}

/* When a rule touches a drink. The limit is the row's own value unless given. */
enum when {
    UNDER,   /* the number is under the limit: the row asks for more */
    AT_MOST, /* on it or under */
    OVER,    /* over the limit: the row applies */
    AT_LEAST,
    PRESENT, /* the number is above 0 */
};

enum number {
    ABV,
    INVERT,
    SUGAR_MASS,
    COFFEE,
    GROUNDS
};

struct trigger {
    const char *id;
    unsigned markets;
    bool needs_ethanol;
    enum number number;
    enum when when;
    double limit; /* NAN: the value of the row */
};

/* In no order: the answer follows the table. Limits of strength statements are
 * the scope of Annex XII of 1169/2011 and of Article 16(4), 1.2 % vol. */
static const struct trigger triggers[] = {
    {"EU-LIQ-ABV", CALC_MARKET_EU, true, ABV, UNDER, NAN},
    {"EU-LIQ-SUGAR", CALC_MARKET_EU, true, INVERT, UNDER, NAN},
    {"GB-LIQ-ABV", CALC_MARKET_UK, true, ABV, UNDER, NAN},
    {"GB-LIQ-SUGAR", CALC_MARKET_UK, true, INVERT, UNDER, NAN},
    {"US-LIQ-SUGAR", CALC_MARKET_US, true, SUGAR_MASS, UNDER, NAN},
    {"EU-INGR-EXEMPT", CALC_MARKET_EU | CALC_MARKET_UK, false, ABV, AT_MOST, NAN},
    {"EU-DMD-EXEMPT", CALC_MARKET_EU | CALC_MARKET_UK, false, ABV, UNDER, NAN},
    {"EU-ABV-LABEL", CALC_MARKET_EU | CALC_MARKET_UK, false, ABV, OVER, NAN},
    {"EU-ABV-TOL", CALC_MARKET_EU | CALC_MARKET_UK, false, ABV, OVER, 1.2},
    {"EU-ABV-TOL-MAC", CALC_MARKET_EU | CALC_MARKET_UK, false, ABV, OVER, 1.2},
    {"US-WARNING", CALC_MARKET_US, false, ABV, AT_LEAST, NAN},
    {"EU-CAFFEINE", CALC_MARKET_EU | CALC_MARKET_UK, false, COFFEE, PRESENT, NAN},
    {"US-CAFFEINE", CALC_MARKET_US, true, COFFEE, PRESENT, NAN},
    {"EU-NOVEL", CALC_MARKET_EU, false, GROUNDS, PRESENT, NAN},
    {"UK-APPROVAL", CALC_MARKET_UK, true, ABV, PRESENT, NAN},
    {"US-RETAIL-MIX", CALC_MARKET_US, true, ABV, PRESENT, NAN},
};

static double
number_of(const struct calc_drink *drink, enum number which)
{
    switch (which) {
    case ABV:
        return drink->abv_pct;
    case INVERT:
        return drink->invert_g_per_l;
    case SUGAR_MASS:
        return drink->sugar_mass_pct;
    case COFFEE:
        return drink->has_coffee ? 1 : 0;
    case GROUNDS:
        return drink->has_grounds ? 1 : 0;
    }
    return NAN;
}

/* False for NaN. */
static bool
bears(enum when when, double number, double limit)
{
    if (isnan(number))
        return false;
    switch (when) {
    case UNDER:
        return calc_under(number, limit);
    case AT_MOST:
        return calc_at_most(number, limit);
    case OVER:
        return calc_over(number, limit);
    case AT_LEAST:
        return calc_at_least(number, limit);
    case PRESENT:
        return number > 0;
    }
    return false;
}

static bool
touches(const struct calc_rule *rule, const struct calc_drink *drink, unsigned markets)
{
    for (size_t i = 0; i < sizeof triggers / sizeof triggers[0]; i++) {
        const struct trigger *t = &triggers[i];
        if (strcmp(t->id, rule->id) != 0 || (t->markets & markets) == 0)
            continue;
        double limit = isnan(t->limit) ? strtod(rule->value, NULL) : t->limit;
        bool has_it = !t->needs_ethanol || drink->abv_pct > 0;
        return has_it && bears(t->when, number_of(drink, t->number), limit);
    }
    return false;
}

size_t
calc_reminders(const struct calc_drink *drink, unsigned markets,
               const struct calc_rule *out[CALC_REMINDERS_MOST])
{
    size_t n = 0;
    for (size_t i = 0; i < RULES && n < CALC_REMINDERS_MOST; i++)
        if (strcmp(rules[i].status, "SAW") == 0 && touches(&rules[i], drink, markets))
            out[n++] = &rules[i];
    return n;
}

const char *
calc_reminder_text(const struct calc_rule *rule, char text[CALC_REMINDER_TEXT])
{
    bool limit = rule->value[0] != '\0';
    (void)snprintf(text, CALC_REMINDER_TEXT, "%s (%s)%s%s%s%s%s%s%s%s", rule->topic,
                   rule->jurisdiction, limit ? ": " : "", limit ? rule->comparator : "",
                   limit ? " " : "", rule->value, limit ? " " : "", limit ? rule->unit : "",
                   rule->rule[0] != '\0' ? "; " : "", rule->rule);
    return text;
}
