/* near.h - equal within a tolerance, with the row in the message. */
#ifndef TESTS_CALC_NEAR_H
#define TESTS_CALC_NEAR_H

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>

#define EXPECT_NEAR(got, want, tolerance, ...)                                                    \
    do {                                                                                          \
        double got_ = (got), want_ = (want);                                                      \
        char row_[200];                                                                           \
        snprintf(row_, sizeof row_, __VA_ARGS__);                                                 \
        cr_assert(fabs(got_ - want_) <= (tolerance), "%s: %.9g, expected %.9g +- %g", row_, got_, \
                  want_, (double)(tolerance));                                                    \
    } while (0)

#endif
