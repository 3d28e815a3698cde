/* word_today.c - `today`: the day sheet of this site. */
#include <string.h>
#include "daemon/serve/plan_record.h"
#include "daemon/serve/sheet.h"
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"
#include "proto/when.h"

/* The day in the plan's view; NULL: it has it not. */
static const json_t *
day_of(const json_t *plan, int32_t day)
{
    const json_t *days = json_object_get(plan, "days");
    char text[DAY_TEXT];
    (void)day_print(day, text);
    for (size_t i = 0; i < json_array_size(days); i++) {
        const char *one = json_string_value(json_object_get(json_array_get(days, i), "day"));
        if (one != NULL && strcmp(one, text) == 0)
            return json_array_get(days, i);
    }
    return NULL;
}

static enum err
at_kitchen(struct sheet *sheet, struct err_text *why)
{
    json_t *plan = NULL;
    enum err e = plan_record_read(sheet->call, &plan, why);
    e = e == ERR_NOT_FOUND ? ERR_OK : e;
    sheet->plan = plan;
    sheet->today = day_of(plan, sheet->day);
    json_t *number = json_object_get(plan, "number");
    (void)json_object_set(sheet->answer, "plan", number != NULL ? number : json_null());
    (void)json_object_set_new(sheet->answer, "planned", json_boolean(sheet->today != NULL));
    if (e == ERR_OK)
        e = under_way_load(sheet->call, sheet->call->serve->options.site, &sheet->under_way, why);
    if (e == ERR_OK)
        e = sheet_thaw(sheet, why);
    if (e == ERR_OK)
        e = sheet_mix(sheet, why);
    if (e == ERR_OK)
        e = sheet_under_way(sheet, why);
    if (e == ERR_OK)
        e = sheet_van(sheet, why);
    under_way_done(&sheet->under_way);
    json_decref(plan);
    return e;
}

enum err
word_today(struct call *call, struct err_text *why)
{
    const struct serve_options *options = &call->serve->options;
    struct sheet sheet = {.call = call};
    enum err e = call_ledger(call, &sheet.ledger, why);
    if (e == ERR_OK)
        e = arena_init(&sheet.arena, ARENA_RECORD, why);
    if (e != ERR_OK)
        return e;
    int64_t now = show_now(call);
    sheet.day = show_today(call, options->site);
    const Knockbox__Site *site = show_site(call, options->site, sheet.day);
    sheet.answer =
        json_pack("{s:s, s:o, s:b, s:o}", "site", options->site, "name",
                  show_text(site != NULL ? site->name : NULL), "kitchen", options->is_hub, "now",
                  show_instant(now, show_offset(call, options->site, now)));
    e = call_day(call, "day", &sheet.day, why);
    (void)json_object_set_new(sheet.answer, "day", show_day(sheet.day));
    if (e == ERR_OK)
        e = options->is_hub ? at_kitchen(&sheet, why) : sheet_handover(&sheet, why);
    arena_done(&sheet.arena);
    if (e == ERR_OK)
        return call_json(call, sheet.answer, why);
    json_decref(sheet.answer);
    return e;
}
