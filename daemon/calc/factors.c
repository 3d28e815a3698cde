/* factors.c - the published emission factors and how to find one. */
#include "daemon/calc/factors.h"

#include <string.h>

static const struct calc_factor factors[] = {
#include "daemon/calc/emission-factors.inc"
};

static const struct calc_factor_edition editions[] = {
#include "daemon/calc/factor-editions.inc"
};

static const struct calc_refuse_factor refuse[] = {
#include "daemon/calc/uk-refuse-factors.inc"
};

static const struct calc_gwp gwps[] = {
#include "daemon/calc/gwp100.inc"
};

#define COUNT(array) (sizeof(array) / sizeof(array)[0])

const struct calc_factor *
calc_factor_at(size_t i)
{
    return i < COUNT(factors) ? &factors[i] : NULL;
}

const struct calc_factor_edition *
calc_factor_edition_at(size_t i)
{
    return i < COUNT(editions) ? &editions[i] : NULL;
}

const struct calc_refuse_factor *
calc_refuse_factor_at(size_t i)
{
    return i < COUNT(refuse) ? &refuse[i] : NULL;
}

const struct calc_factor_edition *
calc_factor_edition(const char *name)
{
    for (size_t i = 0; i < COUNT(editions); i++)
        if (strcmp(editions[i].edition, name) == 0)
            return &editions[i];
    return NULL;
}

static bool
begins_and_ends(const char *text, const char *head, const char *tail)
{
    size_t n = strlen(text);
    size_t h = strlen(head);
    size_t t = strlen(tail);
    return n >= h + t && memcmp(text, head, h) == 0 && strcmp(text + n - t, tail) == 0;
}

const struct calc_factor *
calc_factor_find(const char *edition, const char *material, const char *treatment)
{
    const struct calc_factor_edition *e = calc_factor_edition(edition);
    for (size_t i = 0; e != NULL && i < COUNT(factors); i++)
        if (begins_and_ends(factors[i].id, e->head, e->tail) &&
            strcmp(factors[i].material, material) == 0 &&
            strcmp(factors[i].treatment, treatment) == 0)
            return &factors[i];
    return NULL;
}

const struct calc_factor *
calc_factor_by_id(const char *id)
{
    for (size_t i = 0; i < COUNT(factors); i++)
        if (strcmp(factors[i].id, id) == 0)
            return &factors[i];
    return NULL;
}

bool
calc_factor_ships(const struct calc_factor *row)
{
    return row->kgco2e_per_tonne[0] != '\0' && strcmp(row->ship_default, "yes") == 0;
}

bool
calc_factor_material_known(const char *material)
{
    for (size_t i = 0; i < COUNT(factors); i++)
        if (strcmp(factors[i].material, material) == 0)
            return true;
    return false;
}

bool
calc_factor_treatment_known(const char *treatment)
{
    for (size_t i = 0; i < COUNT(factors); i++)
        if (strcmp(factors[i].treatment, treatment) == 0)
            return true;
    for (size_t i = 0; i < COUNT(refuse); i++)
        if (strcmp(refuse[i].treatment, treatment) == 0)
            return true;
    return false;
}

const struct calc_gwp *
calc_gwp_find(const char *basis, const char *gas)
{
    for (size_t i = 0; i < COUNT(gwps); i++)
        if (strcmp(gwps[i].basis, basis) == 0 && strcmp(gwps[i].gas, gas) == 0)
            return &gwps[i];
    return NULL;
}
