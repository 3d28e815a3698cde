/* cmd_forecast.c - `knockbox forecast`: what comes on the days ahead, and how well that was known. */
#include "client/ask.h"
#include "client/forecast_print.h"

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "forecast"};
    json_t *answer = NULL;
    question_arg(&question, "site", given_value(given, "--site"));
    question_arg(&question, "product", given_value(given, "--product"));
    question_arg(&question, "days", given_value(given, "--days"));
    enum err e = ask_once(given, &question, &answer, why);
    if (e == ERR_OK)
        forecast_print(given->output, answer, stdout);
    json_decref(answer);
    return e;
}

const struct command command_forecast = {
    .word = "forecast",
    .words = "grounds and sales of the days ahead",
    .usage = "[--site SITE] [--product PRODUCT] [--days N]",
    .more = "Beside each forecast stands the same day last week, and how far either\n"
            "was off over the last eight weeks; what was nearer is used.\n",
    .options = {{"--site", "SITE", "one café, day by day"},
                {"--product", "PRODUCT", "sales of one product, day by day"},
                {"--days", "N", "days ahead, 14 when left out"}},
    .examples = {"knockbox forecast", "knockbox forecast --site quayside --days 7",
                 "knockbox forecast --product syrup --csv"},
    .run = run,
};
