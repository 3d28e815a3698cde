/* records_doc.c - prints docs/records.md out of the tables that the programs themselves run on. */
#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/record/kind.h"
#include "proto/fields.h"
#include "proto/want.h"

static const char head[] =
    "# Records\n"
    "\n"
    "Made by `records_doc` from `proto/record.proto` and the table of kinds; a test fails when "
    "this\n"
    "page and they differ. To change it, change them and run\n"
    "`cmake --build build/debug --target records_page`.\n"
    "\n"
    "A record is one JSON object, one a line in a file: `kind`, the envelope, and the fields of "
    "its\n"
    "kind side by side.\n"
    "\n"
    "- **Numbers** are whole, as `500` or `\"500\"`, without units. **decimal** keeps its digits:\n"
    "  `\"-17.40\"` as text, or a JSON number of at most 15 digits.\n"
    "- **instant**: RFC 3339 with an offset, `2026-03-03T21:40:00+00:00`; kept to the "
    "millisecond.\n"
    "  A time without an offset is refused. **day** `2026-03-03`, **month** `2026-03`, **time of\n"
    "  day** `04:30`.\n"
    "- **code**: 1 to 64 bytes, no white space. **text**: UTF-8, its size in bytes; no control\n"
    "  characters but line feed and tab.\n"
    "- Money is in minor units with its ISO 4217 code. Bool is `true` or `false`; absent is false\n"
    "  where nothing else is said.\n"
    "- `null` and a name left out are the same: not stated. An empty list says: none.\n"
    "- A name that its kind does not have is refused.\n"
    "\n"
    "At most 4 KiB a record; kinds marked *large* 64 KiB. A `correct` may be as large as what it\n"
    "corrects may be, its new body counted as JSON. `x[]` is an entry of the list `x`.\n"
    "\n"
    "## Envelope\n"
    "\n"
    "Stated by who writes, or filled in by the daemon: `site`, `id`, `at`, `by`. Known to daemons\n"
    "only, printed by an export, passed over by an import: `epoch`, `seq`, `logged`, `boot`,\n"
    "`mono_ms`, `clock`, `via`, `hash`. `held` (when a hub first held the record) is kept by an\n"
    "import.\n";

static const struct {
    enum kind_group group;
    const char *title;
} groups[] = {
    {KIND_SITE, "What sites write"},
    {KIND_CATALOGUE, "The catalogue, in the hub's log"},
    {KIND_ACT, "Acts, in the hub's log"},
};

static const char *const type_words[] = {
    [FIELD_CODE] = "code",
    [FIELD_DECIMAL] = "decimal",
    [FIELD_INSTANT] = "instant",
    [FIELD_DAY] = "day",
    [FIELD_MONTH] = "month",
    [FIELD_HHMM] = "time of day",
    [FIELD_CURRENCY] = "currency, `AAA`",
    [FIELD_UUID] = "id",
    [FIELD_JSON] = "JSON object",
};

static void
print_words(const ProtobufCEnumDescriptor *words)
{
    for (unsigned i = 0; i < words->n_values; i++)
        (void)printf("%s`%s`", i > 0 ? ", " : "", enum_word(words, words->values[i].value));
}

static void
print_plain_type(const ProtobufCFieldDescriptor *field)
{
    switch (field->type) {
    case PROTOBUF_C_TYPE_ENUM:
        print_words(field->descriptor);
        return;
    case PROTOBUF_C_TYPE_BOOL:
        (void)printf("bool");
        return;
    case PROTOBUF_C_TYPE_MESSAGE:
        (void)printf("object");
        return;
    case PROTOBUF_C_TYPE_BYTES:
        (void)printf("bytes");
        return;
    default:
        (void)printf("number");
    }
}

static void
print_type(const ProtobufCFieldDescriptor *field, const struct field_rule *rule)
{
    if (rule->type == FIELD_PLAIN)
        print_plain_type(field);
    else if (rule->type == FIELD_TEXT)
        (void)printf("text of %" PRId64, rule->most);
    else if (rule->type == FIELD_HEX)
        (void)printf("%" PRId64 " bytes in hexadecimal", rule->most);
    else
        (void)printf("%s", type_words[rule->type]);
}

