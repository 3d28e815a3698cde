/* word_who.c - `who`: as whom the daemon knows the caller; `link`: is the hub there. */
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"

enum err
word_who(struct call *call, struct err_text *why)
{
    json_t *roles = json_array();
    for (unsigned bit = 1; bit <= ROLE_BIT_READER; bit <<= 1)
        if ((call->caller->roles & bit) != 0)
            (void)json_array_append_new(roles, json_string(role_word((enum role)bit)));
    return call_json(call,
                     json_pack("{s:s, s:s, s:b, s:o}", "via", call->caller->via, "site",
                               call->serve->options.site, "hub", call->serve->options.is_hub,
                               "roles", roles),
                     why);
}

enum err
word_link(struct call *call, struct err_text *why)
{
    return call_json(call, show_link(call), why);
}
