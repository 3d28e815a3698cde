/* write_site.c - whose log a line goes to, and whether this machine may write there. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/show.h"
#include "daemon/serve/write.h"

static const struct catalogue *
catalogue_of(const struct writing *writing)
{
    return ledger_catalogue(writing->call->serve->options.ledger);
}

static int
compare_codes(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static bool
in_catalogue(const struct writing *writing, const char *site)
{
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(catalogue_of(writing), KNOCKBOX__RECORD__BODY_SITE_, &keys);
    return n > 0 && bsearch(&site, keys, n, sizeof *keys, compare_codes) != NULL;
}

bool
writing_knows_site(const struct writing *writing, const char *site)
{
    for (size_t i = 0; i < writing->n_sites; i++)
        if (strcmp(writing->sites[i].code, site) == 0)
            return true;
    return strcmp(site, writing->call->serve->options.site) == 0 || in_catalogue(writing, site);
}

/* The version of a site that this request brings and that is in force on the day. */
static const struct new_site *
newest_site(const struct writing *writing, const char *site, int32_t day)
{
    const struct new_site *best = NULL;
    for (size_t i = 0; i < writing->n_sites; i++) {
        const struct new_site *s = &writing->sites[i];
        if (strcmp(s->code, site) != 0 || (s->has_from && s->from > day))
            continue;
        if (best == NULL || !best->has_from || (s->has_from && s->from >= best->from))
            best = s;
    }
    return best;
}

const char *
writing_zone(const struct writing *writing, const char *site, int32_t day)
{
    const struct serve_options *options = &writing->call->serve->options;
    const struct new_site *brought = newest_site(writing, site, day);
    const Knockbox__Site *known = (const Knockbox__Site *)catalogue_get(
        catalogue_of(writing), KNOCKBOX__RECORD__BODY_SITE_, site, day);
    if (brought != NULL &&
        (known == NULL || !known->has_from || (brought->has_from && brought->from >= known->from)))
        return brought->zone;
    if (known != NULL)
        return known->zone;
    if (strcmp(site, options->site) == 0 && options->zone != NULL)
        return options->zone;
    return "";
}

/* A machine of its own writes that log, and nobody else. */
static bool
has_own_box(struct writing *writing, const char *site)
{
    if (!writing->has_states)
        writing->states = show_states(writing->call, &writing->n_states);
    writing->has_states = true;
    if (writing->states == NULL && writing->call->serve->options.sites != NULL)
        return true; /* no memory: rather refuse than write into somebody's log */
    for (size_t i = 0; writing->states != NULL && i < writing->n_states; i++)
        if (writing->states[i].enrolled && strcmp(writing->states[i].site, site) == 0)
            return true;
    return false;
}

static enum err
check_foreign_site(struct writing *writing, const struct draft *draft, struct err_text *why)
{
    const struct serve_options *options = &writing->call->serve->options;
    if (!options->is_hub)
        return err_input(why, "site", draft->site, options->site);
    if (draft->kind->group != KIND_SITE)
        return err_input(why, "site", draft->site,
                         "the hub's own log, or no site: the catalogue is kept there");
    if (!writing_knows_site(writing, draft->site))
        return err_input(why, "site", draft->site, "the code of a site in the catalogue");
    if (has_own_box(writing, draft->site))
        return err_input(why, "site", draft->site,
                         "a site without a box of its own: this one is written there");
    return ERR_OK;
}

enum err
draft_site(struct writing *writing, struct draft *draft, struct err_text *why)
{
    const struct serve_options *options = &writing->call->serve->options;
    const char *said = draft->record->site;
    (void)snprintf(draft->site, sizeof draft->site, "%s",
                   said != NULL && said[0] != '\0' ? said : options->site);
    bool own = strcmp(draft->site, options->site) == 0;
    if (own && !options->is_hub && draft->kind->group != KIND_SITE)
        return err_set(ERR_INPUT, why, "a %s is kept in the hub's log: write it at the hub",
                       draft->kind->word);
    return own ? ERR_OK : check_foreign_site(writing, draft, why);
}
