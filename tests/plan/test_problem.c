/* test_problem.c - problems are read, refused in words, written and put in order. */
#include "kit.h"

/* The caller's. */
static struct problem *
written_and_read(struct problem *p, const char *name)
{
    char *json = NULL;
    char *csv = NULL;
    size_t json_len = 0;
    size_t csv_len = 0;
    FILE *f = open_memstream(&json, &json_len);
    problem_print(p, "x.tubs.csv", f);
    fclose(f);
    f = open_memstream(&csv, &csv_len);
    problem_print_tubs(p, f);
    fclose(f);
    struct problem *again = NULL;
    struct err_text why = {.s = ""};
    cr_assert(problem_parse(json, json_len, csv, csv_len, &again, &why) == ERR_OK, "%s: %s", name,
              why.s);
    free(json);
    free(csv);
    return again;
}

Test(problem, what_is_written_is_read_again_the_same)
{
    static const char *const names[] = {"micro-1", "micro-2", "small-1", "small-2", "medium-2"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        struct problem *p = kit_problem(names[i]);
        struct problem *again = written_and_read(p, names[i]);
        char *a = kit_text(p, NULL);
        char *b = kit_text(again, NULL);
        cr_expect(strcmp(a, b) == 0, "%s", names[i]);
        free(a);
        free(b);
        problem_free(p);
        problem_free(again);
    }
}

/* Whoever labels a tub may write commas and quotes (RFC 4180). */
Test(problem, names_with_commas_and_quotes_are_read_again_the_same)
{
    static const char *const ids[] = {"a,b", "\"", "\"a\"", "a\"\",", ",", "=1+1", "'"};
    struct problem *p = kit_problem("micro-1");
    cr_assert(p->tubs_n >= 7 && p->sites_n >= 1);
    for (int i = 0; i < 7; i++)
        snprintf(p->tubs[i].id, sizeof p->tubs[i].id, "%s", ids[i]);
    snprintf(p->sites[0].id, sizeof p->sites[0].id, "quay, \"side\"");
    struct problem *again = written_and_read(p, "micro-1");
    for (int i = 0; i < 7; i++) {
        int there = 0;
        for (int k = 0; k < again->tubs_n; k++)
            there += strcmp(again->tubs[k].id, ids[i]) == 0;
        cr_expect(there == 1, "%s", ids[i]);
    }
    problem_free(p);
    problem_free(again);
}

static void
reverse(void *list, int n, size_t size)
{
    char *bytes = list;
    for (int i = 0; i < n / 2; i++)
        for (size_t k = 0; k < size; k++) {
            char c = bytes[(size_t)i * size + k];
            bytes[(size_t)i * size + k] = bytes[(size_t)(n - 1 - i) * size + k];
            bytes[(size_t)(n - 1 - i) * size + k] = c;
        }
}

Test(problem, order_of_what_came_in_does_not_matter)
{
    struct problem *p = kit_problem("small-1");
    char *before = kit_text(p, NULL);
    reverse(p->tubs, p->tubs_n, sizeof *p->tubs);
    reverse(p->sites, p->sites_n, sizeof *p->sites);
    for (int i = 0; i < p->tubs_n; i++)
        p->tubs[i].site = p->sites_n - 1 - p->tubs[i].site;
    for (int i = 0; i < p->orders_n; i++)
        p->orders[i].site = p->sites_n - 1 - p->orders[i].site;
    reverse(p->products, p->products_n, sizeof *p->products);
    for (int i = 0; i < p->recipes_n; i++)
        p->recipes[i].product = p->products_n - 1 - p->recipes[i].product;
    for (int i = 0; i < p->orders_n; i++)
        p->orders[i].product = p->products_n - 1 - p->orders[i].product;
    for (int i = 0; i < p->sales_n; i++)
        p->sales[i].product = p->products_n - 1 - p->sales[i].product;
    for (int i = 0; i < p->stock_n; i++)
        p->stock[i].product = p->products_n - 1 - p->stock[i].product;
    struct err_text why = {.s = ""};
    cr_assert(problem_settle(p, &why) == ERR_OK, "%s", why.s);
    char *after = kit_text(p, NULL);
    cr_expect(strcmp(before, after) == 0);
    free(before);
    free(after);
    problem_free(p);
}

