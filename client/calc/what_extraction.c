/* what_extraction.c - calc extraction. */
#include "client/calc/run.h"
#include "daemon/calc/drink.h"
#include "daemon/calc/near.h"

static bool
run_extraction(struct calc_run *run)
{
    double dose = calc_number(run, "dose_g");
    if (dose <= 0)
        return calc_refuse(run, "dose_g", "above 0 (g)");
    double yield = calc_extraction_yield_pct(dose, calc_number(run, "beverage_g"),
                                             calc_number(run, "tds_pct"));
    calc_answer_number(run, "extraction_yield_pct", yield);
    calc_answer_valid(run, calc_over(yield, 100) ? "more came out than was dosed" : NULL);
    calc_answer_source(run, "beverage mass x TDS / dose, by mass");
    return true;
}

static const struct calc_arg args[] = {
    {"dose_g", CALC_ARG_NUMBER, CALC_REQUIRED, "g", 0, 1e9, NULL, "dry coffee", NULL},
    {"beverage_g", CALC_ARG_NUMBER, CALC_REQUIRED, "g", 0, 1e9, NULL, "brewed coffee", NULL},
    {"tds_pct", CALC_ARG_NUMBER, CALC_REQUIRED, "% mass", 0, 100, NULL, "its strength", NULL},
};

const struct calc_what calc_what_extraction = {
    "extraction",
    "share of the coffee that went into the cup",
    args,
    sizeof args / sizeof args[0],
    run_extraction,
    CALC_CAUTION_NONE,
    {"knockbox calc extraction dose_g=18 beverage_g=40 tds_pct=8",
     "knockbox calc extraction dose_g=60 beverage_g=900 tds_pct=1.3"},
};
