/* plan_view.h - a plan as a hub would send it, for tests: two cafés, two filters, one batch under
 * way, names that try to be more than names. Invented. */
#ifndef TESTS_CLIENT_PLAN_VIEW_H
#define TESTS_CLIENT_PLAN_VIEW_H

#include <criterion/criterion.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

static const char plan_view_text[] =
    "{'number':12,'day':'2026-03-27','site':'kitchen','zone':'Europe/London',"
    "'made':'2026-03-27T06:30:00+00:00','gap_pct':'1.0833','batches':2,"
    "'stations':['F1','F2'],"
    "'strain':["
    "{'station':'F2','recipe':'syrup-1','product':'syrup','alcoholic':false,'batch':'B-39',"
    "'from':'2026-03-25','ready':'2026-03-28','grounds_g':4000,'ml':5200},"
    "{'station':'F1','recipe':'=liqueur,1','product':'liqueur','alcoholic':true,'batch':null,"
    "'from':'2026-03-28','ready':null,'grounds_g':9000,'ml':24750},"
    "{'station':'F2','recipe':'=liqueur,1','product':'liqueur','alcoholic':true,'batch':null,"
    "'from':'2026-03-28','ready':'2026-03-30','grounds_g':6100,'ml':16775}],"
    "'days':["
    "{'day':'2026-03-27','working':true,'straining':1,'mix':[],'bottle':[],"
    "'thaw':[{'recipe':'=liqueur,1','product':'liqueur','alcoholic':true,'grounds_g':9000,"
    "'ml':24750,'tubs':['Q-0301-1','Q-0302-1','G-7']},"
    "{'recipe':'=liqueur,1','product':'liqueur','alcoholic':true,'grounds_g':6100,'ml':16775,"
    "'tubs':['Q-0303-1','Caf\xc3\xa9-<b>1</b>']}],"
    "'van':[]},"
    "{'day':'2026-03-28','working':true,'straining':2,'thaw':[],"
    "'mix':[{'recipe':'=liqueur,1','product':'liqueur','alcoholic':true,'grounds_g':9000,"
    "'ml':24750,'tubs':['Q-0301-1','Q-0302-1','G-7']},"
    "{'recipe':'=liqueur,1','product':'liqueur','alcoholic':true,'grounds_g':6100,'ml':16775,"
    "'tubs':['Q-0303-1','Caf\xc3\xa9-<b>1</b>']}],"
    "'bottle':[{'recipe':'syrup-1','product':'syrup','alcoholic':false,'grounds_g':4000,"
    "'ml':5200,'tubs':[]}],'van':[]},"
    "{'day':'2026-03-29','working':false,'straining':2,'thaw':[],'mix':[],'bottle':[],'van':[]},"
    "{'day':'2026-03-30','working':true,'straining':1,'thaw':[],'mix':[],"
    "'bottle':[{'recipe':'=liqueur,1','product':'liqueur','alcoholic':true,'grounds_g':6100,"
    "'ml':16775,'tubs':[]}],"
    "'van':[{'run':'harbour-2026-03-30','route':'harbour','grounds_g':9400,"
    "'departs':'2026-03-30T09:15:00+01:00','tubs':['Q-0329-1','Q-0329-2','G-9'],"
    "'cafes':[{'site':'gullnest','tubs':['G-9'],'grounds_g':3400},"
    "{'site':'quayside','tubs':['Q-0329-1','Q-0329-2'],'grounds_g':6000}]}]},"
    "{'day':'2026-03-31','working':true,'straining':1,'thaw':[],'mix':[],'bottle':[],'van':[]}],"
    "'buy':[{'item':'sugar','mass_g':12000,'by':'2026-03-28'}],"
    "'lost':[{'tub':'Q-0226-1','site':'quayside','mass_g':3100,'use_by':'2026-03-30'}],"
    "'assumed':['No <script>alert(1)</script> is in here.']}";

/* Yours. */
static inline json_t *
plan_view_json(void)
{
    char *text = strdup(plan_view_text);
    for (char *at = text; *at != '\0'; at++)
        *at = *at == '\'' ? '"' : *at;
    json_t *view = json_loads(text, 0, NULL);
    cr_assert_not_null(view);
    free(text);
    return view;
}

#endif
