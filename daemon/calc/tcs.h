/* tcs.h - does a food need time and temperature control for safety?
 *
 * US FDA Food Code 2022, 1-201.10(B), tables A and B by water activity and pH:
 * data/tcs-interaction.csv. A reminder for people who assess, not an assessment.
 */
#ifndef DAEMON_CALC_TCS_H
#define DAEMON_CALC_TCS_H

#include <stdbool.h>

enum calc_tcs {
    CALC_TCS_NOT,    /* non-TCS by the table */
    CALC_TCS_ASSESS, /* product assessment required; TCS until one is on file */
};

/* Table A when heat-treated and then packaged, else table B. Bounds as the table's
 * head and notes say; a range of water activity counts with its upper end.
 * By hand: not packaged, 0.97 and pH 5: assess; packaged, 0.97 and pH 4.5: not. */
enum calc_tcs calc_tcs_of(bool heat_treated_and_packaged, double water_activity, double ph);

#endif
