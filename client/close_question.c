/* close_question.c - the questions of a guided close about the day; a tub's are in close_tub.c. */
#include "client/close_question.h"

#include <stdio.h>
#include <string.h>
#include "client/close_choose.h"
#include "client/show.h"
#include "proto/text.h"
#include "proto/when.h"

static void
copy(char *out, size_t size, const char *text)
{
    (void)snprintf(out, size, "%s", text);
}

static void
offer_text(char out[ANSWER_TEXT], const char *text)
{
    copy(out, ANSWER_TEXT, text);
}

struct amount_day
close_day_of(const struct filling *filling)
{
    return (struct amount_day){filling->hints->zone, filling->sheet->day, filling->hints->start_min,
                               filling->now_ms};
}

bool
close_is_today(const struct filling *filling)
{
    return filling->sheet->day == filling->hints->today;
}

/* ---- day, signature */

static void
before_day(const struct filling *filling, char out[REMARK_TEXT])
{
    size_t used = 0;
    char day[48];
    copy(out, REMARK_TEXT, "Not closed yet:");
    for (size_t i = 0; i < filling->hints->n_open_days && used + 60 < REMARK_TEXT; i++) {
        used = strlen(out);
        (void)snprintf(out + used, REMARK_TEXT - used, "%s %s", i > 0 ? "," : "",
                       show_long_date(filling->hints->open_days[i], day));
    }
}

static bool
is_open_day(const struct close_hints *hints, int32_t day)
{
    for (size_t i = 0; i < hints->n_open_days; i++)
        if (hints->open_days[i] == day)
            return true;
    return false;
}

static int
local_minute(const struct filling *filling)
{
    int64_t local =
        filling->now_ms / 60000 + zone_offset_min(filling->hints->zone, filling->now_ms);
    return (int)(local % INT64_C(1440));
}

/* In the morning it is the evening before that is still open. */
static void
offer_day(const struct filling *filling, char out[ANSWER_TEXT])
{
    const struct close_hints *hints = filling->hints;
    char text[DAY_TEXT];
    bool morning = local_minute(filling) < 12 * 60 && is_open_day(hints, hints->today - 1);
    if (morning)
        offer_text(out, "yesterday");
    else
        offer_text(out, hints->closed_today ? day_print(hints->open_days[0], text) : "today");
}

static enum err
take_day(struct filling *filling, const char *answer, struct err_text *why)
{
    int32_t day = filling->hints->today;
    if (strcmp(answer, "yesterday") == 0)
        day--;
    else if (strcmp(answer, "today") != 0 && !day_parse(answer, &day))
        return err_input(why, "day", answer, "today, yesterday or a day such as 2026-03-03");
    if (day > filling->hints->today)
        return err_input(why, "day", answer, "a day that has been");
    bool open = is_open_day(filling->hints, day);
    filling->sheet->day = day;
    filling->sheet->skip_close =
        !open && (day != filling->hints->today || filling->hints->closed_today);
    if (filling->sheet->skip_close)
        copy(filling->remark, sizeof filling->remark,
             "That day is closed already: tubs are added to it.");
    return ERR_OK;
}

static enum question_name
after_day(const struct filling *filling)
{
    return filling->sheet->by[0] != '\0' ? ASK_TUB : ASK_BY;
}

static void
offer_by(const struct filling *filling, char out[ANSWER_TEXT])
{
    offer_text(out, filling->hints->by);
}

static enum err
take_by(struct filling *filling, const char *answer, struct err_text *why)
{
    if (!text_good(answer, TEXT_FREE, 1, sizeof filling->sheet->by - 1))
        return err_input(why, "initials", answer, "your initials, 16 letters at most");
    copy(filling->sheet->by, sizeof filling->sheet->by, answer);
    return ERR_OK;
}

static enum question_name
after_by(const struct filling *filling)
{
    (void)filling;
    return ASK_TUB;
}

/* ---- the rest of the day */

enum question_name
close_after_tubs(const struct filling *filling)
{
    const struct close_choices *freezers = &filling->hints->freezers;
    for (size_t i = filling->freezer; i < freezers->n; i++)
        if (freezers->list[i].is_read && close_is_today(filling))
            return ASK_TEMP;
    return filling->sheet->skip_close ? ASK_WRITE : ASK_BIN;
}

/* 1 yes, 0 no, -1 neither. */
static int
yes_or_no(const char *answer)
{
    size_t len = strlen(answer);
    if (strncasecmp("yes", answer, len) == 0)
        return 1;
    return strncasecmp("no", answer, len) == 0 ? 0 : -1;
}

static void
offer_another(const struct filling *filling, char out[ANSWER_TEXT])
{
    (void)filling;
    offer_text(out, "no");
}

static enum err
take_another(struct filling *filling, const char *answer, struct err_text *why)
{
    int yes = yes_or_no(answer);
    if (yes < 0)
        return err_input(why, "another tub", answer, "yes or no");
    if (yes == 1 && filling->sheet->n_tubs == SHEET_TUBS)
        return err_input(why, "another tub", answer, "no: the sheet is full, close again for more");
    /* remembered in the label, which the next question overwrites */
    copy(filling->tub.label, sizeof filling->tub.label, yes == 1 ? "?" : "");
    return ERR_OK;
}

static enum question_name
after_another(const struct filling *filling)
{
    return filling->tub.label[0] != '\0' ? ASK_TUB : close_after_tubs(filling);
}

