/* saltmere.c - five invented weeks of four cafés and a kitchen in the invented town of Saltmere.
 *
 *   saltmere OUT UNTIL        UNTIL: YYYY-MM-DD, the last day; the first is 34 days before
 *
 * Writes OUT/catalogue.jsonl and, for each of three phases, OUT/PHASE-SITE.jsonl in the import
 * form. In phase 2 the café `ropewalk` is meant to be cut off (four days). The same UNTIL gives the
 * same bytes. Told in the data: a tub that stood warm too long, a wrong weight corrected later, a
 * batch that measured weaker than its estimate. Nothing here is real.
 */
#include <inttypes.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "proto/when.h"

enum {
    DAYS = 35,
    CUT_FIRST = 24, /* days of phase 2, counted from the first day */
    CUT_LAST = 27,
    MAX_TUBS = 400,
    MAX_LOTS = 80,
    SITES = 5,
    KITCHEN = 4,
    BOX_G = 180,
};

enum {
    MINUTE = 60000,
    HOUR = 60 * MINUTE
};

struct cafe {
    const char *code, *name, *letter, *by;
    int tubs_a_day;     /* usual */
    int net_g;          /* usual net of a tub */
    int closed_weekday; /* 0: open every day */
    int sells_a_day;    /* bottles */
};

static const struct cafe cafes[SITES] = {
    {"quayside", "Quayside", "Q", "RK", 2, 3600, 0, 24},
    {"lantern", "Lantern Street", "L", "TO", 1, 4100, 0, 16},
    {"ropewalk", "Ropewalk", "R", "MB", 1, 2900, 7, 10},
    {"gullnest", "Gull's Nest", "G", "JF", 1, 1900, 1, 5},
    {"kitchen", "Chandlery Kitchen", "K", "AM", 0, 0, 7, 0},
};

static const char *const coffees[] = {"house-dark", "single-light", "decaf"};

struct recipe {
    const char *code, *product;
    int sugar, spirit, coffee; /* parts to one of grounds */
    int yield_pct;             /* product mass to grounds mass */
    int g_per_l;               /* density of the product */
    int strain_days;
};

static const struct recipe recipes[] = {
    {"liqueur-dark", "liqueur", 1, 1, 2, 300, 1090, 2},
    {"syrup-coffee", "syrup", 1, 0, 1, 150, 1215, 1},
    {"syrup-spirit", "spirit-syrup", 1, 1, 0, 150, 1130, 1},
};

struct tub {
    char code[16];
    int site, net_g, frozen_day;
    bool gone, in_kitchen;
};

struct lot {
    char code[16];
    const struct recipe *recipe;
    int ready_day; /* released and on the shelf of the kitchen */
    int at[SITES]; /* bottles */
};

struct batch {
    char code[16];
    const struct recipe *recipe;
    int mix_day, grounds_g, in_g;
    bool done;
};

struct town {
    const char *out;
    int32_t first; /* day 0 */
    uint64_t dice;
    FILE *files[3][SITES];
    FILE *catalogue;
    struct tub tubs[MAX_TUBS];
    int n_tubs;
    struct lot lots[MAX_LOTS];
    int n_lots;
    struct batch batches[MAX_LOTS];
    int n_batches;
    int next_label[SITES];
    int residue_waiting_g;
    char last_id[80];
};

/* xorshift64*, so that every machine rolls the same dice. */
static uint64_t
roll(struct town *t)
{
    t->dice ^= t->dice >> 12;
    t->dice ^= t->dice << 25;
    t->dice ^= t->dice >> 27;
    return t->dice * 0x2545F4914F6CDD1DULL;
}

/* A whole number from `low` to `high`, both possible. */
static int
between(struct town *t, int low, int high)
{
    return low + (int)(roll(t) % (uint64_t)(high - low + 1));
}

static int64_t
instant(const struct town *t, int day, int hour, int minute)
{
    return (int64_t)(t->first + day) * 24 * HOUR + (int64_t)hour * HOUR + (int64_t)minute * MINUTE;
}

static const char *
when(int64_t ms)
{
    static char texts[8][WHEN_TEXT];
    static int turn;
    turn = (turn + 1) % 8;
    return when_print(ms, 0, texts[turn]);
}

static const char *
day_of(const struct town *t, int day)
{
    static char texts[4][DAY_TEXT];
    static int turn;
    turn = (turn + 1) % 4;
    return day_print(t->first + day, texts[turn]);
}

