/* write.h - one line of JSON becomes a record that this machine may append.
 *
 * A line is read, given its log, its envelope and its checks; word_write.c stores it.
 */
#ifndef DAEMON_SERVE_WRITE_H
#define DAEMON_SERVE_WRITE_H

#include <jansson.h>
#include <stdbool.h>
#include "daemon/record/record.h"
#include "daemon/serve/call.h"

enum write_mode {
    WRITE_LOG,    /* a person, now: what does not fit is asked again */
    WRITE_IMPORT, /* a file: references may come in any order */
    WRITE_CHECK,  /* as WRITE_LOG, but nothing is stored */
};

enum {
    AHEAD_MOST_MS = 5 * 60 * 1000,
    SITES_MOST = 16384
};

/* A site that the lines of this request bring along (report rule F3). */
struct new_site {
    char code[SITE_SIZE];
    char zone[65];
    bool has_from;
    int32_t from;
};

/* A line on its way to its log. `record` is lent until the next line. */
struct draft {
    Knockbox__Record *record;
    const struct kind *kind;
    char site[SITE_SIZE];
    bool said_at, said_by, said_id; /* what the line itself said */
};

/* One request's writing. `line` arena is reset for each line, `other` for each look-up. */
struct writing {
    struct call *call;
    enum write_mode mode;
    bool force;   /* write although a check says no */
    bool checked; /* all lines have passed their checks */
    bool loose;   /* values as people type them: "now", "17:40", "yes" */
    int64_t now_ms;
    struct arena line, other;
    struct new_site *sites;
    size_t n_sites;
    struct site_state *states; /* what sync tells of the sites, asked once; owned */
    size_t n_states;
    bool has_states;
    struct labels fresh; /* tubs among the lines so far */
    struct draft last;   /* of line `last_line`, while `line` holds it */
    size_t last_line;
    bool has_last;
};

enum err writing_init(struct writing *writing, struct call *call, struct err_text *why);
void writing_done(struct writing *writing);
/* `other`, empty, for one look-up. */
enum err writing_look_up(struct writing *writing, struct err_text *why);

/* F3: remembers the `site` lines among the request's lines. Lines that are no JSON pass here. */
enum err writing_read_sites(struct writing *writing, struct err_text *why);

/* ERR_INPUT, ERR_DENIED, ERR_MEM. */
enum err writing_draft(struct writing *writing, struct line line, struct draft *out_draft,
                       struct err_text *why);

/* The zone of a site on a day, "" when nobody said. Lent until the next line. */
const char *writing_zone(const struct writing *writing, const char *site, int32_t day);

/* ---- the parts of a draft, a file each */

/* Does this machine know the site? (catalogue, lines of this request, its own) */
bool writing_knows_site(const struct writing *writing, const char *site);

/* whose log: write_site.c */
enum err draft_site(struct writing *writing, struct draft *draft, struct err_text *why);

/* the envelope beyond the site: write_envelope.c */
enum err draft_envelope(struct writing *writing, struct draft *draft, struct err_text *why);

/* what the source can know: write_check.c */
enum err draft_check(struct writing *writing, const struct draft *draft, struct err_text *why);

/* a liquid sweetener in the base, of a recipe or a mix: write_sugar.c */
enum err draft_check_sugar(struct writing *writing, const struct draft *draft,
                           struct err_text *why);

/* a correction is at most as large as what it corrects may be: write_fix.c. ERR_INPUT. */
enum err draft_check_fix(struct writing *writing, const struct draft *draft, struct err_text *why);

/* Remembers what a check would look for: tubs and closes that the ledger has not seen yet. Also
 * when the transaction fails later: the next check then asks the ledger and finds it free. */
void draft_is_written(struct writing *writing, const struct draft *draft);

/* An act that the daemon itself makes for the caller (a closed month, a plan): one record of this
 * machine's own log, with the envelope of any other. `record` has a body and nothing else.
 * ERR_DENIED: the caller may not write such a record. */
enum err write_act(struct writing *writing, Knockbox__Record *record, struct stored *out_stored,
                   struct err_text *why);

/* values as people type them, in place: write_loose.c. `day` stands for HH:MM alone. */
enum err loose_values(const struct writing *writing, json_t *line, struct err_text *why);

#endif
