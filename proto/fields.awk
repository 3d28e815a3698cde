# fields.awk - grows fields.gen.c from the `//:` remarks of the .proto files (grammar: record.proto).
#
#   awk -f proto/fields.awk record.proto sync.proto ledger.proto >fields.gen.c
#
# Written for mawk: no gensub, no match(..., array). Anything that does not read as the grammar
# tells stops the build with file and line. Also stopped: a string without a type, a type that does
# not fit the field, a message that contains itself.

function fail(words) {
    printf "%s:%d: %s\n", FILENAME, FNR, words > "/dev/stderr"
    failed = 1
    exit 1
}

function trim(s) {
    sub(/^[ \t]+/, "", s)
    sub(/[ \t]+$/, "", s)
    return s
}

function quote(s) {
    gsub(/\\/, "\\\\", s)
    gsub(/"/, "\\\"", s)
    return "\"" s "\""
}

# BottleCount -> bottle_count
function snake(s,   out, i, c) {
    for (i = 1; i <= length(s); i++) {
        c = substr(s, i, 1)
        out = out (c ~ /[A-Z]/ && i > 1 ? "_" : "") tolower(c)
    }
    return out
}

function is_range(s) {
    return s ~ /^-?[0-9]+(\.[0-9]+)?\.\.-?[0-9]+(\.[0-9]+)?$/
}

function is_unit(s) {
    return s ~ /^(g|mL|mL at 20 Cel|Cel|min|ms|s|h|d|%|% vol at 20 Cel|g\/L)$/
}

# Splits off and returns the first word of the global `rest`.
function next_word(   at, w) {
    at = index(rest, " ")
    w = at ? substr(rest, 1, at - 1) : rest
    rest = at ? trim(substr(rest, at)) : ""
    return w
}

function first_word(   at) {
    at = index(rest, " ")
    return at ? substr(rest, 1, at - 1) : rest
}

# Reads [*] [TYPE] [LEAST..MOST] [UNIT] into r_*; returns what is wrong, or "".
function parse_spec(spec,   w) {
    r_required = r_size = 0
    r_type = "plain"
    r_least = r_most = r_unit = ""
    rest = trim(spec)
    if (first_word() == "*") {
        r_required = 1
        next_word()
    }
    w = first_word()
    if (w in types) {
        r_type = w
        next_word()
        if (w == "text" || w == "hex") {
            if (first_word() !~ /^[0-9]+$/)
                return w " needs a size"
            r_size = next_word() + 0
        }
    }
    w = first_word()
    if (is_range(w)) {
        next_word()
        r_least = substr(w, 1, index(w, "..") - 1)
        r_most = substr(w, index(w, "..") + 2)
        if (r_least + 0 > r_most + 0)
            return "the range runs backwards"
    }
    if (rest != "") {
        if (!is_unit(rest))
            return "\"" rest "\" is no type, range or unit"
        r_unit = rest
    }
    return ""
}

# Reads the whole remark of a field into r_*.
function parse_remark(remark,   bar, wrong, w) {
    bar = index(remark, "|")
    r_doc = bar ? trim(substr(remark, bar + 1)) : ""
    wrong = parse_spec(bar ? substr(remark, 1, bar - 1) : remark)
    if (wrong == "")
        return
    rest = trim(remark)
    w = first_word()
    if (bar || w == "*" || w in types || w ~ /^-?[0-9]/ || is_unit(w))
        fail("malformed remark: " wrong)
    parse_spec("")
    r_doc = trim(remark)
}

# Does the remark fit the field's C type?
function check_fit(ctype, name) {
    if (ctype == "string" && !(r_type in text_types))
        fail(name ": a string needs a type (code, text N, decimal, ...)")
    if (ctype != "string" && r_type in text_types)
        fail(name ": " r_type " is for strings")
    if (r_type == "instant" && (ctype != "sint64" || name !~ /_ms$/))
        fail(name ": an instant is a sint64 named NAME_ms")
    if (r_type == "day" && ctype != "sint32")
        fail(name ": a day is a sint32")
    if ((r_type == "uuid" || r_type == "hex") && ctype != "bytes")
        fail(name ": " r_type " is for bytes")
    if (r_least != "" && !(ctype in int_types) && r_type != "decimal" && r_type != "text")
        fail(name ": a range is for numbers and text")
    if (r_least != "" && ctype in int_types && (r_least r_most) ~ /[^-0-9]/)
        fail(name ": a range of whole numbers")
}

