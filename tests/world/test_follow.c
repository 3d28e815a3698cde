/* test_follow.c - corrections of the hub's own records reach the cafés that have what is corrected.
 *
 * Sources: docs/sync-protocol.md, "The hub's own log, down"; the scenarios are own, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/ledger/ledger.h"
#include "tests/world/world.h"

enum {
    A = 0,
    B = 1
};

#define ID "019c87cb-b400-735a-8b0c-31000000000"

/* A bin of one café (or of all, NULL), with its carrier. */
static void
write_bin(struct world *w, const char *id, const char *target, const char *for_site,
          const char *carrier, bool seen)
{
    char line[600], body[300], whose[64] = "";
    if (for_site != NULL)
        (void)snprintf(whose, sizeof whose, "'for_site':'%s',", for_site);
    (void)snprintf(body, sizeof body,
                   "'code':'b1',%s'destination':'composting','settles':'at-once',"
                   "'material':'food','carrier':'%s'",
                   whose, carrier);
    if (target == NULL)
        (void)snprintf(line, sizeof line, "{'kind':'stream','id':'" ID "%s',%s}", id, body);
    else
        (void)snprintf(line, sizeof line,
                       "{'kind':'correct','id':'" ID "%s','record':'" ID "%s','reason':'r',"
                       "'body':{%s}}",
                       id, target, body);
    world_write_line(w, line, seen);
}

/* What a machine's books say of a record of the catalogue; "none" when they have it not. */
static void
look(struct world *w, int who, uint32_t kind, const char *key, char out[64])
{
    struct ledger *ledger = NULL;
    struct err_text why = {.s = ""};
    cr_assert(ledger_open(world_store(w, who), &ledger, &why) == ERR_OK, "%s", why.s);
    cr_assert(ledger_catch_up(ledger, &why) == ERR_OK, "%s", why.s);
    const ProtobufCMessage *body =
        catalogue_get(ledger_catalogue(ledger), kind, key, 30000 /* some day in 2052 */);
    snprintf(out, 64, "none");
    if (body != NULL && kind == KNOCKBOX__RECORD__BODY_STREAM) {
        const Knockbox__Stream *bin = (const Knockbox__Stream *)body;
        snprintf(out, 64, "%s %s", bin->carrier, bin->for_site != NULL ? bin->for_site : "all");
    } else if (body != NULL && kind == KNOCKBOX__RECORD__BODY_ITEM) {
        snprintf(out, 64, "%s", ((const Knockbox__Item *)body)->name);
    }
    ledger_close(ledger);
}

/* The books come out the same when they are made anew. */
static void
make_anew(struct world *w, int who)
{
    struct ledger *ledger = NULL;
    struct err_text why = {.s = ""};
    uint8_t before[32], after[32];
    uint64_t records = 0;
    cr_assert(ledger_open(world_store(w, who), &ledger, &why) == ERR_OK, "%s", why.s);
    cr_assert(ledger_catch_up(ledger, &why) == ERR_OK);
    cr_assert(ledger_digest(ledger, before, &why) == ERR_OK);
    cr_assert(ledger_rebuild(ledger, &records, &why) == ERR_OK);
    cr_assert(ledger_digest(ledger, after, &why) == ERR_OK);
    cr_expect(memcmp(before, after, sizeof before) == 0);
    ledger_close(ledger);
}

#define bin_is(w, who, words)                                   \
    do {                                                        \
        char bin[64];                                           \
        look(w, who, KNOCKBOX__RECORD__BODY_STREAM, "b1", bin); \
        cr_expect(eq(str, bin, (char *)words));                 \
    } while (0)

static void
settle(struct world *w)
{
    cr_assert(world_settle(w));
    for (int cafe = A; cafe <= B; cafe++) {
        cr_expect(eq(u32, world_down_missing(w, cafe), 0));
        cr_expect(eq(u32, world_down_extra(w, cafe), 0));
    }
    cr_expect(world_chains_fit(w));
}

Test(follow, a_correction_reaches_a_cafe_that_was_away)
{
    struct world *w = world_new(2, 11);
    write_bin(w, "1", NULL, NULL, "ash", true);
    settle(w);
    bin_is(w, A, "ash all");
    world_cut(w, A);
    write_bin(w, "2", "1", NULL, "elm", true);
    world_write(w, WORLD_HUB, 250);
    world_write_hidden(w, 40);
    cr_assert(world_settle(w));
    bin_is(w, A, "ash all");
    bin_is(w, B, "elm all");
    world_restart(w, A);
    world_join(w, A);
    settle(w);
    bin_is(w, A, "elm all");
    bin_is(w, WORLD_HUB, "elm all");
    for (int i = 0; i < 3; i++) { /* again and again: nothing changes */
        world_join(w, A);
        settle(w);
    }
    bin_is(w, A, "elm all");
    make_anew(w, A);
    world_free(w);
}

Test(follow, the_last_correction_counts_and_a_void_takes_it_all_back)
{
    struct world *w = world_new(2, 12);
    write_bin(w, "1", NULL, NULL, "ash", true);
    write_bin(w, "2", "1", NULL, "oak", true);
    write_bin(w, "3", "2", NULL, "fir", true); /* of the correction */
    settle(w);
    bin_is(w, A, "fir all");
    world_write_line(
        w, "{'kind':'correct','id':'" ID "4','record':'" ID "1','reason':'r','void':true}", true);
    settle(w);
    bin_is(w, A, "none");
    bin_is(w, WORLD_HUB, "none");
    make_anew(w, A);
    world_free(w);
}

