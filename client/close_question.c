/* close_question.c - the questions of a guided close. */
#include "client/close_question.h"

#include <stdio.h>
#include <string.h>
#include "client/show.h"
#include "daemon/serve/next_label.h"
#include "proto/text.h"
#include "proto/when.h"

enum {
    GROSS_MOST_G = 60000
};

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

/* ---- choosing from what the site offers */

/* A list in words: "house-dark, single-light"; "" for an empty one. */
static void
list_choices(const struct close_choices *choices, char *out, size_t size)
{
    size_t used = 0;
    out[0] = '\0';
    for (size_t i = 0; i < choices->n && used < size; i++) {
        int n = snprintf(out + used, size - used, "%s%s", i > 0 ? ", " : "", choices->list[i].code);
        used += n > 0 ? (size_t)n : 0;
    }
}

/* The whole code, or the beginning of just one, or of just one name. */
static const struct close_choice *
find_choice(const struct close_choices *choices, const char *answer)
{
    const struct close_choice *found = NULL;
    size_t len = strlen(answer), n = 0;
    for (size_t i = 0; i < choices->n; i++) {
        const struct close_choice *one = &choices->list[i];
        if (strcmp(one->code, answer) == 0)
            return one;
        if (strncasecmp(one->code, answer, len) == 0 || strncasecmp(one->name, answer, len) == 0) {
            found = one;
            n++;
        }
    }
    return n == 1 ? found : NULL;
}

/* An empty catalogue takes any code: the box may not have heard from the hub yet. */
static enum err
take_choice(const struct close_choices *choices, const char *field, const char *answer,
            char out[SHEET_CODE], struct err_text *why)
{
    char want[150];
    const struct close_choice *choice = find_choice(choices, answer);
    if (choice != NULL || choices->n == 0) {
        if (choice == NULL && !text_good(answer, TEXT_CODE, 1, SHEET_CODE - 1))
            return err_input(why, field, answer, "a code without blanks");
        copy(out, SHEET_CODE, choice != NULL ? choice->code : answer);
        return ERR_OK;
    }
    list_choices(choices, want, sizeof want);
    return err_input(why, field, answer, want);
}

static const char *
only_choice(const struct close_choices *choices)
{
    return choices->n == 1 ? choices->list[0].code : "";
}

struct amount_day
close_day_of(const struct filling *filling)
{
    return (struct amount_day){filling->hints->zone, filling->sheet->day, filling->hints->start_min,
                               filling->now_ms};
}

static bool
is_today(const struct filling *filling)
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
    return (int)(local % (24 * 60));
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

/* ---- a tub: label, coffee, origin, place */

static const char no_tub[] = "none";

static void
before_tub(const struct filling *filling, char out[REMARK_TEXT])
{
    copy(out, REMARK_TEXT, filling->sheet->n_tubs == 0 ? "No tub today: type none." : "");
}

/* The label after the last of this sheet, else the daemon's. */
static void
offer_tub(const struct filling *filling, char out[ANSWER_TEXT])
{
    const struct close_sheet *sheet = filling->sheet;
    offer_text(out, filling->hints->label);
    for (size_t i = 0; i < sheet->n_tubs; i++)
        if (strcmp(sheet->tubs[i].label, out) == 0) {
            char next[LABEL_TEXT];
            next_label(sheet->tubs[i].label, filling->hints->site, sheet->day, next);
            offer_text(out, next);
        }
}

