/* site.c - one site's part of a month, and what a span has to say of closed months. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/gathered.h"
#include "daemon/report/part.h"
#include "proto/when.h"

struct picking {
    struct books *to;
    const char *site;
    struct err_text *why;
    enum err e;
};

static bool
pick(void *owner, const struct posting *line)
{
    struct picking *p = owner;
    if (build_keeps(line->measure) || strcmp(line->site, p->site) == 0)
        p->e = books_post(p->to, line, p->why);
    return p->e == ERR_OK;
}

enum err
site_only(struct books **books, const char *site, struct err_text *why)
{
    struct picking p = {.site = site, .why = why};
    if (site == NULL || *books == NULL)
        return ERR_OK;
    p.e = books_new(&p.to, why);
    if (p.e != ERR_OK)
        return p.e;
    books_walk_all(*books, pick, &p);
    books_free(*books);
    *books = p.to;
    return p.e;
}

enum err
site_known(const struct gathered *g, struct err_text *why)
{
    const char *const *sites = NULL;
    unsigned n = catalogue_keys(g->catalogue, KNOCKBOX__RECORD__BODY_SITE_, &sites);
    for (unsigned i = 0; i < n; i++)
        if (g->input.site != NULL && strcmp(sites[i], g->input.site) == 0)
            return ERR_OK;
    return g->input.site == NULL ? ERR_OK
                                 : err_input(why, "site", g->input.site, "a site of the catalogue");
}

enum err
note_closed(struct gathered *g, struct ledger *ledger, struct err_text *why)
{
    const struct span *span = g->input.span;
    int32_t first = month_of_day(span->from), last = month_of_day(span->to);
    size_t size = 256 + (size_t)(last - first + 1) * (MONTH_TEXT + 2), len = 0;
    bool any = false;
    g->note = malloc(size);
    if (g->note == NULL)
        return err_set(ERR_MEM, why, "out of memory for the report");
    len += (size_t)snprintf(g->note, size,
                            "computed from all that is held now, also of months "
                            "that are closed and have printed their own figures:");
    for (int32_t month = first; month <= last; month++) {
        char text[MONTH_TEXT];
        struct closing closing;
        enum err e = ledger_closing(ledger, month, INT64_MAX, &closing, why);
        if (e != ERR_OK && e != ERR_NOT_FOUND)
            return e;
        if (e == ERR_OK)
            len += (size_t)snprintf(g->note + len, size - len, "%s %s", any ? "," : "",
                                    month_print(month, text));
        any = any || e == ERR_OK;
    }
    g->input.notes = (const char *const *)&g->note;
    g->input.n_notes = any;
    return ERR_OK;
}
