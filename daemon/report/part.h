/* part.h - the parts of a report: each fills its sections of the model, in the order of the print.
 */
#ifndef DAEMON_REPORT_PART_H
#define DAEMON_REPORT_PART_H

#include "daemon/report/number.h"
#include "daemon/report/report.h"

/* Stock of tubs of one row: a site or in-transit (S1). */
struct stock_row {
    const char *site;
    bool boundary; /* inside it on some day of the month: from..to */
    int32_t from, to;
    bool counted; /* S2: a stocktake with `tubs` in the month; in-transit: always */
    int64_t opening_g, late_g, filled_g, received_g, sent_g, rejected_g, used_g;
    int64_t receipt_g, count_g, overdraw_g, empty_g; /* unexplained, by what showed it */
    int64_t before_g; /* at the end of the month before, by this month's books */
};

/* What reached one destination (W4), of one material, on or off site. */
struct ending {
    size_t destination; /* row of calc_destination_at() */
    char material[8];   /* "", "food", "mixed" */
    bool onsite;
    int64_t mass_g;
};

struct build {
    const struct report_input *in;
    struct table_model *model;
    struct err_text *why;
    int32_t first_day, last_day;
    int32_t newest_day;           /* R8: no day after it is missed */
    const Knockbox__Basis *basis; /* NULL: none in force, W12 */
    const char *edition;          /* NULL: none */
    const char **cautions;        /* that rules ask for; the list is ours, texts the model's */
    size_t n_cautions, cap_cautions;
    bool out_of_memory;
    struct ending *endings; /* ours: what reached a destination in the month */
    size_t n_endings;
    struct stock_row *stock; /* ours */
    size_t n_stock;
    struct stock_row stock_all;     /* the sum of the rows */
    int64_t generated_g, weighed_g; /* grounds, G1; set by part_grounds */
};

typedef enum err part_fn(struct build *b);
part_fn part_period, part_grounds, part_stock, part_uses, part_waste, part_emissions;
part_fn part_avoided; /* after part_emissions, by it */
part_fn part_costs;   /* since version 2 of the tables */
part_fn part_product, part_batches, part_quality, part_safety, part_end;
part_fn part_base_year; /* where the basis has one */
part_fn part_capture;   /* asked for by in->pictures */

/* Fills what follows from the input alone: days, newest day, basis, edition. */
void build_look_up(struct build *b);

/* ---- what several parts need */

/* Adds a caution; text as table_text() makes it (NULL: out of memory, which the model noted). */
void build_caution(struct build *b, const char *text);

/* Sets a cell of the last row from a number. */
void build_kg(struct build *b, const char *key, int64_t g);
void build_whole(struct build *b, const char *key, int64_t value);
void build_pct(struct build *b, const char *key, int64_t part, int64_t whole);

/* Sum of a measure over the month; `site` NULL: all. */
int64_t build_sum(const struct build *b, enum measure measure, const char *site);

/* Is the basis `waste`? */
bool build_is_waste_basis(const struct build *b);

/* First and last day of a site inside the boundary in the month; false: none. */
bool build_days(const struct build *b, const char *site, int32_t *out_first, int32_t *out_last);

/* Does the site work on that day, by the calendar? */
bool quality_is_open(const struct build *b, const char *site, int32_t day);

/* ---- stock of tubs, one row a site (S1) */

/* Fills b->stock, b->n_stock (by site, in-transit last) and b->stock_all. ERR_MEM. */
enum err stock_of(struct build *b);
int64_t stock_unexplained(const struct stock_row *row);
int64_t stock_expected(const struct stock_row *row);
bool stock_is_zero(const struct stock_row *row);

/* ---- what reached a destination in the month (W4, W6) */

/* Fills b->endings and b->n_endings: of all sites, by destination, material, onsite. ERR_MEM. */
enum err endings_of(struct build *b);
bool ending_is(const struct ending *ending, const char *destination);

/* ---- emissions of a mass (E1 to E3) */

/* What the value of a factor is for. */
enum emission_unit {
    EMISSION_PER_T,         /* kg CO2e per t */
    EMISSION_PER_SHORT_TON, /* t CO2e per short ton, 0.90718474 t exactly (UCUM) */
    EMISSION_PER_LONG_TON,  /* t CO2e per long ton, 1.0160469088 t exactly (UCUM) */
    EMISSION_UNITS
};

/* Sums of kg x value of factors of each unit, exact; all zero: nothing yet. */
struct emission_sum {
    struct decimal per[EMISSION_UNITS];
    bool any[EMISSION_UNITS];
};

/* Adds a mass at a value. */
enum err emission_sum_add(struct emission_sum *sum, int64_t mass_g, const char *value,
                          enum emission_unit unit, struct err_text *why);
/* A value as kg CO2e per t: exact, else 6 decimals. */
enum err emission_per_t(const char *value, enum emission_unit unit, char room[NUMBER_TEXT],
                        struct err_text *why);

/* Were the tables of that version there when the month was closed? Of an open one they are. */
bool build_has_tables(const struct build *b, int32_t version);

/* Adds a mass at the factor of its line; *out_quantified false: it has none. */
enum err emission_add(struct build *b, const struct ending *ending, struct emission_sum *sum,
                      bool *out_quantified);
/* kg CO2e of the sum, rounded once. */
enum err emission_print(const struct emission_sum *sum, char room[NUMBER_TEXT],
                        struct err_text *why);
/* With 3 decimals, for a headline: rounded once, from the exact sum. */
enum err emission_brief(const struct emission_sum *sum, char room[NUMBER_TEXT],
                        struct err_text *why);
/* A line of WASTE_TO as an ending. */
struct ending ending_read(const char *key, int64_t mass_g);
bool ending_recycled(const struct ending *ending); /* W7 */

/* The currency of the hub on the last day; "": none. Lent by the catalogue. */
const char *build_hub_currency(const struct build *b);

/* Do one site's books hold the measure of all sites? What every report asks of all (R8's newest
 * day), and lines of batches, which only those read that stand in a row of that site. */
bool build_keeps(enum measure measure);

/* ---- growing lists of strings with a sum, sorted by key bytewise */

struct tally_line {
    char *key;
    const char *site; /* of the first line; lent by the books */
    int64_t amount;
};

struct tally {
    struct tally_line *lines; /* sorted after tally_of() */
    size_t n, cap;
    enum err e;
};

/* Lines of a measure in months first..last, sums over sites (`by_site` false) or one for each
 * site. End with tally_done(), also after an error. */
enum err tally_of(const struct books *books, enum measure measure, int32_t first, int32_t last,
                  bool by_site, struct tally *out_tally, struct err_text *why);
void tally_done(struct tally *tally);
const struct tally_line *tally_find(const struct tally *tally, const char *key); /* NULL */

/* ---- avoided emissions (E4), by the house's comparison family */

struct avoided_sum {
    const Knockbox__Avoided *family; /* NULL: none is set; lent by the catalogue */
    struct decimal baseline;
    struct tally in, out; /* BATCH_IN, BATCH_OUT of all months */
};

/* *out_why_not: why there can be no figure; NULL: there can. End with avoided_done(), also after an
 * error. */
enum err avoided_begin(const struct build *b, struct avoided_sum *out_sum,
                       const char **out_why_not);
/* Of masses by "batch|destination"; kg CO2e, rounded once. */
enum err avoided_print(const struct avoided_sum *sum, const struct tally *masses,
                       char room[NUMBER_TEXT], const char **out_why_not, struct err_text *why);
void avoided_done(struct avoided_sum *sum);

#endif
