/* target.h - what to weigh for a wanted strength, sweetness and size.
 *
 * The inverse of blend.h: ethanol and sugar follow from the target, and the water
 * (or brewed coffee) is what fills the volume by model B. Grounds and spirit bring
 * water of their own; when they bring more than there is room for, there is no
 * answer, and the nearest target that has one is told.
 */
#ifndef DAEMON_CALC_TARGET_H
#define DAEMON_CALC_TARGET_H

struct calc_target_in {
    double abv_pct;       /* 0 .. 100, at 20 C */
    double sugar_g_per_l; /* 0 or more */
    double volume_ml;     /* of liquor at 20 C; 0: sugar_g = grounds_g decides */
    double grounds_g;
    double grounds_moisture_pct;
    double spirit_abv_pct;
    double coffee_tds_pct; /* strength of what fills up; 0: water */
};

enum calc_target_limit {
    CALC_TARGET_REACHED,
    CALC_TARGET_SPIRIT_TOO_WEAK,
    CALC_TARGET_GROUNDS_TOO_WET,
    CALC_TARGET_TOO_SWEET,     /* no room, or more than water dissolves */
    CALC_TARGET_OUTSIDE_MODEL, /* over 45 % vol with sugar, or 450 g/l with ethanol */
};

struct calc_target {
    enum calc_target_limit limit;
    double spirit_g, spirit_ml; /* ml at 20 C */
    double sugar_g;
    double fill_g; /* water, or coffee of coffee_tds_pct */
    double volume_ml;
    double mass_g; /* of the liquor: dry grounds stand outside */
    /* When not reached: the nearest that is, strength lowered first, else sugar;
     * NAN when none was found. */
    double nearest_abv_pct, nearest_sugar_g_per_l;
};

/* By hand: 20 % vol, 100 g/l, 1000 ml from 40 %: 474.0 g spirit (500 ml), 100 g
 * sugar, and water to the litre. Needs a volume or grounds above 0. */
void calc_target(const struct calc_target_in *in, struct calc_target *out);

/* One sentence, "" for reached. */
const char *calc_target_limit_text(enum calc_target_limit limit);

#endif