static void
before_bin(const struct filling *filling, char out[REMARK_TEXT])
{
    (void)filling;
    copy(out, REMARK_TEXT, "Grounds that went straight to a bin (enter: not known; 0: none)");
}

/* "1.9 kg, estimated, general": the words behind the weight may be left out. */
static void
split_commas(const char *answer, char parts[3][ANSWER_TEXT])
{
    size_t n = 0;
    parts[0][0] = parts[1][0] = parts[2][0] = '\0';
    for (const char *at = answer; n < 3; n++) {
        const char *comma = strstr(at, ", ");
        size_t len = comma != NULL && n < 2 ? (size_t)(comma - at) : strlen(at);
        (void)snprintf(parts[n], ANSWER_TEXT, "%.*s", (int)(len < ANSWER_TEXT ? len : 0), at);
        if (comma == NULL)
            break;
        at = comma + 2 + strspn(comma + 2, " ");
    }
}

static enum err
take_method(struct close_sheet *sheet, const struct close_hints *hints, const char *word,
            struct err_text *why)
{
    static const char *const methods[] = {"weighed", "counted", "estimated"};
    if (word[0] == '\0') {
        bool fits = hints->bin_method[0] != '\0' && strcmp(hints->bin_method, "sampled") != 0;
        copy(sheet->bin_method, sizeof sheet->bin_method, fits ? hints->bin_method : "estimated");
        return ERR_OK;
    }
    for (size_t i = 0; i < 3; i++)
        if (strncasecmp(methods[i], word, strlen(word)) == 0) {
            copy(sheet->bin_method, sizeof sheet->bin_method, methods[i]);
            return ERR_OK;
        }
    return err_input(why, "how it was found", word, "weighed, counted or estimated");
}

static enum err
take_bin(struct filling *filling, const char *answer, struct err_text *why)
{
    char parts[3][ANSWER_TEXT], mass[32];
    struct close_sheet *sheet = filling->sheet;
    sheet->has_bin = answer[0] != '\0';
    if (!sheet->has_bin)
        return ERR_OK;
    split_commas(answer, parts);
    enum err e = amount_mass("straight to a bin", parts[0], &sheet->bin_g, why);
    sheet->bin_method[0] = '\0';
    copy(sheet->bin_stream, SHEET_CODE, sheet->bin_g > 0 ? filling->hints->bin_stream : "");
    if (e == ERR_OK && sheet->bin_g > 0)
        e = take_method(sheet, filling->hints, parts[1], why);
    if (e == ERR_OK && parts[2][0] != '\0')
        e = take_choice(&filling->hints->streams, "stream", parts[2], sheet->bin_stream, why);
    if (e == ERR_OK)
        (void)snprintf(filling->remark, sizeof filling->remark, "%s%s%s%s%s",
                       show_mass(sheet->bin_g, mass), sheet->bin_method[0] ? ", " : "",
                       sheet->bin_method, sheet->bin_stream[0] ? ", " : "", sheet->bin_stream);
    return e;
}

static enum question_name
after_bin(const struct filling *filling)
{
    (void)filling;
    return ASK_WRITE;
}

static void
before_write(const struct filling *filling, char out[REMARK_TEXT])
{
    (void)close_sheet_words(filling->sheet, filling->hints, out, REMARK_TEXT);
}

static void
offer_write(const struct filling *filling, char out[ANSWER_TEXT])
{
    (void)filling;
    offer_text(out, "yes");
}

static enum err
take_write(struct filling *filling, const char *answer, struct err_text *why)
{
    (void)filling;
    if (yes_or_no(answer) == 1)
        return ERR_OK;
    return err_input(why, "write it", answer, "yes, or b to go back (Ctrl-C leaves)");
}

static enum question_name
after_write(const struct filling *filling)
{
    (void)filling;
    return ASK_NOTHING;
}

/* ---- the table */

static const struct close_question questions[] = {
    [ASK_DAY] = {"Which day", offer_day, before_day, take_day, after_day},
    [ASK_BY] = {"Your initials", offer_by, NULL, take_by, after_by},
    [ASK_ANOTHER] = {"Another tub?", offer_another, NULL, take_another, after_another},
    [ASK_BIN] = {"To a bin", NULL, before_bin, take_bin, after_bin},
    [ASK_WRITE] = {"Write it?", offer_write, before_write, take_write, after_write},
};

const struct close_question *
close_question(enum question_name name)
{
    switch (name) {
    case ASK_TUB:
        return &close_tub_question;
    case ASK_COFFEE:
        return &close_coffee_question;
    case ASK_ORIGIN:
        return &close_origin_question;
    case ASK_PLACE:
        return &close_place_question;
    case ASK_GROSS:
        return &close_gross_question;
    case ASK_TARE:
        return &close_tare_question;
    case ASK_KNOCK:
        return &close_knock_question;
    case ASK_FROZEN:
        return &close_frozen_question;
    case ASK_WARM:
        return &close_warm_question;
    case ASK_REASON:
        return &close_reason_question;
    case ASK_TEMP:
        return &close_temp_question;
    case ASK_ACTION:
        return &close_action_question;
    case ASK_FOOD:
        return &close_food_question;
    default:
        return &questions[name];
    }
}

enum question_name
close_first(const struct close_hints *hints)
{
    bool other_open = false;
    for (size_t i = 0; i < hints->n_open_days; i++)
        other_open = other_open || hints->open_days[i] != hints->today;
    if (other_open)
        return ASK_DAY;
    return hints->by_given ? ASK_TUB : ASK_BY;
}
