#!/bin/sh
# test_worked.sh SOURCE - every row of tests/data/reference/worked-examples.csv is named by a test that
# works it out. Prints "N passed, N failed".
set -eu
cd "$1/tests"
passed=0
failed=0
for id in $(sed -n 's/^\(WE-[0-9]*\),.*/\1/p' data/reference/worked-examples.csv); do
    number=${id#WE-}
    # "WE-05", or in a list after the first: "WE-01, 02"
    if grep -rqE "(WE-|WE-[0-9, WE-]*, )$number\\b" --include='test_*.c' .; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "not ok: no test names $id"
    fi
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -ge 18 ]
