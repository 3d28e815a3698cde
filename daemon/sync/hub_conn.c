/* hub_conn.c - connections and sites of the hub, found by name. */
#include "daemon/sync/hub_int.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* First connection whose peer is not before `peer`. */
static size_t
place_of(const struct hub_machine *m, const struct peer *peer, bool *out_there)
{
    size_t low = 0, high = m->n_conns;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (memcmp(&m->conns[middle]->peer, peer, sizeof *peer) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    *out_there = low < m->n_conns && memcmp(&m->conns[low]->peer, peer, sizeof *peer) == 0;
    return low;
}

struct hub_conn *
hub_conn_find(const struct hub_machine *m, const struct peer *peer)
{
    bool there = false;
    size_t at = place_of(m, peer, &there);
    return there ? m->conns[at] : NULL;
}

void
hub_conn_drop(struct hub_machine *m, struct hub_conn *conn)
{
    bool there = false;
    size_t at = place_of(m, &conn->peer, &there);
    if (!there)
        return;
    m->n_conns--;
    conn->row->n_conns--;
    memmove(&m->conns[at], &m->conns[at + 1], (m->n_conns - at) * sizeof m->conns[0]);
    free(conn);
}

/* A box that reconnects leaves its old connection behind: of too many the quietest goes. */
static void
make_room(struct hub_machine *m, const struct hub_row *row)
{
    struct hub_conn *quietest = NULL;
    if (row->n_conns < HUB_PEERS_SITE)
        return;
    for (size_t i = 0; i < m->n_conns; i++) {
        struct hub_conn *conn = m->conns[i];
        if (conn->row == row && (quietest == NULL || conn->heard_ms < quietest->heard_ms))
            quietest = conn;
    }
    if (quietest != NULL)
        hub_conn_drop(m, quietest);
}

static struct hub_conn *
add_conn(struct hub_machine *m, const struct peer *peer, struct hub_row *row)
{
    bool there = false;
    make_room(m, row);
    if (m->n_conns == m->conn_room) {
        size_t room = m->conn_room * 2 + 16;
        struct hub_conn **moved = realloc(m->conns, room * sizeof m->conns[0]);
        if (moved == NULL)
            return NULL;
        m->conns = moved;
        m->conn_room = room;
    }
    struct hub_conn *conn = calloc(1, sizeof *conn);
    if (conn == NULL)
        return NULL;
    conn->peer = *peer;
    conn->row = row;
    conn->born_ms = conn->small_ms = hub_mono(m);
    conn->small_left = HUB_SMALL_BURST;
    size_t at = place_of(m, peer, &there);
    memmove(&m->conns[at + 1], &m->conns[at], (m->n_conns - at) * sizeof m->conns[0]);
    m->conns[at] = conn;
    m->n_conns++;
    row->n_conns++;
    return conn;
}

/* What was noted about a site in earlier runs. */
static void
read_notes(struct hub_machine *m, struct hub_row *row)
{
    struct store_view *view = NULL;
    char name[SITE_SIZE + 16], spare[16];
    size_t len = 0;
    row->last_seen_ms = -1;
    if (store_look(m->options.store, &view, NULL) != ERR_OK)
        return;
    (void)snprintf(name, sizeof name, "sync.seen.%s", row->site);
    if (store_noted(view, name, &row->last_seen_ms, sizeof row->last_seen_ms, &len, NULL) != ERR_OK)
        row->last_seen_ms = -1;
    (void)snprintf(name, sizeof name, "sync.fork.%s", row->site);
    row->forked = store_noted(view, name, spare, sizeof spare, &len, NULL) == ERR_OK;
    row->noted_seen_ms = row->last_seen_ms;
    store_done(&view);
}

/* First row whose site is not before `site`. */
static size_t
row_place(const struct hub_machine *m, const char *site)
{
    size_t low = 0, high = m->n_rows;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (strcmp(m->rows[middle]->site, site) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static bool
room_for_row(struct hub_machine *m)
{
    if (m->n_rows < m->row_room)
        return true;
    size_t room = m->row_room * 2 + 16;
    struct hub_row **moved = realloc(m->rows, room * sizeof m->rows[0]);
    if (moved == NULL)
        return false;
    m->rows = moved;
    m->row_room = room;
    return true;
}

struct hub_row *
hub_row_get(struct hub_machine *m, const char *site)
{
    size_t at = row_place(m, site);
    if (at < m->n_rows && strcmp(m->rows[at]->site, site) == 0)
        return m->rows[at];
    if (m->n_rows == HUB_SITES || strlen(site) >= SITE_SIZE || !room_for_row(m))
        return NULL;
    struct hub_row *row = calloc(1, sizeof *row);
    if (row == NULL)
        return NULL;
    memcpy(row->site, site, strlen(site) + 1);
    read_notes(m, row);
    memmove(&m->rows[at + 1], &m->rows[at], (m->n_rows - at) * sizeof m->rows[0]);
    m->rows[at] = row;
    m->n_rows++;
    return row;
}

struct hub_conn *
hub_conn_get(struct hub_machine *m, const struct peer *peer, const char *site)
{
    struct hub_conn *conn = hub_conn_find(m, peer);
    if (conn != NULL && strcmp(conn->row->site, site) == 0)
        return conn;
    if (conn != NULL)
        hub_conn_drop(m, conn); /* the same name, another key: another connection */
    struct hub_row *row = hub_row_get(m, site);
    return row != NULL ? add_conn(m, peer, row) : NULL;
}

void
hub_send(struct hub_machine *m, const struct hub_conn *conn, const Knockbox__Wire *message)
{
    (void)m->options.wire.send(m->options.wire.owner, &conn->peer, message); /* lost: sent again */
}

void
hub_refuse(struct hub_machine *m, struct hub_conn *conn, enum err code, const char *text)
{
    if (conn->refused)
        return;
    conn->refused = true;
    conn->welcomed = false;
    wire_refuse(&m->options.wire, &conn->peer, code, text);
}
