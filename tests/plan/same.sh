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
for problem in "$here"/../data/planner/*.json; do
    name=$(basename "$problem" .json)
    case $name in *.plan | medium-*) continue ;; esac
    for effort in 0 1; do
        "$1/bin/knockbox" plan solve "$problem" --out "$place/one.json" --effort $effort \
            >/dev/null 2>&1
        "$2/bin/knockbox" plan solve "$problem" --out "$place/two.json" --effort $effort \
            >/dev/null 2>&1
        if cmp -s "$place/one.json" "$place/two.json"; then
            passed=$((passed + 1))
        else
            failed=$((failed + 1))
            echo "$name, effort $effort: the plans differ"
        fi
    done
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
