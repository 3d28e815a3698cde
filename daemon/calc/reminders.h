/* reminders.h - published facts that touch a drink, for licensed people.
 *
 * Rows of data/alcohol-rules.csv. A reminder says that a limit bears on this
 * drink and where it stands; it never says that a product is lawful.
 */
#ifndef DAEMON_CALC_REMINDERS_H
#define DAEMON_CALC_REMINDERS_H

#include <stdbool.h>
#include <stddef.h>

/* The members are the columns of alcohol-rules.csv. Lent for ever. */
struct calc_rule {
    const char *id;
    const char *jurisdiction;
    const char *topic;
    const char *comparator;
    const char *value;
    const char *unit;
    const char *rule;
    const char *source;
    const char *status; /* SAW, MEMORY: only SAW rows become reminders */
    const char *where_seen;
};

/* NULL past the end; NULL when no rule has the id. */
const struct calc_rule *calc_rule_at(size_t i);
const struct calc_rule *calc_rule_find(const char *id);

/* Where it is to be sold. */
enum calc_market {
    CALC_MARKET_EU = 1,
    CALC_MARKET_UK = 2,
    CALC_MARKET_US = 4,
    CALC_MARKET_ALL = 7,
};

struct calc_drink {
    double abv_pct;        /* at 20 C */
    double invert_g_per_l; /* sugar as invert sugar */
    double sugar_mass_pct; /* of the liquor */
    bool has_coffee;       /* coffee or grounds went in: there is caffeine */
    bool has_grounds;
};

enum {
    CALC_REMINDERS_MOST = 32
};

/* Fills `out` with the rules that touch the drink, in the table's order, no id
 * twice; returns how many. By hand: 10 % vol and 210 g/l brings EU-LIQ-ABV (under
 * 15) and not EU-LIQ-SUGAR (100 and over); 15 % vol brings neither. */
size_t calc_reminders(const struct calc_drink *drink, unsigned markets,
                      const struct calc_rule *out[CALC_REMINDERS_MOST]);

enum {
    CALC_REMINDER_TEXT = 512
};

/* "liqueur minimum strength (EU): >= 15 % vol". Returns `text`. */
const char *calc_reminder_text(const struct calc_rule *rule, char text[CALC_REMINDER_TEXT]);

#endif