static int
phase_of(int day)
{
    return day < CUT_FIRST ? 0 : day <= CUT_LAST ? 1 : 2;
}

static FILE *
file_of(struct town *t, int day, int site)
{
    FILE **file = &t->files[phase_of(day)][site];
    if (*file == NULL) {
        char path[512];
        (void)snprintf(path, sizeof path, "%s/%d-%s.jsonl", t->out, phase_of(day) + 1,
                       cafes[site].code);
        *file = fopen(path, "w");
        if (*file == NULL) {
            perror(path);
            exit(1);
        }
    }
    return *file;
}

/* UUIDv7 of the instant and the town's dice (RFC 9562, section 5.7). */
static void
new_id(struct town *t, int64_t at_ms)
{
    uint64_t a = roll(t), b = roll(t);
    (void)snprintf(t->last_id, sizeof t->last_id,
                   "%08" PRIx64 "-%04" PRIx64 "-7%03" PRIx64 "-%04" PRIx64 "-%012" PRIx64,
                   (uint64_t)at_ms >> 16, (uint64_t)at_ms & 0xFFFF, a & 0xFFF,
                   0x8000 | (b >> 48 & 0x3FFF), b & 0xFFFFFFFFFFFF);
}

static void write_line(struct town *t, FILE *file, int site, const char *kind, int64_t at,
                       const char *by, const char *format, va_list args)
    __attribute__((format(printf, 7, 0)));

static void
write_line(struct town *t, FILE *file, int site, const char *kind, int64_t at, const char *by,
           const char *format, va_list args)
{
    new_id(t, at);
    (void)fprintf(file,
                  "{\"kind\":\"%s\",\"id\":\"%s\",\"at\":\"%s\",\"by\":\"%s\",\"site\":\"%s\",",
                  kind, t->last_id, when(at), by, cafes[site].code);
    (void)vfprintf(file, format, args);
    (void)fputs("}\n", file);
}

static void put(struct town *t, int site, int day, const char *kind, int64_t at, const char *format,
                ...) __attribute__((format(printf, 6, 7)));

/* One record of a site. */
static void
put(struct town *t, int site, int day, const char *kind, int64_t at, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    write_line(t, file_of(t, day, site), site, kind, at, cafes[site].by, format, args);
    va_end(args);
}

