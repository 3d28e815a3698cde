/* sheet_tubs.c - the tubs of the day: which, where, and in what state. */
#include <string.h>
#include "daemon/serve/sheet.h"
#include "daemon/serve/show.h"
#include "proto/fields.h"

static json_t *
unknown_json(const char *label)
{
    return json_pack("{s:s, s:b, s:n, s:n, s:n, s:n, s:n, s:n}", "tub", label, "expected",
                     strncmp(label, "expected-", 9) == 0, "state", "site", "place", "coffee",
                     "net_g", "use_by");
}

static json_t *
tub_json(const Knockbox__TubRow *tub)
{
    return json_pack("{s:s, s:b, s:s, s:o, s:o, s:o, s:I, s:o}", "tub", tub->tub, "expected", 0,
                     "state", enum_word(&knockbox__tub_state__descriptor, (int)tub->state), "site",
                     show_text(tub->site), "place", show_text(tub->place), "coffee",
                     show_text(tub->coffee), "net_g", (json_int_t)tub->net_g, "use_by",
                     tub->has_use_by ? show_day(tub->use_by) : json_null());
}

enum err
sheet_tubs(struct sheet *sheet, const json_t *labels, json_t **out_tubs, struct err_text *why)
{
    json_t *tubs = json_array();
    enum err e = ERR_OK;
    for (size_t i = 0; i < json_array_size(labels) && e == ERR_OK; i++) {
        const char *label = json_string_value(json_array_get(labels, i));
        ProtobufCMessage *row = NULL;
        arena_reset(&sheet->arena);
        e = ledger_row(sheet->ledger, SUBJECT_TUB, label, &sheet->arena, &row, why);
        bool there = e == ERR_OK;
        e = e == ERR_NOT_FOUND ? ERR_OK : e;
        if (e == ERR_OK)
            (void)json_array_append_new(tubs, there ? tub_json((const Knockbox__TubRow *)row)
                                                    : unknown_json(label));
    }
    if (e == ERR_OK)
        *out_tubs = tubs;
    else
        json_decref(tubs);
    return e;
}

enum err
sheet_thaw(struct sheet *sheet, struct err_text *why)
{
    json_t *list = json_array(), *batch;
    size_t i;
    enum err e = ERR_OK;
    (void)json_object_set_new(sheet->answer, "thaw", list);
    json_array_foreach(json_object_get(sheet->today, "thaw"), i, batch)
    {
        json_t *tubs = NULL, *one = json_copy(batch);
        e = sheet_tubs(sheet, json_object_get(batch, "tubs"), &tubs, why);
        (void)json_object_del(one, "ml");
        (void)json_object_set_new(one, "tubs", tubs);
        (void)json_array_append_new(list, one);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}
