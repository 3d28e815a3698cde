/* gather.c - lines of a request that comes in several pieces. */
#include "daemon/serve/gather.h"

#include <stdlib.h>
#include <string.h>

struct gather *
gather_find(const struct gathers *gathers, uint64_t session, uint32_t number)
{
    for (struct gather *g = gathers->first; g != NULL; g = g->next)
        if (g->session == session && g->number == number)
            return g;
    return NULL;
}

static struct gather *
gather_new(struct gathers *gathers, uint64_t session, uint32_t number)
{
    struct gather *g = calloc(1, sizeof *g);
    if (g == NULL)
        return NULL;
    g->session = session;
    g->number = number;
    g->next = gathers->first;
    gathers->first = g;
    return g;
}

static void
forget_lines(struct gathers *gathers, struct gather *g)
{
    gathers->bytes -= g->bytes;
    free(g->text);
    free(g->ends);
    g->text = NULL;
    g->ends = NULL;
    g->n = g->room = g->bytes = g->text_room = 0;
}

/* Room for `more` bytes and one more line. */
static bool
make_room(struct gather *g, size_t more)
{
    size_t used = g->n == 0 ? 0 : g->ends[g->n - 1];
    if (used + more > g->text_room) {
        size_t room = (used + more) * 2;
        char *text = realloc(g->text, room);
        if (text == NULL)
            return false;
        g->text = text;
        g->text_room = room;
    }
    if (g->n == g->room) {
        size_t room = g->room == 0 ? 64 : g->room * 2;
        size_t *ends = realloc(g->ends, room * sizeof *ends);
        if (ends == NULL)
            return false;
        g->ends = ends;
        g->room = room;
    }
    return true;
}

static bool
add_line(struct gathers *gathers, struct gather *g, const ProtobufCBinaryData *line)
{
    size_t cost = line->len + sizeof *g->ends;
    if (gathers->bytes + cost > GATHER_BUDGET || !make_room(g, line->len))
        return false;
    size_t used = g->n == 0 ? 0 : g->ends[g->n - 1];
    if (line->len > 0)
        memcpy(g->text + used, line->data, line->len);
    g->ends[g->n++] = used + line->len;
    g->bytes += cost;
    gathers->bytes += cost;
    return true;
}

enum err
gather_add(struct gathers *gathers, uint64_t session, const Knockbox__Request *request,
           struct gather **out_gather, struct err_text *why)
{
    struct gather *g = gather_find(gathers, session, request->number);
    if (g == NULL)
        g = gather_new(gathers, session, request->number);
    if (g == NULL)
        return err_set(ERR_MEM, why, "no memory for the lines of this request");
    for (size_t i = 0; i < request->n_lines && !g->over; i++) {
        if (add_line(gathers, g, &request->lines[i]))
            continue;
        forget_lines(gathers, g);
        g->over = true;
    }
    *out_gather = g;
    return ERR_OK;
}

struct line
gather_line(const struct gather *gather, size_t i)
{
    size_t start = i == 0 ? 0 : gather->ends[i - 1];
    const char *text = gather->text != NULL ? gather->text + start : "";
    return (struct line){text, gather->ends[i] - start};
}

void
gather_drop(struct gathers *gathers, struct gather *gather)
{
    for (struct gather **at = &gathers->first; *at != NULL; at = &(*at)->next) {
        if (*at != gather)
            continue;
        *at = gather->next;
        forget_lines(gathers, gather);
        free(gather);
        return;
    }
}

void
gather_hangup(struct gathers *gathers, uint64_t session)
{
    struct gather *g = gathers->first;
    while (g != NULL) {
        struct gather *next = g->next;
        if (g->session == session)
            gather_drop(gathers, g);
        g = next;
    }
}
