# table.awk - a CSV table becomes the rows of a C array.
#
#   awk -f table.awk TABLE.csv > table.inc
#
# Lines that start with # before the header are comments and go into a comment;
# the header names the members, every cell becomes a string, row order is kept.
# A cell in quotes may hold commas and doubled quotes, no line break. Any awk.

# Cuts `line` into cell[1..n] and returns n; -1 when a quote stays open.
function cut_cells(line, cell,    n, i, c, text, quoted) {
    n = 0
    text = ""
    quoted = 0
    for (i = 1; i <= length(line); i++) {
        c = substr(line, i, 1)
        if (quoted && c == "\"" && substr(line, i + 1, 1) == "\"") {
            text = text c
            i++
        } else if (c == "\"") {
            quoted = !quoted
        } else if (c == "," && !quoted) {
            cell[++n] = text
            text = ""
        } else {
            text = text c
        }
    }
    cell[++n] = text
    return quoted ? -1 : n
}

function c_string(text,    i, c, out) {
    for (i = 1; i <= length(text); i++) {
        c = substr(text, i, 1)
        out = out (c == "\"" || c == "\\" ? "\\" c : c)
    }
    return "\"" out "\""
}

function stop(message) {
    print FILENAME ":" FNR ": " message > "/dev/stderr"
    failed = 1
    exit 1
}

{ sub(/\r$/, "") }

columns == 0 && /^#/ { next }

columns == 0 {
    columns = cut_cells($0, name)
    for (i = 1; i <= columns; i++)
        if (name[i] !~ /^[a-z][a-z0-9_]*$/)
            stop("column name \"" name[i] "\"")
    print "/* made from " FILENAME " by table.awk: change that file, not this one */"
    next
}

/^$/ { next }

{
    if (cut_cells($0, cell) != columns)
        stop("not " columns " cells")
    print "{"
    for (i = 1; i <= columns; i++)
        print "    ." name[i] " = " c_string(cell[i]) ","
    print "},"
    rows++
}

END {
    if (!failed && rows == 0)
        stop("no rows")
}
