#!/bin/sh
# same.sh: builds of two compilers find the same plans, byte for byte.
#   sh tests/plan/same.sh BUILD OTHER-BUILD
# Each has bin/knockbox and bin/knockbox-solve. The stored problems but the largest, efforts 0 and 1.
set -eu
[ $# -eq 2 ] || { echo "usage: sh tests/plan/same.sh BUILD OTHER-BUILD" >&2; exit 2; }
here=$(dirname "$0")
place=$(mktemp -d "${TMPDIR:-/tmp}/knockbox-same.XXXXXX")
trap 'rm -rf "$place"' EXIT
passed=0
failed=0

solve() { # build problem effort plan; effort 1 must come to its end
    "$1/bin/knockbox" plan solve "$2" --out "$4" --effort "$3" >"$4.said" 2>&1 || cat "$4.said"
    [ "$3" = 0 ] || grep -q 'optimised *true' "$4.said" || { echo "$1: $2:" && cat "$4.said"; }
}

for problem in "$here"/../data/planner/*.json; do
    name=$(basename "$problem" .json)
    case $name in *.plan | medium-*) continue ;; esac
    for effort in 0 1; do
        : >"$place/told"
        solve "$1" "$problem" $effort "$place/one.json" >>"$place/told"
        solve "$2" "$problem" $effort "$place/two.json" >>"$place/told"
        cat "$place/told"
        if [ ! -s "$place/told" ] && cmp -s "$place/one.json" "$place/two.json"; then
            passed=$((passed + 1))
        else
            failed=$((failed + 1))
            echo "$name, effort $effort: not the same plan"
        fi
    done
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
