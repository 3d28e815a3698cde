/* close_tub.c - the questions about one tub: label, coffee, weights, times, and whether it stays. */
#include <stdio.h>
#include <string.h>
#include "client/close_choose.h"
#include "client/close_question.h"
#include "client/show.h"
#include "daemon/serve/next_label.h"
#include "proto/text.h"

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

/* ---- label, coffee, origin, place */

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
    offer_text(out, close_is_today(filling) ? "now" : "");
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

/* ---- the questions */

const struct close_question close_tub_question = {"Tub", offer_tub, before_tub, take_tub,
                                                  after_tub};
const struct close_question close_coffee_question = {"Coffee", offer_coffee, NULL, take_coffee,
                                                     after_coffee};
const struct close_question close_origin_question = {"Grounds of", offer_origin, NULL, take_origin,
                                                     after_origin};
const struct close_question close_place_question = {"Freezer", offer_place, NULL, take_place,
                                                    after_place};
const struct close_question close_gross_question = {"Gross weight", NULL, NULL, take_gross,
                                                    after_gross};
const struct close_question close_tare_question = {"Empty box", NULL, NULL, take_tare, after_tare};
const struct close_question close_knock_question = {"First knock-out", NULL, NULL, take_knock,
                                                    after_knock};
const struct close_question close_frozen_question = {"Into freezer", offer_frozen, NULL,
                                                     take_frozen_and_keep, after_frozen};
const struct close_question close_warm_question = {"Keep or throw", offer_warm, before_warm,
                                                   take_warm, after_warm};
const struct close_question close_reason_question = {"Reason", offer_reason, NULL, take_reason,
                                                     after_reason};
