#!/bin/sh
# build.sh OUT N...: the café, the hub and the client as N releases later would be, in OUT/N/bin.
set -eu
source=$(cd "$(dirname "$0")/../.." && pwd)
out=$1
shift
for n in "$@"; do
    mkdir -p "$out"
    cmake -S "$source" -B "$out/$n" -G Ninja -DCMAKE_BUILD_TYPE=None -DKNOCKBOX_AHEAD="$n" -DKNOCKBOX_TESTS=OFF >"$out/$n.log" 2>&1 &&
        cmake --build "$out/$n" --parallel 2 --target knockbox knockbox-cafe knockbox-hub >>"$out/$n.log" 2>&1 ||
        { tail -n 40 "$out/$n.log"; exit 1; }
done
echo "1 passed, 0 failed"