Test(follow, what_becomes_this_cafes_by_a_correction_comes_along)
{
    struct world *w = world_new(2, 13);
    char site_b[32] = "", text[64];
    write_bin(w, "1", NULL, "elsewhere", "ash", false);
    settle(w);
    bin_is(w, A, "none");
    snprintf(site_b, sizeof site_b, "%s", store_site(world_store(w, B)));
    write_bin(w, "2", "1", site_b, "elm", false); /* told of below: one café gets both */
    cr_assert(world_settle(w));
    snprintf(text, sizeof text, "elm %s", site_b);
    bin_is(w, B, text);
    bin_is(w, A, "none");
    cr_expect(eq(u32, world_down_extra(w, B), 2));
    cr_expect(eq(u32, world_down_extra(w, A), 0));
    /* and who had it hears that it is another's now */
    write_bin(w, "3", "2", store_site(world_store(w, A)), "yew", false);
    cr_assert(world_settle(w));
    snprintf(text, sizeof text, "yew %s", store_site(world_store(w, A)));
    bin_is(w, A, text);
    bin_is(w, B, text);
    cr_expect(world_chains_fit(w));
    make_anew(w, A);
    make_anew(w, B);
    world_free(w);
}

Test(follow, a_price_never_goes_down_by_a_correction)
{
    struct world *w = world_new(2, 14);
    char name[64];
    world_write_line(w,
                     "{'kind':'item','id':'" ID
                     "1','code':'sugar','name':'Sugar','class':'sugar','from':'2026-01-01'}",
                     true);
    world_write_line(w,
                     "{'kind':'correct','id':'" ID "2','record':'" ID "1','reason':'r','body':{"
                     "'code':'sugar','name':'Dear sugar','class':'sugar','pack_g':1000,"
                     "'pack_minor':900,'currency':'GBP'}}",
                     false);
    /* without the price again: but what it corrects has one, and that stays here */
    world_write_line(w,
                     "{'kind':'correct','id':'" ID "3','record':'" ID "2','reason':'r','body':{"
                     "'code':'sugar','name':'Cane sugar','class':'sugar'}}",
                     false);
    world_write_line(w,
                     "{'kind':'price','id':'" ID "4','product':'syrup','bottle_ml':500,"
                     "'currency':'GBP','list_minor':800,'transfer_minor':500,'from':'2026-01-01'}",
                     false);
    world_write_line(w,
                     "{'kind':'correct','id':'" ID "5','record':'" ID "4','reason':'r','body':{"
                     "'product':'syrup','bottle_ml':500,'currency':'GBP','list_minor':900,"
                     "'transfer_minor':600,'from':'2026-01-01'}}",
                     false);
    settle(w);
    look(w, A, KNOCKBOX__RECORD__BODY_ITEM, "sugar", name);
    cr_expect(eq(str, name, "Sugar"));
    look(w, WORLD_HUB, KNOCKBOX__RECORD__BODY_ITEM, "sugar", name);
    cr_expect(eq(str, name, "Cane sugar"));
    world_free(w);
}

/* The line is cut after the n-th message, for every n until the whole talk fits before the cut. */
Test(follow, a_cut_after_any_message_loses_no_correction, .timeout = 60)
{
    unsigned whole = 0;
    for (unsigned n = 0; n == 0 || n <= whole; n++) {
        struct world *w = world_new(2, 300 + n);
        world_cut(w, A);
        write_bin(w, "1", NULL, "elsewhere", "ash", false);
        world_write(w, WORLD_HUB, 130);
        write_bin(w, "2", "1", NULL, "elm", true);
        write_bin(w, "3", "1", NULL, "fir", true);
        world_write(w, WORLD_HUB, 130);
        world_join(w, A);
        unsigned before = world_delivered(w, A);
        if (n > 0)
            world_cut_after(w, A, n);
        cr_assert(world_settle(w), "cut after %u", n);
        if (n == 0)
            whole = world_delivered(w, A) - before;
        if (world_is_cut(w, A))
            world_join(w, A);
        cr_assert(world_settle(w), "cut after %u, joined again", n);
        cr_assert(eq(u32, world_down_missing(w, A), 0), "cut after %u", n);
        bin_is(w, A, "fir all");
        world_free(w);
    }
    cr_expect(whole >= 6, "%u messages", whole);
}

/* A hub's own people correct a record of a café: the café hears of it. */
Test(follow, a_correction_of_the_cafes_own_record_reaches_it)
{
    struct world *w = world_new(2, 15);
    uint8_t id[16];
    char line[300], text[37];
    world_write(w, A, 1);
    cr_assert(world_settle(w));
    world_last_id(w, id);
    snprintf(line, sizeof line,
             "{'kind':'correct','id':'" ID "1','record':'%s','reason':'r','void':true}",
             id_print(id, text));
    world_write_line(w, line, false); /* only its own café gets it */
    cr_assert(world_settle(w));
    cr_expect(eq(u32, world_down_extra(w, A), 1));
    cr_expect(eq(u32, world_down_extra(w, B), 0));
    world_free(w);
}
