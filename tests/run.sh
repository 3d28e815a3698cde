#!/bin/sh
# run.sh: installs, builds and runs every test; the last line is "N passed, N failed".
#   sh tests/run.sh                 the sanitized build, then the release build
#   ONLY=asan|release sh tests/run.sh
# Builds live in $BUILD (default ./build). Anything a sanitizer reports fails the run, leaks too.
set -eu
cd "$(dirname "$0")/.."
BUILD=${BUILD:-build}

sh deploy/packages.sh test

passed=0
failed=0

# Adds up what each test program of a ctest log says of itself: Criterion prints
# "Tested: N | Passing: N | Failing: N | Crashing: N", plain programs "N passed, N failed".
count() {
    awk '
        /Tested: [0-9]+ \|/ {
            for (i = 1; i <= NF; i++) {
                if ($i == "Passing:") p += $(i + 1)
                if ($i == "Failing:" || $i == "Crashing:") f += $(i + 1)
            }
        }
        /[0-9]+ passed, [0-9]+ failed/ {
            for (i = 1; i <= NF; i++) {
                if ($(i + 1) ~ /^passed/) p += $i
                if ($(i + 1) ~ /^failed/) f += $i
            }
        }
        END { print p + 0, f + 0 }' "$1"
}

suite() { # name
    name=$1
    folder=$BUILD/$name
    echo "== $name: build"
    cmake -S . -B "$folder" -G Ninja -C "tests/config/$name.cmake" >"$folder.configure.log" 2>&1 ||
        { cat "$folder.configure.log"; exit 1; }
    cmake --build "$folder" >"$folder.build.log" 2>&1 || { tail -n 60 "$folder.build.log"; exit 1; }
    echo "== $name: test"
    reports=$folder/reports
    rm -rf "$reports"
    mkdir -p "$reports"
    status=0
    ASAN_OPTIONS="log_path=$PWD/$reports/asan:detect_leaks=1:abort_on_error=0" \
        UBSAN_OPTIONS="print_stacktrace=1:log_path=$PWD/$reports/ubsan" \
        ctest --test-dir "$folder" -j 2 -VV >"$folder.test.log" 2>&1 || status=$?
    sed -n '/% tests passed/,$p' "$folder.test.log"
    # shellcheck disable=SC2046 # two numbers
    set -- $(count "$folder.test.log")
    passed=$((passed + $1))
    failed=$((failed + $2))
    if [ "$status" -ne 0 ] && [ "$2" -eq 0 ]; then
        failed=$((failed + 1))
    fi
    if [ "$status" -ne 0 ]; then
        grep -E '\[(FAIL|----)\]|\*\*\*|FAILED|not ok' "$folder.test.log" | head -n 80 || true
    fi
    for report in "$reports"/*; do
        [ -s "$report" ] || continue
        echo "sanitizer report $report:"
        head -n 40 "$report"
        failed=$((failed + 1))
    done
}

mkdir -p "$BUILD"
case ${ONLY:-all} in
    all) suite asan; suite release ;;
    *) suite "$ONLY" ;;
esac

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