static enum err
take_tub(struct filling *filling, const char *answer, struct err_text *why)
{
    const struct close_sheet *sheet = filling->sheet;
    if (strcmp(answer, no_tub) == 0) {
        filling->tub.label[0] = '\0';
        return ERR_OK;
    }
    if (!text_good(answer, TEXT_CODE, 1, SHEET_CODE - 1))
        return err_input(why, "tub", answer, "a label without blanks, 64 letters at most");
    for (size_t i = 0; i < sheet->n_tubs; i++)
        if (strcmp(sheet->tubs[i].label, answer) == 0)
            return err_input(why, "tub", answer, "another label: this one is on the sheet already");
    if (!filling->again && filling->help != NULL && filling->help->label != NULL) {
        enum err e = filling->help->label(filling->help->owner, answer, why);
        if (e != ERR_OK)
            return e;
    }
    filling->tub = (struct close_tub){.gross_g = 0, .tare_g = filling->hints->tare_g};
    if (sheet->n_tubs > 0) { /* the box, coffee and place of the tub before */
        filling->tub.tare_g = sheet->tubs[sheet->n_tubs - 1].tare_g;
        copy(filling->tub.coffee, SHEET_CODE, sheet->tubs[sheet->n_tubs - 1].coffee);
        copy(filling->tub.place, SHEET_CODE, sheet->tubs[sheet->n_tubs - 1].place);
    }
    copy(filling->tub.label, sizeof filling->tub.label, answer);
    return ERR_OK;
}

enum question_name
close_after_tubs(const struct filling *filling)
{
    const struct close_choices *freezers = &filling->hints->freezers;
    for (size_t i = filling->freezer; i < freezers->n; i++)
        if (freezers->list[i].is_read && is_today(filling))
            return ASK_TEMP;
    return filling->sheet->skip_close ? ASK_WRITE : ASK_BIN;
}

static enum question_name
after_tub(const struct filling *filling)
{
    return filling->tub.label[0] != '\0' ? ASK_COFFEE : close_after_tubs(filling);
}

static void
offer_coffee(const struct filling *filling, char out[ANSWER_TEXT])
{
    const char *last =
        filling->tub.coffee[0] != '\0' ? filling->tub.coffee : filling->hints->coffee;
    offer_text(out, last[0] != '\0' ? last : only_choice(&filling->hints->coffees));
}

static enum err
take_coffee(struct filling *filling, const char *answer, struct err_text *why)
{
    return take_choice(&filling->hints->coffees, "coffee", answer, filling->tub.coffee, why);
}

static enum question_name
after_coffee(const struct filling *filling)
{
    (void)filling;
    return ASK_ORIGIN;
}

static void
offer_origin(const struct filling *filling, char out[ANSWER_TEXT])
{
    const struct close_sheet *sheet = filling->sheet;
    offer_text(out, sheet->n_tubs > 0 ? sheet->tubs[sheet->n_tubs - 1].origin : "espresso");
}

static enum err
take_origin(struct filling *filling, const char *answer, struct err_text *why)
{
    static const char *const origins[] = {"espresso", "filter"};
    for (size_t i = 0; i < 2; i++)
        if (strncasecmp(origins[i], answer, strlen(answer)) == 0) {
            copy(filling->tub.origin, sizeof filling->tub.origin, origins[i]);
            return ERR_OK;
        }
    return err_input(why, "grounds of", answer, "espresso or filter");
}

/* One freezer needs no question. */
static enum question_name
after_origin(const struct filling *filling)
{
    return filling->hints->freezers.n == 1 ? ASK_GROSS : ASK_PLACE;
}

static void
offer_place(const struct filling *filling, char out[ANSWER_TEXT])
{
    offer_text(out, filling->tub.place[0] != '\0' ? filling->tub.place : filling->hints->place);
}

static enum err
take_place(struct filling *filling, const char *answer, struct err_text *why)
{
    return take_choice(&filling->hints->freezers, "freezer", answer, filling->tub.place, why);
}

static enum question_name
after_place(const struct filling *filling)
{
    (void)filling;
    return ASK_GROSS;
}

/* ---- weights */

static void
say_net(struct filling *filling)
{
    char box[32], net[32];
    (void)snprintf(filling->remark, sizeof filling->remark, "box %s, grounds %s",
                   show_mass(filling->tub.tare_g, box),
                   show_mass(filling->tub.gross_g - filling->tub.tare_g, net));
}

static enum err
check_net(const struct filling *filling, const char *answer, struct err_text *why)
{
    char box[32], want[96];
    if (filling->tub.gross_g > filling->tub.tare_g)
        return ERR_OK;
    (void)snprintf(want, sizeof want, "more than the empty box, %s",
                   show_mass(filling->tub.tare_g, box));
    return err_input(why, "gross weight", answer, want);
}