function json_name(name) {
    if (r_type == "instant")
        sub(/_ms$/, "", name)
    sub(/_$/, "", name)
    return name
}

function add_field(label, ctype, name, number,   k, ranged, least, most) {
    if (label == "required")
        fail(name ": nothing is `required` on the wire; say `//: *`")
    check_fit(ctype, name)
    k = message SUBSEP n_fields[message]++
    field_number[k] = number + 0
    field_type[k] = ctype
    field_name[k] = name
    field_label[k] = label
    if (!in_oneof)
        n_single[message]++
    if (!in_oneof && number + 0 > last_single[message])
        last_single[message] = number + 0
    if (in_oneof && (!(message in first_member) || number + 0 < first_member[message]))
        first_member[message] = number + 0
    ranged = r_least != "" && r_type != "decimal" && r_type != "text"
    least = ranged ? r_least : 0
    most = ranged ? r_most : r_size
    if (r_type == "code")
        most = 64
    if (r_type == "uuid")
        most = 16
    if (r_type == "text") # a required text says something, unless its range lets it be empty
        least = r_least != "" ? r_least : r_required
    field_row[k] = sprintf("{%s, FIELD_%s, %s, %s, INT64_C(%s), INT64_C(%s), %s, %s, %s, %s}",
        quote(json_name(name)), toupper(r_type), r_required ? "true" : "false",
        ranged ? "true" : "false", least, most, quote(r_least), quote(r_most), quote(r_unit),
        quote(r_doc))
}

function add_value(name, number, remark,   k, word) {
    if (substr(name, 1, length(prefix)) != prefix)
        fail(name " does not begin with " prefix)
    word = tolower(substr(name, length(prefix) + 1))
    if (!under)
        gsub(/_/, "-", word)
    if (remark != "") {
        if (remark !~ /^word [^ ]+$/)
            fail("malformed remark: expected `word X`")
        word = substr(remark, 6)
    }
    k = enumeration SUBSEP n_values[enumeration]++
    value_number[k] = number + 0
    value_word[k] = word
}

function begin_message(name, remark) {
    message = name
    messages[n_messages++] = name
    n_fields[name] = 0
    is_list[name] = remark == "list"
    is_map[name] = remark == "map"
    message_doc[name] = is_list[name] || is_map[name] ? "" : remark
}

function begin_enum(name, remark) {
    if (remark != "" && remark != "under")
        fail("malformed remark: an enum knows only `under`")
    enumeration = name
    enums[n_enums++] = name
    n_values[name] = 0
    under = remark == "under"
    prefix = toupper(snake(name)) "_"
}

function end_message() {
    if (message in first_member && first_member[message] < last_single[message])
        fail(message ": the members of a oneof have the highest numbers")
    if (is_list[message] &&
        (n_fields[message] != 1 || field_name[message, 0] != "v" || field_label[message, 0] != "repeated"))
        fail(message ": a list has one repeated field `v`")
    if (is_map[message] && (n_fields[message] != 1 || n_fields[field_type[message, 0]] != 2))
        fail(message ": a map has one repeated field `v` of a message with two fields")
    message = ""
}

BEGIN {
    split("code text decimal instant day month hhmm currency uuid hex json", list, " ")
    for (i in list)
        types[list[i]] = 1
    split("code text decimal month hhmm currency json", list2, " ")
    for (i in list2)
        text_types[list2[i]] = 1
    split("int32 int64 sint32 sint64 uint32 uint64", list3, " ")
    for (i in list3)
        int_types[list3[i]] = 1
    message = enumeration = ""
    in_oneof = n_messages = n_enums = failed = 0
}

FNR == 1 {
    n_files++
}

/^[ \t]*\/\/:/ {
    fail("a remark stands behind what it belongs to")
}

/^[ \t]*(\/\/.*)?$/ {
    next
}

{
    remark = ""
    at = index($0, "//:")
    line = at ? substr($0, 1, at - 1) : $0
    if (at)
        remark = trim(substr($0, at + 3))
    else
        sub(/\/\/.*/, "", line)
    if (at && remark == "")
        fail("an empty remark")
    line = trim(line)
    gsub(/[ \t]+/, " ", line)
}

