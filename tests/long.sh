#!/bin/sh
# long.sh: the trials of faults that take longer than a minute, for before a release.
#   sh tests/long.sh [SEED] [PART...]     PART: kill power full slow sweep rot twice short text fair uptime clock alerts hostile line wire herd truth life upgrade steps lives looks
#                                         (all of them). SEED: of the day, unless given; printed.
# Uses the release build in $BUILD/release (default ./build), made when it is not there. A failure is
# seen again with the same seed and part. TIMES=10: ten times the counts below.
set -eu
cd "$(dirname "$0")/.."
BUILD=${BUILD:-build}
TIMES=${TIMES:-1}
SEED=${1:-$(date +%Y%m%d)}
[ $# -eq 0 ] || shift
parts=${*:-kill power full slow sweep rot twice short text fair uptime clock alerts hostile line wire herd truth life upgrade steps lives looks}
folder=$BUILD/release

[ -d "$folder" ] || cmake -S . -B "$folder" -G Ninja -C tests/config/release.cmake >"$folder.configure.log" 2>&1
cmake --build "$folder" >"$folder.build.log" 2>&1 || { tail -n 60 "$folder.build.log"; exit 1; }

failed=
# (`times` is a word of the shell itself)
many() { echo $(($1 * TIMES)); }
driver() { # name, counts
    name=$1
    shift
    python3 -B "tests/faults/test_$name.py" "$folder/bin" "$folder/faults" --seed "$SEED" "$@"
}
part() {
    case $1 in
        kill) driver kill --kills "$(many 1000)" --more "$(many 300)" ;;
        power) driver power --states "$(many 3000)" --failed 300 --pairs "$(many 100)" --rounds "$(many 300)" --keys "$(many 1000)" \
            --joins "$(many 1000)" ;;
        full) driver full --synckb 160 --fills "$(many 300)" ;;
        slow) driver slow --notes "$(many 20)" ;;
        sweep) driver sweep --all 1 --alloc 1 ;;
        rot) driver rot --stride 1 --random "$(many 10000)" --hubs "$(many 300)" --cafes "$(many 100)" ;;
        twice) driver twice --rounds 100 ;;
        short) driver short --floods "$(many 50)" --seconds 2 --lives "$(many 50)" --steps 40 ;;
        text) driver text --all 1 ;;
        fair) driver fair --notes 20000 --records "$(many 20)" ;;
        clock) driver clock --jumps "$(many 200)" --boots "$(many 50)" --stride 1 ;;
        uptime) driver uptime --warm "$(many 100)" --more "$(many 100)" --rest 62 --kib 1024 ;;
        alerts) driver alerts ;;
        hostile)
            for i in $(seq "$(many 20)"); do driver hostile --revokes 0 --flood 4000 --seed $((SEED + i)) || return 1; done
            driver hostile --cases 0 --revokes "$(many 100)" --floods "$(many 50)" --abreast 4 ;;
        line) driver line --lines "$(many 50)" --tampered "$(many 50)" --dead 50 --abreast 4 ;;
        wire) driver wire --seeds "$(many 50)" --abreast 6 --paces 5 --partitions "$(many 20)" --silence 15 --gone 1 ;;
        herd) driver herd --cafes 10000 --records 1000000 ;;
        truth) driver truth --restores "$(many 200)" --losses "$(many 20)" --images "$(many 200)" \
            --clones "$(many 200)" --hubs "$(many 100)" ;;
        life) driver life --lives "$(many 20)" ;;
        upgrade)
            sh tests/ahead/build.sh "$folder/ahead" 1 2 || return 1
            driver upgrade --ahead "$folder/ahead/1/bin,$folder/ahead/2/bin" ;;
        steps) TEST_STEP=1 TEST_SEED=$SEED "$folder/tests/test_world_steps" --jobs 2 ;;
        lives) TEST_SEED=$SEED TEST_RUNS=$(many 500) "$folder/tests/test_world_sync" --filter '*/*random*' --timeout 36000 ;;
        looks) sh tests/looks.sh "$folder/bin" ;;
        *) echo "long.sh: no part $1" >&2; return 2 ;;
    esac
}

echo "seed $SEED"
for name in $parts; do
    echo "== $name"
    part "$name" || failed="$failed $name"
done
[ -z "$failed" ] || { echo "failed with seed $SEED:$failed"; exit 1; }
echo "all right with seed $SEED"