/* Another box than the last one. */
static enum err
take_box(struct filling *filling, const char *answer, struct err_text *why)
{
    char box[32];
    int64_t tare = 0;
    enum err e = amount_mass("empty box", answer, &tare, why);
    if (e == ERR_OK && tare > GROSS_MOST_G)
        e = err_input(why, "empty box", answer, "0 g to 60 kg");
    if (e != ERR_OK)
        return e;
    filling->tub.tare_g = tare;
    (void)snprintf(filling->remark, sizeof filling->remark, "box %s", show_mass(tare, box));
    return ERR_OK;
}

/* "box 0.21 kg" at the weight changes the box, and the weight is asked again. */
static enum err
take_gross(struct filling *filling, const char *answer, struct err_text *why)
{
    enum err e;
    if (filling->hints->freezers.n == 1)
        copy(filling->tub.place, SHEET_CODE, filling->hints->freezers.list[0].code);
    filling->tub.gross_g = 0;
    if (strncasecmp(answer, "box ", 4) == 0)
        return take_box(filling, answer + 4, why);
    e = amount_mass("gross weight", answer, &filling->tub.gross_g, why);
    if (e == ERR_OK && (filling->tub.gross_g < 1 || filling->tub.gross_g > GROSS_MOST_G))
        e = err_input(why, "gross weight", answer, "1 g to 60 kg");
    if (e != ERR_OK || filling->tub.tare_g < 0)
        return e;
    e = check_net(filling, answer, why);
    if (e == ERR_OK)
        say_net(filling);
    return e;
}

static enum question_name
after_gross(const struct filling *filling)
{
    if (filling->tub.tare_g < 0)
        return ASK_TARE;
    return filling->tub.gross_g > 0 ? ASK_KNOCK : ASK_GROSS;
}

static enum err
take_tare(struct filling *filling, const char *answer, struct err_text *why)
{
    enum err e = take_box(filling, answer, why);
    if (e == ERR_OK && filling->tub.tare_g >= filling->tub.gross_g)
        e = err_input(why, "empty box", answer, "less than the gross weight");
    if (e == ERR_OK)
        say_net(filling);
    return e;
}

static enum question_name
after_tare(const struct filling *filling)
{
    (void)filling;
    return ASK_KNOCK;
}

/* ---- times and the warm limit */

static enum err
take_knock(struct filling *filling, const char *answer, struct err_text *why)
{
    struct amount_day day = close_day_of(filling);
    return amount_time("first knock-out", answer, &day, &filling->tub.first_knock_ms, why);
}

static enum question_name
after_knock(const struct filling *filling)
{
    (void)filling;
    return ASK_FROZEN;
}

static void
offer_frozen(const struct filling *filling, char out[ANSWER_TEXT])
{
    offer_text(out, is_today(filling) ? "now" : "");
}

static enum err
take_frozen(struct filling *filling, const char *answer, struct err_text *why)
{
    struct amount_day day = close_day_of(filling);
    char knock[8], clock[8], span[32], want[64];
    int64_t frozen;
    enum err e = amount_time("into freezer", answer, &day, &frozen, why);
    if (e != ERR_OK)
        return e;
    if (frozen < filling->tub.first_knock_ms) {
        (void)snprintf(want, sizeof want, "a time after the first knock-out, %s",
                       amount_clock(day.zone, filling->tub.first_knock_ms, knock));
        return err_input(why, "into freezer", answer, want);
    }
    filling->tub.frozen_ms = frozen;
    (void)snprintf(filling->remark, sizeof filling->remark, "%s, %s warm",
                   amount_clock(day.zone, frozen, clock),
                   show_span((frozen - filling->tub.first_knock_ms) / 60000, span));
    return ERR_OK;
}

/* The tub goes onto the sheet. */
static void
keep_tub(struct filling *filling)
{
    if (filling->sheet->n_tubs < SHEET_TUBS)
        filling->sheet->tubs[filling->sheet->n_tubs++] = filling->tub;
    filling->tub = (struct close_tub){.gross_g = 0};
}

