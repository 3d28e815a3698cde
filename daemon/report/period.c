/* period.c - which month, whose, by which rules: the head of a report. */
#include <stdlib.h>
#include "daemon/report/part.h"
#include "proto/fields.h"
#include "proto/when.h"

static const struct column period_columns[] = {
    {"start", "first day", "", false},
    {"end", "last day", "", false},
    {"zone", "time zone", "", false},
    {"rule", "rule", "", false},
};

static const struct column basis_columns[] = {
    {"basis", "basis", "", false},
};

static const struct column in_force_columns[] = {
    {"basis_in_force", "basis in force", "", false},
};

static const struct column one_site_columns[] = {
    {"site", "site", "", false},
};

static const struct column site_columns[] = {
    {"site", "site", "", false},
    {"from", "from", "", false},
    {"to", "to", "", false},
};

static const struct column stage_columns[] = {
    {"stage", "stage of the food chain", "", false},
};

static const struct column status_columns[] = {
    {"status", "status", "", false},
};

static const struct column edition_columns[] = {
    {"edition", "edition of emission factors", "", false},
};

static const struct column restatement_columns[] = {
    {"number", "number", "", true},
    {"reason", "reason", "", false},
};

static void
set_day(struct build *b, const char *key, int32_t day)
{
    char room[DAY_TEXT];
    table_set(b->model, key, day_print(day, room));
}

/* T4: the hub's zone, as in force on the month's last day. */
static const char *
zone_of_hub(const struct build *b)
{
    const Knockbox__Site *site = (const Knockbox__Site *)catalogue_get(
        b->in->catalogue, KNOCKBOX__RECORD__BODY_SITE_, b->in->hub_site, b->last_day);
    return site != NULL ? site->zone : NULL;
}

static void
fill_status(struct build *b)
{
    static const char *const words[] = {"open", "closed", "restated"};
    TABLE_SECTION(b->model, "", "Status", SHAPE_FIELDS, status_columns);
    table_set(b->model, "status", words[b->in->status]);
    if (b->in->status == REPORT_RESTATED) {
        TABLE_SECTION(b->model, "restatement", "Restatement", SHAPE_FIELDS, restatement_columns);
        build_whole(b, "number", b->in->restatement);
        table_set(b->model, "reason", b->in->reason);
    } else {
        table_section(b->model, "restatement", "Restatement", SHAPE_NULL, NULL, 0);
    }
    TABLE_SECTION(b->model, "", "Edition of emission factors", SHAPE_FIELDS, edition_columns);
    table_set(b->model, "edition", b->edition);
}

static void
fill_boundary(struct build *b)
{
    TABLE_SECTION(b->model, "boundary.sites", "Sites", SHAPE_ROWS, site_columns);
    for (size_t i = 0; i < b->n_stock; i++) {
        if (!b->stock[i].boundary)
            continue;
        table_row(b->model);
        table_set(b->model, "site", b->stock[i].site);
        set_day(b, "from", b->stock[i].from);
        set_day(b, "to", b->stock[i].to);
    }
    TABLE_SECTION(b->model, "boundary", "Stage of the food chain", SHAPE_FIELDS, stage_columns);
    table_set(b->model, "stage",
              b->basis != NULL ? enum_word(&knockbox__stage__descriptor, (int)b->basis->stage)
                               : NULL);
}

/* A basis that was asked for and is not the one of the period. */
static void
fill_asked_basis(struct build *b)
{
    bool waste = b->basis != NULL && b->basis->basis == KNOCKBOX__BASIS_KIND__BASIS_KIND_WASTE;
    if (b->in->basis == REPORT_BASIS_IN_FORCE || waste == build_is_waste_basis(b))
        return;
    TABLE_SECTION(b->model, "", "Basis in force", SHAPE_FIELDS, in_force_columns);
    table_set(b->model, "basis_in_force", waste ? "waste" : "by-product");
    build_caution(b, table_text(b->model,
                                "the basis %s was asked for; the period itself is by the basis %s",
                                waste ? "by-product" : "waste", waste ? "waste" : "by-product"));
}

/* W12 speaks of the first day; a span may go on beyond a change. */
static void
caution_change(struct build *b)
{
    char text[DAY_TEXT];
    for (int32_t day = b->first_day + 1; b->in->span != NULL && day <= b->last_day; day++) {
        if (catalogue_get(b->in->catalogue, KNOCKBOX__RECORD__BODY_BASIS, "", day) ==
            (const ProtobufCMessage *)b->basis)
            continue;
        build_caution(b, table_text(b->model,
                                    "another basis is in force from %s on; that of the first day "
                                    "is used for all of it",
                                    day_print(day, text)));
        return;
    }
}

enum err
part_period(struct build *b)
{
    TABLE_SECTION(b->model, "period", "Period", SHAPE_FIELDS, period_columns);
    set_day(b, "start", b->first_day);
    set_day(b, "end", b->last_day);
    table_set(b->model, "zone", zone_of_hub(b));
    table_set(b->model, "rule", "business-day");
    TABLE_SECTION(b->model, "", "Basis", SHAPE_FIELDS, basis_columns);
    table_set(b->model, "basis", build_is_waste_basis(b) ? "waste" : "by-product");
    fill_asked_basis(b);
    if (b->in->site != NULL) {
        TABLE_SECTION(b->model, "", "Site", SHAPE_FIELDS, one_site_columns);
        table_set(b->model, "site", b->in->site);
    }
    fill_boundary(b);
    fill_status(b);
    if (b->basis == NULL)
        build_caution(b, "no basis in force on the first day: by-product is assumed");
    caution_change(b);
    if (b->in->unknown > 0)
        build_caution(b, table_text(b->model,
                                    "records of kinds that this release does not know are held and "
                                    "counted nowhere: %lld; upgrade the hub",
                                    (long long)b->in->unknown));
    for (size_t i = 0; i < b->in->n_notes; i++)
        build_caution(b, table_text(b->model, "%s", b->in->notes[i]));
    return ERR_OK;
}
