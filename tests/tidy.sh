#!/bin/sh
# tidy.sh [BUILD [FILE...]] - clang-tidy with the checks of .clang-tidy over daemon/, client/ and
# proto/ (or the FILEs), two at a time, with the compile commands of BUILD (build/fuzz, made with
# clang). NODES: how far the analyzer follows a function, in its own measure: 20000 unless given, which
# takes a fifth of the time of its usual 225000. The last line is "N passed, N failed", in files.
set -eu
cd "$(dirname "$0")/.."
build=${1:-build/fuzz}
[ $# -gt 0 ] && shift
[ $# -gt 0 ] || set -- $(git ls-files 'daemon/*.c' 'client/*.c' 'proto/*.c')
log=$build/tidy.log
# One file a run: its checks of va_list remember the file before.
code=0
printf '%s\n' "$@" | xargs -P 2 -n 1 sh -c '
    clang-tidy-14 -p "$0" --quiet --warnings-as-errors="*" --extra-arg=-Xclang \
        --extra-arg=-analyzer-config --extra-arg=-Xclang --extra-arg=max-nodes="$1" "$2" 2>&1 |
        grep -v "warnings\? \(and [0-9]* errors\? \)\?generated\|^Suppressed\|^Use -header-filter" || true' \
    "$build" "${NODES:-20000}" >"$log" || code=$?
bad=$(grep -c ': error:' "$log" || true)
[ "$bad" -eq 0 ] && [ "$code" -eq 0 ] || cat "$log"
files=$(sed -n 's/^\([^:]*\):[0-9]*:[0-9]*: error:.*/\1/p' "$log" | sort -u | wc -l)
echo "$(($# - files)) passed, $files failed"
[ "$bad" -eq 0 ] && [ "$code" -eq 0 ]