static void print_fields(const ProtobufCMessageDescriptor *descriptor, const char *path);

/* A row of the table; `list` says how often the field may stand there. */
static void
print_row(const ProtobufCFieldDescriptor *field, const struct field_rule *rule, const char *path,
          const char *list, bool required)
{
    (void)printf("| `%s` | %s | %s", path, required ? "yes" : "", list);
    print_type(field, rule);
    (void)printf(" | %s | ", unit_word(rule->unit));
    if (rule->least_text[0] != '\0')
        (void)printf("%s to %s", rule->least_text, rule->most_text);
    (void)printf(" | %s |\n", rule->doc);
}

/* The table's rows of one field and of what is inside it. */
static void
print_field(const ProtobufCFieldDescriptor *field, const struct field_rule *rule, const char *up)
{
    char path[128];
    bool list = field->label == PROTOBUF_C_LABEL_REPEATED;
    (void)snprintf(path, sizeof path, "%s%s", up, rule->json);
    if (field->type != PROTOBUF_C_TYPE_MESSAGE) {
        print_row(field, rule, path, list ? "list: " : "", rule->required);
        return;
    }
    const ProtobufCMessageDescriptor *inner = field->descriptor;
    const struct message_rule *rules = message_rule(inner);
    if (!rules->list && !rules->map) {
        print_row(field, rule, path, list ? "list: " : "", rule->required);
        (void)snprintf(path, sizeof path, "%s%s%s.", up, rule->json, list ? "[]" : "");
        print_fields(inner, path);
        return;
    }
    const ProtobufCFieldDescriptor *entry = &inner->fields[0];
    struct field_rule entry_rule = rules->fields[0];
    entry_rule.doc = rule->doc;
    print_row(entry, &entry_rule, path, rules->map ? "map: " : "list: ", rule->required);
    (void)snprintf(path, sizeof path, "%s%s[].", up, rule->json);
    if (entry->type == PROTOBUF_C_TYPE_MESSAGE)
        print_fields(entry->descriptor, path);
}

static void
print_fields(const ProtobufCMessageDescriptor *descriptor, const char *path)
{
    const struct message_rule *rules = message_rule(descriptor);
    for (unsigned i = 0; i < descriptor->n_fields; i++)
        print_field(&descriptor->fields[i], &rules->fields[i], path);
}

static void
print_writers(unsigned writers)
{
    const char *comma = "";
    for (unsigned bit = 1; bit <= ROLE_BIT_ALL; bit <<= 1) {
        if ((writers & bit) == 0)
            continue;
        (void)printf("%s%s", comma, role_word((enum role)bit));
        comma = ", ";
    }
}

static void
print_kind(const struct kind *kind)
{
    (void)printf("\n### `%s`%s\n\n", kind->word, kind->big ? " (large)" : "");
    const char *doc = message_rule(kind->descriptor)->doc;
    (void)printf("%c%s.\n\nWritten by: ", toupper((unsigned char)doc[0]), doc + 1);
    print_writers(kind->writers);
    (void)printf(".");
    if (kind->group != KIND_SITE)
        (void)printf(" Cafés see: %s.", kind->to_cafes           ? "all of them"
                                        : kind->concerns != NULL ? "what concerns them"
                                                                 : "none");
    (void)printf("\n\n| field | required | type | unit | range | meaning |\n"
                 "| --- | --- | --- | --- | --- | --- |\n");
    print_fields(kind->descriptor, "");
}

int
main(void)
{
    unsigned n = 0;
    const struct kind *all = kinds(&n);
    (void)fputs(head, stdout);
    for (size_t g = 0; g < sizeof groups / sizeof groups[0]; g++) {
        (void)printf("\n## %s\n", groups[g].title);
        for (unsigned i = 0; i < n; i++)
            if (all[i].group == groups[g].group)
                print_kind(&all[i]);
    }
    return fflush(stdout) == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
