#!/bin/sh
# run.sh [SECONDS [BUILD [NAME...]]] - each fuzzer for SECONDS (60), two at a time, from its corpus and
# the golden files; with RUNS=N in the environment for N inputs at most, the same ones each time.
# BUILD (build/fuzz) is a build with tests/config/fuzz.cmake; without NAMEs all are run. What is new
# goes to BUILD/corpus/NAME, findings to BUILD/findings. The last line is "N passed, N failed"; a
# fuzzer fails on a crash, a leak, a hang of 30 s or too much memory.
set -eu
cd "$(dirname "$0")/../.."
seconds=${1:-60}
build=${2:-build/fuzz}
[ $# -gt 2 ] && shift 2 || set --
corpus=tests/fuzz/corpus
golden=tests/golden/v1
findings=$build/findings
mkdir -p "$findings"

one() { # name
    name=$1
    seeds=
    case $name in
        record | json) seeds=$golden ;;
        frame) seeds=$golden/wire ;;
    esac
    [ -d "$corpus/$name" ] && seeds="$seeds $corpus/$name"
    mkdir -p "$build/corpus/$name"
    # shellcheck disable=SC2086 # a list of folders
    ASAN_OPTIONS="${ASAN_OPTIONS:-}:detect_leaks=1" "$build/bin/fuzz_$name" \
        -seed=1 -runs="${RUNS:--1}" -max_total_time="$seconds" -timeout=30 -rss_limit_mb=1024 -malloc_limit_mb=512 \
        -max_len=70000 -print_final_stats=1 -artifact_prefix="$findings/$name-" \
        "$build/corpus/$name" $seeds >"$build/fuzz_$name.log" 2>&1 && return 0
    echo "fuzz $name: see $build/fuzz_$name.log"
    grep -E 'ERROR|SUMMARY|Test unit written' "$build/fuzz_$name.log" | head -n 5
    return 1
}

if [ $# -eq 0 ]; then
    for program in "$build"/bin/fuzz_*; do
        set -- "$@" "${program##*/fuzz_}"
    done
fi
passed=0
failed=0
end() {
    if wait "$1"; then passed=$((passed + 1)); else failed=$((failed + 1)); fi
}
other=
for name in "$@"; do
    one "$name" &
    [ -n "$other" ] && end "$other"
    other=$!
done
[ -n "$other" ] && end "$other"
for name in "$@"; do
    runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "$build/fuzz_$name.log")
    peak=$(sed -n 's/^stat::peak_rss_mb: *//p' "$build/fuzz_$name.log")
    echo "fuzz $name: ${runs:-0} runs, ${peak:-?} MB at most"
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