/* ready day: two days from day 4 is day 6, a Sunday, so Monday; by hand from the calendar. */
Test(problem, a_batch_over_a_day_off_is_ready_on_the_next_working_day)
{
    struct problem *p = kit_problem("small-1");
    int liqueur = problem_find(p->recipes, p->recipes_n, sizeof *p->recipes, "liqueur-dark");
    cr_expect(problem_ready_day(p, liqueur, 3) == 5);
    cr_expect(problem_ready_day(p, liqueur, 4) == 7);
    cr_expect(problem_ready_day(p, liqueur, 12) == -1, "the calendar ends on a day off");
    problem_free(p);
}

Test(problem, a_copy_shares_nothing_with_the_original)
{
    struct problem *p = kit_problem("micro-1");
    struct problem *copy = NULL;
    cr_assert(problem_copy(p, &copy, NULL) == ERR_OK);
    char *before = kit_text(p, NULL);
    copy->tubs[0].g = 1;
    copy->ingredients[0].deliveries[0].g = 1;
    char *after = kit_text(p, NULL);
    cr_expect(strcmp(before, after) == 0);
    free(before);
    free(after);
    problem_free(copy);
    problem_free(p);
}

/* ---- bad files: one clear sentence ---- */

static char *
slurp(const char *name, size_t *len)
{
    char path[512];
    char *bytes = malloc(1 << 20);
    snprintf(path, sizeof path, TEST_DATA "/planner/%s", name);
    FILE *f = fopen(path, "r");
    cr_assert(f != NULL);
    *len = fread(bytes, 1, 1 << 20, f);
    fclose(f);
    return bytes;
}

/* The text with the first `from` replaced by `to`. */
static char *
replaced(const char *text, size_t len, const char *from, const char *to, size_t *out_len)
{
    const char *at = memmem(text, len, from, strlen(from));
    cr_assert(at != NULL, "no %s", from);
    char *out = malloc(len + strlen(to) + 1);
    size_t before = (size_t)(at - text);
    memcpy(out, text, before);
    memcpy(out + before, to, strlen(to));
    memcpy(out + before + strlen(to), at + strlen(from), len - before - strlen(from));
    *out_len = len - strlen(from) + strlen(to);
    return out;
}

struct bad {
    const char *name;
    int in_tubs;
    const char *from, *to, *says;
};

static const struct bad bads[] = {
    {"another form", 0, "tub-planner-instance/1", "tub-planner-instance/9", "format"},
    {"no days", 0, "\"days\": 5,", "", "\"days\" is missing"},
    {"days as text", 0, "\"days\": 5,", "\"days\": \"5\",", "\"days\": expected a whole number"},
    {"a fraction of a day", 0, "\"days\": 5,", "\"days\": 5.5,", "whole number"},
    {"ten thousand days", 0, "\"days\": 5,", "\"days\": 10000,", "expected 1 to"},
    {"no stations at all", 0, "\"stations\": 1,", "\"stations\": -1,", "stations: -1"},
    {"absurd fridge", 0, "\"fridge_ml\": 11950", "\"fridge_ml\": 99999999999", "fridge_ml"},
    {"a number too long for any type", 0, "\"fridge_ml\": 11950",
     "\"fridge_ml\": 99999999999999999999999999", "line"},
    {"unknown product", 0, "\"product\":\"LQ-DARK\",\"profiles\"",
     "\"product\":\"LQ-LOST\",\"profiles\"", "no product \"LQ-LOST\""},
    {"unknown profile", 0, "\"profiles\":[\"house-dark\"]", "\"profiles\":[\"house-lost\"]",
     "no profile"},
    {"unknown site of an order", 0, "\"product\":\"LQ-DARK\",\"site\":\"S0002\"",
     "\"product\":\"LQ-DARK\",\"site\":\"S9\"", "no site"},
    {"unknown recipe of yesterday", 0, "{\"recipe\":\"liqueur-house\",\"day\":3",
     "{\"recipe\":\"lost\",\"day\":3", "no recipe"},
    {"unknown ingredient", 0, "{\"sugar\":1000,", "{\"salt\":1000,", "no ingredient \"salt\""},
    {"a day twice", 0, "{\"day\":3,\"working\"", "{\"day\":2,\"working\"", "each day from 0 to"},
    {"thaw after the batch", 0, "\"thaw_day\":3", "\"thaw_day\":9", "thaw_day: 9"},
    {"two orders of one id", 0, "\"O002\"", "\"O001\"", "two of this id"},
    {"least over most", 0, "\"puck_min_g\":2000", "\"puck_min_g\":5001", "puck_max_g"},
    {"a counter line twice", 0, "\"product\":\"LQ-DARK\",\"day\":1,\"ml\"",
     "\"product\":\"LQ-DARK\",\"day\":0,\"ml\"", "two lines"},
    {"tubs file elsewhere", 0, "micro-1.tubs.csv", "../micro-1.tubs.csv", NULL},
    {"unknown site of a tub", 1, "T00003,S0001", "T00003,S9999", "no site"},
    {"grams as words", 1, ",1560,", ",much,", "line 3: g: much"},
    {"negative grams", 1, ",1560,", ",-1560,", "g: -1560"},
    {"no grams", 1, ",1560,", ",,", "g: "},
    {"absurd grams", 1, ",1560,", ",99999999999999999999,", "g: 9999"},
    {"neither here nor there", 1, ",kitchen", ",attic", "kitchen, site or forecast"},
    {"a field short", 1, ",18,kitchen", ",kitchen", "line 2: expected 7 fields"},
    {"a column misspelt", 1, "use_by_day", "use_by_date", "no column \"use_by_day\""},
    {"a quote without an end", 1, "T00003", "\"T00003", "line 4: expected 7 fields"},
    {"text behind a quote", 1, "T00003", "\"T00003\"x", "line 4: expected 7 fields"},
    {"two tubs of one id", 1, "T00002", "T00001", "two of this id"},
};

