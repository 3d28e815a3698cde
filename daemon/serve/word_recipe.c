/* word_recipe.c - `recipe`: the recipe book, `do` show, scale or suggest. */
#include <string.h>
#include "daemon/serve/recipe.h"
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"

static enum err
answer_card(struct recipe_ask *ask, bool scale, json_t **out_answer, struct err_text *why)
{
    const char *code = call_arg(ask->call, "code");
    if (code == NULL)
        return err_input(why, "code", "", "the code of a recipe");
    enum err e = recipe_read(ask, code, why);
    if (e == ERR_OK)
        e = recipe_records_load(ask, why);
    if (e == ERR_OK)
        e = recipe_lines(ask, why);
    return e == ERR_OK ? recipe_card(ask, scale, out_answer, why) : e;
}

static enum err
answer_suggest(struct recipe_ask *ask, json_t **out_answer, struct err_text *why)
{
    const char *code = call_arg(ask->call, "code");
    enum err e = code != NULL ? recipe_read(ask, code, why) : ERR_OK;
    return e == ERR_OK ? recipe_suggest(ask, out_answer, why) : e;
}

static enum err
answer(struct recipe_ask *ask, const char *act, json_t **out_answer, struct err_text *why)
{
    if (strcmp(act, "suggest") == 0)
        return answer_suggest(ask, out_answer, why);
    if (strcmp(act, "show") == 0 || strcmp(act, "scale") == 0)
        return answer_card(ask, strcmp(act, "scale") == 0, out_answer, why);
    return err_input(why, "do", act, "show, scale or suggest");
}

enum err
word_recipe(struct call *call, struct err_text *why)
{
    const char *act = call_arg(call, "do");
    struct recipe_ask ask = {.call = call, .site = call->serve->options.site};
    json_t *out = NULL;
    enum err e = call_ledger(call, &ask.ledger, why);
    if (e != ERR_OK)
        return e;
    ask.catalogue = ledger_catalogue(ask.ledger);
    ask.today = show_today(call, ask.site);
    ask.at = show_site(call, ask.site, ask.today);
    ask.assumed = json_array();
    ask.cautions = json_array();
    e = recipe_stock_load(&ask, why);
    if (e == ERR_OK)
        e = answer(&ask, act != NULL ? act : "show", &out, why);
    recipe_stock_done(&ask.stock);
    json_decref(ask.assumed);
    json_decref(ask.cautions);
    return e == ERR_OK ? call_json(call, out, why) : e;
}
