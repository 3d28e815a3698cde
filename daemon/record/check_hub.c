/* check_hub.c - the checks of kinds in the hub's log: catalogue and acts. */
#include "daemon/record/check.h"

#include <inttypes.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "daemon/record/kind.h"
#include "proto/fields.h"
#include "proto/text.h"
#include "proto/when.h"

/* A name like Europe/London; whether the zone exists is asked where a site is entered. */
static bool
zone_name_good(const char *name)
{
    static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789"
                                  "_+-/";
    return name[0] != '\0' && name[0] != '/' && name[strspn(name, letters)] == '\0' &&
           strstr(name, "//") == NULL;
}

enum err
check_site(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Site *site = record->site_;
    char left[DAY_TEXT];
    if (!zone_name_good(site->zone))
        return err_input(why, "zone", site->zone, "an IANA time zone such as Europe/London");
    if (site->has_joined && site->has_left && site->left < site->joined)
        return err_input(why, "left", day_print(site->left, left), "no earlier than joined");
    return ERR_OK;
}

enum err
check_recipe(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Recipe *recipe = record->recipe;
    char got[32];
    if (!recipe->has_grounds_min_g || !recipe->has_grounds_max_g ||
        recipe->grounds_min_g <= recipe->grounds_max_g)
        return ERR_OK;
    (void)snprintf(got, sizeof got, "%" PRId64, recipe->grounds_min_g);
    return err_input(why, "grounds_min_g", got, "at most grounds_max_g");
}

enum err
check_item(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Item *item = record->item;
    if (item->has_pack_minor && item->currency == NULL)
        return err_input(why, "currency", NULL, "the currency of pack_minor, such as GBP");
    return ERR_OK;
}

enum err
check_place(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Place *place = record->place;
    if (place->min_c != NULL && place->max_c != NULL &&
        decimal_text_compare(place->min_c, place->max_c) > 0)
        return err_input(why, "min_c", place->min_c, "at most max_c");
    return ERR_OK;
}

/* One word of a role; "site" too where a machine may have it. */
static enum err
check_role(const char *field, const char *word, bool machine, struct err_text *why)
{
    enum role role = ROLE_BIT_READER;
    if (role_parse(word, &role) || (machine && strcmp(word, "site") == 0))
        return ERR_OK;
    return err_input(why, field, word,
                     machine ? "site, barista, driver, kitchen, office, operator or reader"
                             : "barista, driver, kitchen, office, operator or reader");
}

enum err
check_staff(const Knockbox__Record *record, struct err_text *why)
{
    for (size_t i = 0; i < record->staff->n_roles; i++) {
        char field[32];
        (void)snprintf(field, sizeof field, "roles[%zu]", i);
        enum err e = check_role(field, record->staff->roles[i], false, why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

/* Twelve months at most: one of each name. */
static enum err
check_base_year(const Knockbox__BaseYear *base, struct err_text *why)
{
    int32_t first = 0, last = 0;
    if (base == NULL)
        return ERR_OK;
    if (!month_parse(base->first, &first) || !month_parse(base->last, &last) || last < first ||
        last - first >= 12)
        return err_input(why, "base_year.last", base->last, "a month from first on, at most 12");
    return ERR_OK;
}

enum err
check_basis(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Avoided *avoided = record->basis->avoided;
    int destination = 0;
    enum err e = check_base_year(record->basis->base_year, why);
    if (e != ERR_OK)
        return e;
    if (avoided == NULL || decimal_text_good(avoided->baseline) ||
        enum_value(&knockbox__destination__descriptor, avoided->baseline, &destination))
        return ERR_OK;
    return err_input(why, "avoided.baseline", avoided->baseline,
                     "kg CO2e per tonne, or a destination such as landfill");
}

enum err
check_plan_part(const Knockbox__Record *record, struct err_text *why)
{
    char got[32];
    if (record->plan->part <= record->plan->parts)
        return ERR_OK;
    (void)snprintf(got, sizeof got, "%" PRId64, record->plan->part);
    return err_input(why, "part", got, "at most parts");
}

enum err
check_enrol(const Knockbox__Record *record, struct err_text *why)
{
    const Knockbox__Enrol *enrol = record->enrol;
    enum err e = check_role("role", enrol->role, true, why);
    if (e != ERR_OK)
        return e;
    bool machine = strcmp(enrol->role, "site") == 0;
    if (machine && enrol->for_site == NULL)
        return err_input(why, "for_site", NULL, "the site whose machine it is");
    if (!machine && enrol->person == NULL)
        return err_input(why, "person", NULL, "who holds the key");
    return ERR_OK;
}