static void list(struct town *t, const char *kind, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* One line of the catalogue. */
static void
list(struct town *t, const char *kind, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    write_line(t, t->catalogue, KITCHEN, kind, instant(t, -1, 9, 0), "OF", format, args);
    va_end(args);
}

static void
list_sites(struct town *t)
{
    for (int s = 0; s < SITES; s++) {
        const char *code = cafes[s].code;
        list(t, "site",
             "\"code\":\"%s\",\"name\":\"%s\",\"role\":\"%s\",\"zone\":\"Europe/London\","
             "\"day_start\":\"04:00\",\"currency\":\"GBP\",\"joined\":\"%s\"%s",
             code, cafes[s].name, s == KITCHEN ? "kitchen" : "cafe", day_of(t, 0),
             s == KITCHEN ? ",\"licence\":\"SALTMERE-114\",\"fridge_ml\":400000,"
                            "\"labour_minor_per_hour\":1450,\"labour_s\":25200"
                          : "");
        list(t, "place",
             "\"code\":\"%s-freezer\",\"for_site\":\"%s\",\"class\":\"freezer\",\"max_c\":\"-15\","
             "\"readings_per_day\":1",
             code, code);
        list(t, "stream",
             "\"code\":\"%s-bin\",\"for_site\":\"%s\",\"name\":\"general bin\","
             "\"destination\":\"landfill\",\"settles\":\"at-once\",\"material\":\"mixed\"",
             code, code);
        list(t, "stream",
             "\"code\":\"%s-caddy\",\"for_site\":\"%s\",\"name\":\"food caddy\","
             "\"destination\":\"anaerobic_digestion\",\"settles\":\"on-collection\","
             "\"material\":\"food\",\"carrier\":\"Saltmere Green Round\"",
             code, code);
        if (cafes[s].closed_weekday == 0)
            continue;
        for (int d = 0; d < DAYS + 21; d++)
            if (day_weekday(t->first + d) == cafes[s].closed_weekday)
                list(t, "calendar", "\"for_site\":\"%s\",\"day\":\"%s\",\"open\":false", code,
                     day_of(t, d));
    }
    list(t, "stream",
         "\"code\":\"yard-heap\",\"for_site\":\"kitchen\",\"name\":\"compost heap in the yard\","
         "\"destination\":\"composting\",\"settles\":\"at-once\",\"material\":\"food\","
         "\"onsite\":true");
}

static void
list_products(struct town *t)
{
    list(t, "coffee", "\"code\":\"house-dark\",\"name\":\"House dark\"");
    list(t, "coffee", "\"code\":\"single-light\",\"name\":\"Single origin, light\"");
    list(t, "coffee", "\"code\":\"decaf\",\"name\":\"Decaf\",\"decaf\":true");
    list(t, "product",
         "\"code\":\"liqueur\",\"name\":\"Second-pour coffee drink\",\"class\":\"liqueur\","
         "\"label_abv_pct\":\"10\",\"shelf_d\":365,\"bottle_ml\":500");
    list(t, "product",
         "\"code\":\"syrup\",\"name\":\"Grounds syrup\",\"class\":\"syrup\",\"shelf_d\":28,"
         "\"bottle_ml\":500");
    list(t, "product",
         "\"code\":\"spirit-syrup\",\"name\":\"Spirited syrup\",\"class\":\"syrup\","
         "\"label_abv_pct\":\"20\",\"shelf_d\":180,\"bottle_ml\":500");
    list(t, "item",
         "\"code\":\"spirit40\",\"name\":\"Neutral spirit 40\",\"class\":\"spirit\","
         "\"abv_pct\":\"40\",\"pack_g\":19000,\"pack_minor\":26600,\"currency\":\"GBP\",\"lead_d\":"
         "3");
    list(t, "item",
         "\"code\":\"sugar\",\"name\":\"Raw cane sugar\",\"class\":\"sugar\",\"dry\":true,"
         "\"pack_g\":25000,\"pack_minor\":3500,\"currency\":\"GBP\",\"lead_d\":2");
    list(t, "item",
         "\"code\":\"brew\",\"name\":\"Brewed coffee\",\"class\":\"coffee\",\"tds_pct\":\"1.3\","
         "\"pack_g\":10000,\"pack_minor\":900,\"currency\":\"GBP\",\"lead_d\":0");
    for (size_t r = 0; r < sizeof recipes / sizeof recipes[0]; r++) {
        const struct recipe *x = &recipes[r];
        list(
            t, "recipe",
            "\"code\":\"%s\",\"product\":\"%s\",\"parts\":[{\"input\":\"grounds\",\"parts\":\"1\"},"
            "{\"input\":\"sugar\",\"parts\":\"%d\"}%s%s],\"steep_h\":24,"
            "\"yield_g_per_kg\":%d,\"yield_ml_per_kg\":%d,\"grounds_min_g\":6000,"
            "\"grounds_max_g\":15000,\"strain_days\":%d,\"mix_s_per_batch\":1500,"
            "\"mix_s_per_kg\":90,\"bottle_s_per_batch\":1800,\"bottle_s_per_kg\":240",
            x->code, x->product, x->sugar,
            x->spirit ? ",{\"input\":\"spirit40\",\"parts\":\"1\"}" : "",
            x->coffee == 2   ? ",{\"input\":\"brew\",\"parts\":\"2\"}"
            : x->coffee == 1 ? ",{\"input\":\"brew\",\"parts\":\"1\"}"
                             : "",
            x->yield_pct * 10, x->yield_pct * 10000 / x->g_per_l, x->strain_days);
    }
    static const struct {
        const char *product;
        int list_minor, transfer_minor, buy_in_minor;
    } prices[] = {
        {"liqueur", 1650, 820, 690}, {"syrup", 780, 390, 265}, {"spirit-syrup", 1350, 680, 780}};
    for (size_t p = 0; p < sizeof prices / sizeof prices[0]; p++)
        list(t, "price",
             "\"product\":\"%s\",\"bottle_ml\":500,\"currency\":\"GBP\",\"list_minor\":%d,"
             "\"transfer_minor\":%d,\"buy_in_minor\":%d,\"from\":\"%s\"",
             prices[p].product, prices[p].list_minor, prices[p].transfer_minor,
             prices[p].buy_in_minor, day_of(t, 0));
}

static void
list_work(struct town *t)
{
    for (int i = 1; i <= 3; i++)
        list(t, "station", "\"code\":\"F%d\",\"class\":\"filter\",\"load_g\":75000", i);
    for (int i = 1; i <= 4; i++)
        list(t, "vessel", "\"code\":\"V%d\",\"holds_ml\":80000", i);
    list(t, "route",
         "\"code\":\"harbour\",\"stops\":[\"quayside\",\"lantern\"],\"weekdays\":[1,4],"
         "\"van_tubs\":40");
    list(t, "route",
         "\"code\":\"north\",\"stops\":[\"ropewalk\",\"gullnest\"],\"weekdays\":[3,6],"
         "\"van_tubs\":40");
    for (int d = 0; d < DAYS + 14; d++) {
        int w = day_weekday(t->first + d);
        const char *route = w == 1 || w == 4 ? "harbour" : w == 3 || w == 6 ? "north" : NULL;
        if (route != NULL)
            list(t, "run",
                 "\"code\":\"%s-%s\",\"route\":\"%s\",\"day\":\"%s\",\"departs\":\"07:30\","
                 "\"van_g\":120000,\"fixed_minor\":900,\"minor_per_kg\":6",
                 route, day_of(t, d), route, day_of(t, d));
    }
    list(t, "limits",
         "\"code\":\"warm-time\",\"value\":\"240\",\"unit\":\"min\",\"comparator\":\"<=\","
         "\"source\":\"house rule of the kitchen\",\"dated\":\"%s\"",
         day_of(t, 0));
    list(t, "factors", "\"edition\":\"UK-2025\",\"from\":\"%s\"", day_of(t, 0));
    list(t, "basis",
         "\"basis\":\"by-product\",\"stage\":\"processing\",\"from\":\"%s\","
         "\"reason\":\"kept clean and cold for the kitchen's own recipes\",\"decided_by\":\"OF\"",
         day_of(t, 0));
    static const struct {
        const char *initials, *role, *site;
    } staff[] = {{"RK", "barista", "quayside"}, {"TO", "barista", "lantern"},
                 {"MB", "barista", "ropewalk"}, {"JF", "barista", "gullnest"},
                 {"AM", "kitchen", "kitchen"},  {"OF", "office", "kitchen"}};
    for (size_t i = 0; i < sizeof staff / sizeof staff[0]; i++)
        list(t, "staff", "\"code\":\"%s\",\"roles\":[\"%s\"],\"for_site\":\"%s\"",
             staff[i].initials, staff[i].role, staff[i].site);
}

static bool
open_on(const struct town *t, int site, int day)
{
    return day_weekday(t->first + day) != cafes[site].closed_weekday;
}

/* A tub that stood too long is written as thrown away at once, as the close asks to. */
static void
fill_tub(struct town *t, int site, int day, int hour, int minute, const char *coffee, bool too_warm)
{
    if (t->n_tubs == MAX_TUBS)
        return;
    struct tub *tub = &t->tubs[t->n_tubs++];
    int64_t frozen = instant(t, day, hour, minute);
    int64_t knocked = frozen - (int64_t)(too_warm ? 318 : between(t, 70, 215)) * MINUTE;
    (void)snprintf(tub->code, sizeof tub->code, "%s-%04d", cafes[site].letter,
                   ++t->next_label[site]);
    tub->site = site;
    tub->net_g = cafes[site].net_g + between(t, -700, 700);
    tub->frozen_day = day;
    tub->gone = too_warm;
    tub->in_kitchen = false;
    bool wrong = site == 1 && day == 12; /* the box was weighed twice; corrected two days later */
    put(t, site, day, "tub", frozen + MINUTE,
        "\"tub\":\"%s\",\"coffee\":\"%s\",\"origin\":\"espresso\",\"gross_g\":%d,\"tare_g\":%d,"
        "\"method\":\"weighed\",\"pucks\":%d,\"first_knock\":\"%s\",\"frozen\":\"%s\","
        "\"place\":\"%s-freezer\"",
        tub->code, coffee, tub->net_g + BOX_G + (wrong ? 1000 : 0), BOX_G, tub->net_g / 40,
        when(knocked), when(frozen), cafes[site].code);
    char tub_id[80];
    memcpy(tub_id, t->last_id, sizeof tub_id);
    if (wrong)
        put(t, site, day + 2, "correct", instant(t, day + 2, 9, 12),
            "\"record\":\"%s\",\"reason\":\"scale read with a jug on it\",\"body\":{\"tub\":\"%s\","
            "\"coffee\":\"%s\",\"origin\":\"espresso\",\"gross_g\":%d,\"tare_g\":%d,"
            "\"method\":\"weighed\",\"pucks\":%d,\"first_knock\":\"%s\",\"frozen\":\"%s\","
            "\"place\":\"%s-freezer\"}",
            tub_id, tub->code, coffee, tub->net_g + BOX_G, BOX_G, tub->net_g / 40, when(knocked),
            when(frozen), cafes[site].code);
    if (too_warm)
        put(t, site, day, "discard", frozen + 3 * MINUTE,
            "\"what\":\"tub\",\"code\":\"%s\",\"count\":1,\"reason\":\"stood warm too long\","
            "\"stream\":\"%s-caddy\"",
            tub->code, cafes[site].code);
}

static void
close_day(struct town *t, int site, int day)
{
    int64_t morning = instant(t, day, 8, between(t, 0, 50));
    int tenths = between(t, 0, 9),
        degrees = between(t, 17, 21); /* in this order with any compiler */
    put(t, site, day, "reading", morning, "\"place\":\"%s-freezer\",\"temp_c\":\"-%d.%d\"",
        cafes[site].code, degrees, tenths);
    if (!open_on(t, site, day))
        return;
    int tubs = cafes[site].tubs_a_day;
    for (int i = 0; i < tubs; i++) {
        const char *coffee = site == 3 ? coffees[day % 2 ? 2 : 0] : coffees[i % 2];
        fill_tub(t, site, day, i == 0 ? 16 : 21, between(t, 5, 50), coffee,
                 site == 0 && day == 19 && i == 1);
    }
    int uncaptured_g = between(t, 150, 900), minute = between(t, 2, 40);
    put(t, site, day, "close", instant(t, day, 22, minute),
        "\"day\":\"%s\",\"pucks\":%d,\"uncaptured_g\":%d,\"uncaptured_method\":\"%s\","
        "\"stream\":\"%s-bin\"",
        day_of(t, day), tubs * cafes[site].net_g / 38, uncaptured_g,
        day % 3 == 0 ? "weighed" : "estimated", cafes[site].code);
    if (day_weekday(t->first + day) == 5)
        put(t, site, day, "order", instant(t, day, 22, 45),
            "\"product\":\"%s\",\"count\":%d,\"due\":\"%s\",\"bottle_ml\":500",
            recipes[day % 3].product, 6 * between(t, 1, 4), day_of(t, day + 6));
}

/* Monday's and Thursday's harbour run, Wednesday's and Saturday's to the north. */
static void
drive(struct town *t, int day)
{
    int w = day_weekday(t->first + day);
    int first = w == 1 || w == 4 ? 0 : 2;
    if (w == 2 || w == 5 || w == 7)
        return;
    char tubs[4096] = "", weights[8192] = "";
    const char *route = first == 0 ? "harbour" : "north";
    for (int site = first; site < first + 2; site++) {
        size_t n = 0;
        tubs[0] = '\0';
        for (int i = 0; i < t->n_tubs; i++) {
            struct tub *tub = &t->tubs[i];
            if (tub->site != site || tub->gone || tub->in_kitchen || tub->frozen_day >= day)
                continue;
            n += (size_t)snprintf(tubs + n, sizeof tubs - n, "%s\"%s\"", n ? "," : "", tub->code);
            size_t k = strlen(weights);
            (void)snprintf(weights + k, sizeof weights - k, "%s{\"tub\":\"%s\",\"gross_g\":%d}",
                           k ? "," : "", tub->code, tub->net_g + BOX_G);
            tub->in_kitchen = true;
        }
        if (n > 0)
            put(t, site, day, "handover", instant(t, day, 7, 30 + 10 * (site - first)),
                "\"run\":\"%s-%s\",\"tubs\":[%s],\"temp_c\":\"-16.%d\"", route, day_of(t, day),
                tubs, between(t, 0, 9));
    }
    if (weights[0] != '\0')
        put(t, KITCHEN, day, "receive", instant(t, day, 9, 20),
            "\"run\":\"%s-%s\",\"place\":\"kitchen-freezer\",\"tubs\":[%s],\"temp_c\":\"-14.%d\"",
            route, day_of(t, day), weights, between(t, 0, 9));
}

static void
supply(struct town *t, int day)
{
    if (day % 7 != 0)
        return;
    int64_t at = instant(t, day, 7, 40);
    static const struct {
        const char *item, *letter, *supplier;
        int mass_g, cost_minor;
    } goods[] = {{"spirit40", "S", "Northern Still House", 95000, 133000},
                 {"sugar", "U", "Cane and Beet Stores", 150000, 21000},
                 {"brew", "C", "own bar", 120000, 10800}};
    for (size_t i = 0; i < sizeof goods / sizeof goods[0]; i++)
        put(t, KITCHEN, day, "supply", at + (int64_t)i * 5 * MINUTE,
            "\"lot\":\"%s-%02d\",\"item\":\"%s\",\"supplier\":\"%s\",\"supplier_lot\":\"%s%04d\","
            "\"received\":\"%s\",\"mass_g\":%d,\"cost_minor\":%d,\"currency\":\"GBP\"%s",
            goods[i].letter, day / 7 + 1, goods[i].item, goods[i].supplier, goods[i].letter,
            between(t, 1000, 9999), day_of(t, day), goods[i].mass_g, goods[i].cost_minor,
            i == 0 ? ",\"abv_pct\":\"40.0\"" : "");
}

/* Takes the oldest tubs in the kitchen up to `most` grams into `inputs`; returns their mass. */
static int
take_oldest(struct town *t, int most, char *inputs, size_t size, char *labels, size_t label_size)
{
    int grounds = 0;
    size_t n = 0, k = 0;
    for (int i = 0; i < t->n_tubs; i++) {
        struct tub *tub = &t->tubs[i];
        if (!tub->in_kitchen || tub->gone || grounds + tub->net_g > most)
            continue;
        n += (size_t)snprintf(inputs + n, size - n, "%s{\"tub\":\"%s\",\"mass_g\":%d}",
                              n ? "," : "", tub->code, tub->net_g);
        k += (size_t)snprintf(labels + k, label_size - k, "%s\"%s\"", k ? "," : "", tub->code);
        grounds += tub->net_g;
        tub->gone = true;
    }
    return grounds;
}

static int
kitchen_stock_g(const struct town *t)
{
    int sum = 0;
    for (int i = 0; i < t->n_tubs; i++)
        if (t->tubs[i].in_kitchen && !t->tubs[i].gone)
            sum += t->tubs[i].net_g;
    return sum;
}

static void
mix(struct town *t, int day)
{
    if (!open_on(t, KITCHEN, day) || day == 0 || kitchen_stock_g(t) < 9000 ||
        t->n_batches == MAX_LOTS)
        return;
    struct batch *b = &t->batches[t->n_batches++];
    char inputs[4096], labels[2048];
    b->recipe = &recipes[(t->n_batches - 1) % 3];
    b->mix_day = day;
    b->done = false;
    (void)snprintf(b->code, sizeof b->code, "B-%02d", t->n_batches);
    b->grounds_g = take_oldest(t, 14500, inputs, sizeof inputs, labels, sizeof labels);
    b->in_g = b->grounds_g * (1 + b->recipe->sugar + b->recipe->spirit + b->recipe->coffee);
    int week = day / 7 + 1;
    size_t n = strlen(inputs);
    n += (size_t)snprintf(inputs + n, sizeof inputs - n, ",{\"lot\":\"U-%02d\",\"mass_g\":%d}",
                          week, b->grounds_g * b->recipe->sugar);
    if (b->recipe->spirit)
        n += (size_t)snprintf(inputs + n, sizeof inputs - n, ",{\"lot\":\"S-%02d\",\"mass_g\":%d}",
                              week, b->grounds_g);
    if (b->recipe->coffee)
        (void)snprintf(inputs + n, sizeof inputs - n, ",{\"lot\":\"C-%02d\",\"mass_g\":%d}", week,
                       b->grounds_g * b->recipe->coffee);
    int64_t thawed = instant(t, day, 9, 40);
    put(t, KITCHEN, day, "thaw", thawed, "\"tubs\":[%s],\"method\":\"in-sugar\",\"started\":\"%s\"",
        labels, when(thawed));
    put(t, KITCHEN, day, "mix", instant(t, day, 12, 15),
        "\"batch\":\"%s\",\"recipe\":\"%s\",\"inputs\":[%s],\"vessel\":\"V%d\",\"started\":\"%s\","
        "\"dissolved_s\":%d",
        b->code, b->recipe->code, inputs, 1 + t->n_batches % 4, when(instant(t, day, 12, 15)),
        between(t, 150, 420));
    put(t, KITCHEN, day, "strain", instant(t, day, 17, 0),
        "\"batch\":\"%s\",\"station\":\"F%d\",\"event\":\"start\"", b->code, 1 + t->n_batches % 3);
}

static void
bottle(struct town *t, struct batch *b, int number, int day, int product_g, int product_ml)
{
    struct lot *lot = &t->lots[t->n_lots++];
    int count = product_ml / 500;
    memset(lot, 0, sizeof *lot);
    (void)snprintf(lot->code, sizeof lot->code, "L-%02d", number);
    lot->recipe = b->recipe;
    lot->ready_day = day + 1;
    lot->at[KITCHEN] = count;
    put(t, KITCHEN, day, "bottle", instant(t, day, 14, 30),
        "\"batch\":\"%s\",\"lot\":\"%s\",\"bottle_ml\":500,\"count\":%d,\"product_g\":%d", b->code,
        lot->code, count, (int)((int64_t)product_g * count * 500 / product_ml));
    put(t, KITCHEN, day, "release", instant(t, day, 16, 40),
        "\"lot\":\"%s\",\"decision\":\"release\",\"assessment\":\"A-%02d\"%s", lot->code, number,
        b->recipe->spirit ? ",\"licence\":\"SALTMERE-114\"" : "");
}

/* The end of straining, a measurement where there is spirit, bottles, and the residue's way out. */
static void
finish(struct town *t, int number, int day)
{
    struct batch *b = &t->batches[number - 1];
    int product_g = b->grounds_g * b->recipe->yield_pct / 100 + between(t, -400, 400);
    int product_ml = (int)((int64_t)product_g * 1000 / b->recipe->g_per_l);
    int loss_g = between(t, 40, 200);
    int residue_g = b->in_g - product_g - loss_g - between(t, -30, 60);
    b->done = true;
    put(t, KITCHEN, day, "strain", instant(t, day, 10, 30),
        "\"batch\":\"%s\",\"station\":\"F%d\",\"event\":\"end\",\"product_g\":%d,\"product_ml\":%d,"
        "\"residue_g\":%d,\"loss_g\":%d",
        b->code, 1 + number % 3, product_g, product_ml, residue_g, loss_g);
    if (b->recipe->spirit)
        put(t, KITCHEN, day, "measure", instant(t, day, 11, 0),
            "\"batch\":\"%s\",\"what\":\"abv\",\"value\":\"%d.%d\",\"unit\":\"%% vol\","
            "\"temp_c\":\"20.0\",\"method\":\"distillation and density "
            "meter\",\"instrument\":\"D1\"",
            b->code,
            number == 7         ? 7
            : b->recipe->coffee ? 9
                                : 17,
            between(t, 0, 9));
    bottle(t, b, number, day, product_g, product_ml);
    bool heap = number % 4 == 0;
    put(t, KITCHEN, day, "residue", instant(t, day, 15, 10),
        "\"batch\":\"%s\",\"mass_g\":%d,\"stream\":\"%s\"", b->code, residue_g,
        heap ? "yard-heap" : "kitchen-caddy");
    if (!heap)
        t->residue_waiting_g += residue_g;
}

static void
finish_what_is_ready(struct town *t, int day)
{
    if (!open_on(t, KITCHEN, day))
        return;
    for (int i = 0; i < t->n_batches; i++)
        if (!t->batches[i].done && t->batches[i].mix_day + t->batches[i].recipe->strain_days <= day)
            finish(t, i + 1, day);
}

static void
collect(struct town *t, int day)
{
    if (day_weekday(t->first + day) != 5)
        return;
    if (t->residue_waiting_g > 0)
        put(t, KITCHEN, day, "collection", instant(t, day, 17, 30),
            "\"stream\":\"kitchen-caddy\",\"mass_g\":%d,\"destination\":\"anaerobic_digestion\","
            "\"carrier\":\"Saltmere Green Round\",\"docket\":\"SG-%04d\",\"emptied\":true",
            t->residue_waiting_g, 2000 + day);
    t->residue_waiting_g = 0;
}

/* Tuesday and Friday the kitchen sends bottles out; cafés sell from what they hold. */
static void
trade(struct town *t, int day)
{
    int w = day_weekday(t->first + day);
    for (int i = 0; i < t->n_lots && (w == 2 || w == 5); i++)
        for (int s = 0; s < KITCHEN; s++) {
            struct lot *lot = &t->lots[i];
            int count = lot->ready_day > day ? 0 : cafes[s].sells_a_day * 2;
            if (count > lot->at[KITCHEN])
                count = lot->at[KITCHEN];
            if (count == 0 || !open_on(t, s, day))
                continue;
            put(t, KITCHEN, day, "dispatch", instant(t, day, 8, 5 + s),
                "\"lot\":\"%s\",\"to_site\":\"%s\",\"count\":%d", lot->code, cafes[s].code, count);
            int broken = between(t, 0, 30) == 0;
            put(t, s, day, "accept", instant(t, day, 10, 20 + s),
                "\"lot\":\"%s\",\"from_site\":\"kitchen\",\"count\":%d,\"broken\":%d", lot->code,
                count, broken);
            lot->at[KITCHEN] -= count;
            lot->at[s] += count - broken;
        }
    for (int s = 0; s < KITCHEN; s++) {
        int left =
            open_on(t, s, day) ? between(t, cafes[s].sells_a_day / 2, cafes[s].sells_a_day) : 0;
        for (int i = 0; i < t->n_lots && left > 0; i++) {
            struct lot *lot = &t->lots[i];
            int count = lot->at[s] < left ? lot->at[s] : left;
            if (count == 0)
                continue;
            int price = lot->recipe == &recipes[0] ? 1650 : lot->recipe == &recipes[1] ? 780 : 1350;
            put(t, s, day, "sale", instant(t, day, 18, 30 + s),
                "\"lot\":\"%s\",\"count\":%d,\"unit_minor\":%d,\"currency\":\"GBP\"", lot->code,
                count, price);
            lot->at[s] -= count;
            left -= count;
        }
    }
}

static void
count_stock(struct town *t, int day)
{
    if (day_weekday(t->first + day) != 7 && day != DAYS - 1)
        return;
    for (int s = 0; s < SITES; s++) {
        char tubs[4096] = "";
        size_t n = 0;
        for (int i = 0; i < t->n_tubs; i++) {
            const struct tub *tub = &t->tubs[i];
            bool here =
                !tub->gone && (s == KITCHEN ? tub->in_kitchen : tub->site == s && !tub->in_kitchen);
            if (here)
                n += (size_t)snprintf(tubs + n, sizeof tubs - n, "%s\"%s\"", n ? "," : "",
                                      tub->code);
        }
        put(t, s, day, "stocktake", instant(t, day, 23, 10),
            "\"place\":\"%s-freezer\",\"tubs\":[%s]", cafes[s].code, tubs);
    }
}

static void
live(struct town *t)
{
    for (int day = 0; day < DAYS; day++) {
        supply(t, day);
        drive(t, day);
        finish_what_is_ready(t, day);
        mix(t, day);
        trade(t, day);
        collect(t, day);
        for (int s = 0; s < SITES; s++)
            if (s != KITCHEN)
                close_day(t, s, day);
        int tenths = between(t, 0, 9), degrees = between(t, 18, 22);
        put(t, KITCHEN, day, "reading", instant(t, day, 7, 15),
            "\"place\":\"kitchen-freezer\",\"temp_c\":\"-%d.%d\"", degrees, tenths);
        count_stock(t, day);
    }
}

/* 0, or 1 when something could not be written. */
static int
finish_files(struct town *t)
{
    int bad = fclose(t->catalogue);
    for (int p = 0; p < 3; p++)
        for (int s = 0; s < SITES; s++)
            if (t->files[p][s] != NULL && fclose(t->files[p][s]) != 0)
                bad = 1;
    return bad != 0;
}

int
main(int argc, char **argv)
{
    static struct town t;
    int32_t until;
    if (argc != 3 || !day_parse(argv[2], &until)) {
        (void)fputs("usage: saltmere OUT YYYY-MM-DD\n", stderr);
        return 2;
    }
    char path[512];
    t.out = argv[1];
    t.first = until - (DAYS - 1);
    t.dice = 0x5A17ACE5ULL;
    (void)snprintf(path, sizeof path, "%s/catalogue.jsonl", t.out);
    t.catalogue = fopen(path, "w");
    if (t.catalogue == NULL) {
        perror(path);
        return 1;
    }
    list_sites(&t);
    list_products(&t);
    list_work(&t);
    live(&t);
    return finish_files(&t);
}