static enum err
take_frozen_and_keep(struct filling *filling, const char *answer, struct err_text *why)
{
    enum err e = take_frozen(filling, answer, why);
    if (e == ERR_OK && !close_is_warm(filling->hints, &filling->tub))
        keep_tub(filling);
    return e;
}

static enum question_name
after_frozen(const struct filling *filling)
{
    return filling->tub.label[0] != '\0' ? ASK_WARM : ASK_ANOTHER;
}

static void
before_warm(const struct filling *filling, char out[REMARK_TEXT])
{
    char span[32];
    const struct close_hints *hints = filling->hints;
    (void)snprintf(out, REMARK_TEXT,
                   "Over the %s that this site allows%s%s%s. Thrown away, it is written into "
                   "%s; kept, the kitchen is told.",
                   show_span(hints->warm_limit_min, span), hints->warm_source[0] ? " (" : "",
                   hints->warm_source, hints->warm_source[0] ? ")" : "",
                   hints->waste_stream[0] != '\0' ? hints->waste_stream : "an unknown stream");
}

static void
offer_warm(const struct filling *filling, char out[ANSWER_TEXT])
{
    (void)filling;
    offer_text(out, "throw");
}

static enum err
take_warm(struct filling *filling, const char *answer, struct err_text *why)
{
    size_t len = strlen(answer);
    if (strncasecmp("keep", answer, len) == 0) {
        keep_tub(filling);
        return ERR_OK;
    }
    if (strncasecmp("throw", answer, len) != 0)
        return err_input(why, "the tub", answer, "keep or throw");
    filling->tub.thrown = true;
    return ERR_OK;
}

static enum question_name
after_warm(const struct filling *filling)
{
    return filling->tub.label[0] != '\0' ? ASK_REASON : ASK_ANOTHER;
}

static void
offer_reason(const struct filling *filling, char out[ANSWER_TEXT])
{
    (void)filling;
    offer_text(out, "stood too long");
}

static enum err
take_reason(struct filling *filling, const char *answer, struct err_text *why)
{
    if (!text_good(answer, TEXT_FREE, 1, SHEET_TEXT - 1))
        return err_input(why, "reason", answer, "a few words, 200 letters at most");
    copy(filling->tub.reason, sizeof filling->tub.reason, answer);
    keep_tub(filling);
    return ERR_OK;
}

static enum question_name
after_reason(const struct filling *filling)
{
    (void)filling;
    return ASK_ANOTHER;
}

/* ---- the rest of the day */

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
    [ASK_TUB] = {"Tub", offer_tub, before_tub, take_tub, after_tub},
    [ASK_COFFEE] = {"Coffee", offer_coffee, NULL, take_coffee, after_coffee},
    [ASK_ORIGIN] = {"Grounds of", offer_origin, NULL, take_origin, after_origin},
    [ASK_PLACE] = {"Freezer", offer_place, NULL, take_place, after_place},
    [ASK_GROSS] = {"Gross weight", NULL, NULL, take_gross, after_gross},
    [ASK_TARE] = {"Empty box", NULL, NULL, take_tare, after_tare},
    [ASK_KNOCK] = {"First knock-out", NULL, NULL, take_knock, after_knock},
    [ASK_FROZEN] = {"Into freezer", offer_frozen, NULL, take_frozen_and_keep, after_frozen},
    [ASK_WARM] = {"Keep or throw", offer_warm, before_warm, take_warm, after_warm},
    [ASK_REASON] = {"Reason", offer_reason, NULL, take_reason, after_reason},
    [ASK_ANOTHER] = {"Another tub?", offer_another, NULL, take_another, after_another},
    [ASK_BIN] = {"To a bin", NULL, before_bin, take_bin, after_bin},
    [ASK_WRITE] = {"Write it?", offer_write, before_write, take_write, after_write},
};

const struct close_question *
close_question(enum question_name name)
{
    switch (name) {
    case ASK_TEMP:
        return &close_temp;
    case ASK_ACTION:
        return &close_action;
    case ASK_FOOD:
        return &close_food;
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