Test(problem, bad_files_are_refused_in_one_sentence)
{
    size_t json_len = 0;
    size_t csv_len = 0;
    char *json = slurp("micro-1.json", &json_len);
    char *csv = slurp("micro-1.tubs.csv", &csv_len);
    for (size_t i = 0; i < sizeof bads / sizeof bads[0]; i++) {
        const struct bad *b = &bads[i];
        if (b->says == NULL)
            continue;
        size_t len = 0;
        char *text = replaced(b->in_tubs ? csv : json, b->in_tubs ? csv_len : json_len, b->from,
                              b->to, &len);
        struct problem *p = NULL;
        struct err_text why = {.s = ""};
        enum err e = b->in_tubs ? problem_parse(json, json_len, text, len, &p, &why)
                                : problem_parse(text, len, csv, csv_len, &p, &why);
        cr_expect(e == ERR_INPUT || e == ERR_FORMAT, "%s: %d", b->name, e);
        cr_expect(strstr(why.s, b->says) != NULL, "%s: \"%s\"", b->name, why.s);
        problem_free(p);
        free(text);
    }
    free(json);
    free(csv);
}

Test(problem, a_file_cut_anywhere_is_refused_and_harms_nothing)
{
    size_t json_len = 0;
    size_t csv_len = 0;
    char *json = slurp("micro-1.json", &json_len);
    char *csv = slurp("micro-1.tubs.csv", &csv_len);
    for (size_t cut = 0; cut + 3 < json_len; cut += 7) {
        struct problem *p = NULL;
        struct err_text why = {.s = ""};
        cr_expect(problem_parse(json, cut, csv, csv_len, &p, &why) == ERR_INPUT, "at %zu", cut);
        cr_expect(why.s[0] != '\0');
    }
    for (size_t cut = 0; cut < csv_len; cut += 3) { /* a cut at a line's end leaves fewer tubs */
        struct problem *p = NULL;
        struct err_text why = {.s = ""};
        enum err e = problem_parse(json, json_len, csv, cut, &p, &why);
        cr_expect(e == ERR_OK || why.s[0] != '\0', "at %zu", cut);
        problem_free(p);
    }
    free(json);
    free(csv);
}

Test(problem, a_problem_may_not_name_a_tubs_file_in_another_folder)
{
    char folder[] = "/tmp/knockbox-plan-XXXXXX";
    char path[128];
    cr_assert(mkdtemp(folder) != NULL);
    snprintf(path, sizeof path, "%s/x.json", folder);
    FILE *f = fopen(path, "w");
    fputs("{\"format\":\"tub-planner-instance/1\",\"tubs_file\":\"../x.csv\"}", f);
    fclose(f);
    struct problem *p = NULL;
    struct err_text why = {.s = ""};
    cr_expect(problem_read(path, &p, &why) == ERR_INPUT);
    cr_expect(strstr(why.s, "tubs_file") != NULL, "%s", why.s);
    cr_expect(problem_read("/nowhere/x.json", &p, &why) == ERR_IO);
    unlink(path);
    rmdir(folder);
}
