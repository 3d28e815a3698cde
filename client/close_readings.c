/* close_readings.c - the temperatures of the freezers, as part of a guided close. */
#include <stdio.h>
#include <string.h>
#include "client/close_question.h"
#include "proto/decimal.h"
#include "proto/text.h"

/* The freezer that is asked about: the next one that is read. */
static const struct close_choice *
freezer_of(const struct filling *filling)
{
    const struct close_choices *freezers = &filling->hints->freezers;
    for (size_t i = filling->freezer; i < freezers->n; i++)
        if (freezers->list[i].is_read)
            return &freezers->list[i];
    return NULL;
}

static void
before_temp(const struct filling *filling, char out[REMARK_TEXT])
{
    const struct close_choice *freezer = freezer_of(filling);
    if (freezer == NULL)
        return;
    (void)snprintf(out, REMARK_TEXT, "What does %s show?%s%s%s (enter: not read)", freezer->code,
                   freezer->max_c[0] != '\0' ? " At most " : "", freezer->max_c,
                   freezer->max_c[0] != '\0' ? " C." : "");
}

/* "-18.5", "-18,5 C", "-18.5°C". */
static bool
read_temp(const char *answer, char out[16], struct decimal *out_value)
{
    struct err_text ignored; /* one sentence for all that is no temperature */
    size_t n = strspn(answer, "-0123456789.,");
    const char *unit = answer + n + strspn(answer + n, " ");
    if (n == 0 || n >= 16 || (unit[0] != '\0' && strcmp(unit, "C") != 0 && strcmp(unit, "°C") != 0))
        return false;
    (void)snprintf(out, 16, "%.*s", (int)n, answer);
    char *comma = strchr(out, ',');
    if (comma != NULL)
        *comma = '.';
    struct decimal least = decimal_of(-90, 0), most = decimal_of(300, 0);
    return decimal_parse(out, out_value, &ignored) == ERR_OK &&
           decimal_compare(out_value, &least) >= 0 && decimal_compare(out_value, &most) <= 0;
}

/* Outside a limit, compared exactly; no limit holds nothing. */
static bool
is_beyond(const struct decimal *value, const char *limit, int side)
{
    struct decimal bound;
    struct err_text ignored; /* a limit that is no number limits nothing here */
    return limit[0] != '\0' && decimal_parse(limit, &bound, &ignored) == ERR_OK &&
           decimal_compare(value, &bound) * side > 0;
}

static enum err
take_temp(struct filling *filling, const char *answer, struct err_text *why)
{
    const struct close_choice *freezer = freezer_of(filling);
    struct close_sheet *sheet = filling->sheet;
    struct close_reading reading = {.place = ""};
    struct decimal value;
    size_t at = (size_t)(freezer - filling->hints->freezers.list);
    filling->outside = false;
    filling->freezer = at + 1;
    if (freezer == NULL || answer[0] == '\0')
        return ERR_OK;
    if (!read_temp(answer, reading.temp_c, &value))
        return err_input(why, "temperature", answer, "degrees such as -18.5");
    (void)snprintf(reading.place, sizeof reading.place, "%s", freezer->code);
    sheet->readings[sheet->n_readings++] = reading;
    filling->outside =
        is_beyond(&value, freezer->max_c, 1) || is_beyond(&value, freezer->min_c, -1);
    return ERR_OK;
}

static enum question_name
after_temp(const struct filling *filling)
{
    return filling->outside ? ASK_ACTION : close_after_tubs(filling);
}

static void
before_action(const struct filling *filling, char out[REMARK_TEXT])
{
    (void)filling;
    (void)snprintf(out, REMARK_TEXT, "That is outside its limits.");
}

static enum err
take_words(const char *field, const char *answer, char out[SHEET_TEXT], struct err_text *why)
{
    if (!text_good(answer, TEXT_FREE, 1, SHEET_TEXT - 1))
        return err_input(why, field, answer, "a few words, 200 letters at most");
    (void)snprintf(out, SHEET_TEXT, "%s", answer);
    return ERR_OK;
}

static struct close_reading *
last_reading(const struct filling *filling)
{
    return &filling->sheet->readings[filling->sheet->n_readings - 1];
}

static enum err
take_action(struct filling *filling, const char *answer, struct err_text *why)
{
    return take_words("what was done", answer, last_reading(filling)->action, why);
}

static enum question_name
after_action(const struct filling *filling)
{
    (void)filling;
    return ASK_FOOD;
}

static enum err
take_food(struct filling *filling, const char *answer, struct err_text *why)
{
    return take_words("the tubs", answer, last_reading(filling)->disposition, why);
}

const struct close_question close_temp_question = {"Temperature", NULL, before_temp, take_temp,
                                                   after_temp};
const struct close_question close_action_question = {"What was done", NULL, before_action,
                                                     take_action, after_action};
const struct close_question close_food_question = {"And the tubs", NULL, NULL, take_food,
                                                   close_after_tubs};
