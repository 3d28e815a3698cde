/* json.c - text to one JSON object: strict and bounded. */
#include "proto/json.h"

#include <stdbool.h>

enum {
    DEPTH_MOST = 16
};

/* Are brackets nested deeper than any record of ours? Looks at brackets outside strings only. */
static bool
too_deep(const char *text, size_t len)
{
    int depth = 0;
    bool in_string = false;
    for (size_t i = 0; i < len; i++) {
        char c = text[i];
        if (in_string && c == '\\')
            i++;
        else if (c == '"')
            in_string = !in_string;
        else if (!in_string && (c == '{' || c == '['))
            depth++;
        else if (!in_string && (c == '}' || c == ']'))
            depth--;
        if (depth > DEPTH_MOST)
            return true;
    }
    return false;
}

enum err
json_parse(const char *text, size_t len, json_t **out_object, struct err_text *why)
{
    if (too_deep(text, len))
        return err_set(ERR_INPUT, why, "JSON nested deeper than %d levels", DEPTH_MOST);
    json_error_t error;
    json_t *value = json_loadb(text, len, JSON_REJECT_DUPLICATES, &error);
    if (value == NULL && json_error_code(&error) == json_error_out_of_memory)
        return err_set(ERR_MEM, why, "no memory for %zu bytes of JSON", len);
    if (value == NULL)
        return err_set(ERR_INPUT, why, "not JSON: line %d, column %d: %.160s", error.line,
                       error.column, error.text);
    if (!json_is_object(value)) {
        json_decref(value);
        return err_set(ERR_INPUT, why, "expected a JSON object: {\"name\": value, ...}");
    }
    *out_object = value;
    return ERR_OK;
}