line ~ /^(syntax|package|import) ?/ && message == "" && enumeration == "" {
    next
}

line ~ /^message [A-Za-z0-9]+ \{$/ {
    if (message != "" || enumeration != "")
        fail("no messages inside others")
    split(line, part, " ")
    begin_message(part[2], remark)
    next
}

line ~ /^enum [A-Za-z0-9]+ \{$/ {
    if (message != "" || enumeration != "")
        fail("no enums inside others")
    split(line, part, " ")
    begin_enum(part[2], remark)
    next
}

line ~ /^oneof [a-z_]+ \{$/ && message != "" && !in_oneof {
    in_oneof = 1
    next
}

line == "}" {
    if (in_oneof)
        in_oneof = 0
    else if (message != "")
        end_message()
    else if (enumeration != "")
        enumeration = ""
    else
        fail("a brace too many")
    next
}

enumeration != "" && line ~ /^[A-Z0-9_]+ = [0-9]+;$/ {
    split(line, part, /[ =;]+/)
    add_value(part[1], part[2], remark)
    next
}

message != "" && line ~ /^((optional|repeated|required) )?[A-Za-z0-9]+ [a-z0-9_]+ = [0-9]+;$/ {
    n = split(line, part, /[ =;]+/) - 1
    parse_remark(remark)
    add_field(n == 4 ? part[1] : "", part[n - 2], part[n - 1], part[n])
    next
}

{
    fail("cannot read \"" line "\"")
}

# Fails when `name` is reached from itself: nesting must have an end.
function visit(name, path,   i, t) {
    if (state[name] == 2)
        return
    if (state[name] == 1) {
        printf "a message contains itself:%s %s\n", path, name > "/dev/stderr"
        failed = 1
        return
    }
    state[name] = 1
    for (i = 0; i < n_fields[name]; i++) {
        t = field_type[name, i]
        if (t in n_fields)
            visit(t, path " " name)
    }
    state[name] = 2
}

# Positions 0 .. n-1 of `numbers[owner, i]` in rising order of number, into order[].
function sort_by_number(owner, n, numbers,   i, j, t) {
    for (i = 0; i < n; i++) {
        for (j = i; j > 0 && numbers[owner, order[j - 1]] > numbers[owner, i]; j--)
            order[j] = order[j - 1]
        order[j] = i
    }
}

function print_message(name,   i, n) {
    n = n_fields[name]
    if (n == 0)
        return
    sort_by_number(name, n, field_number)
    printf "static const struct field_rule %s_fields[] = {\n", snake(name)
    for (i = 0; i < n; i++)
        printf "    %s,\n", field_row[name, order[i]]
    print "};\n"
}

function print_enum(name,   i, n) {
    n = n_values[name]
    sort_by_number(name, n, value_number)
    printf "static const char *const %s_words[] = {", snake(name)
    for (i = 0; i < n; i++)
        printf "%s%s", i ? ", " : "", quote(value_word[name, order[i]])
    print "};\n"
}

END {
    if (failed)
        exit 1
    for (m = 0; m < n_messages; m++)
        visit(messages[m], "")
    if (failed)
        exit 1
    print "/* Grown by proto/fields.awk; do not edit. */"
    print "#include \"proto/fields_table.h\"\n"
    print "#include \"proto/record.pb-c.h\"\n#include \"proto/sync.pb-c.h\"\n#include \"proto/ledger.pb-c.h\"\n"
    for (m = 0; m < n_messages; m++)
        print_message(messages[m])
    print "const struct message_rule fields_messages[] = {"
    for (m = 0; m < n_messages; m++) {
        name = messages[m]
        printf "    {&knockbox__%s__descriptor, %s, %d, %s, %s, %s},\n", snake(name),
            n_fields[name] ? snake(name) "_fields" : "NULL", n_single[name],
            is_list[name] ? "true" : "false", is_map[name] ? "true" : "false",
            quote(message_doc[name])
    }
    printf "};\nconst unsigned fields_messages_n = %d;\n\n", n_messages
    for (m = 0; m < n_enums; m++)
        print_enum(enums[m])
    print "const struct enum_rule fields_enums[] = {"
    for (m = 0; m < n_enums; m++)
        printf "    {&knockbox__%s__descriptor, %s_words},\n", snake(enums[m]), snake(enums[m])
    printf "};\nconst unsigned fields_enums_n = %d;\n", n_enums
}
