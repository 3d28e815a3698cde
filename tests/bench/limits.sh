#!/bin/sh
# limits.sh: measures the built programs with their shipped defaults and prints lines
# `metric<TAB>value<TAB>unit`, to be read beside the bare loops of the same run.
#   KNOCKBOX_BUILD=build/release sh tests/bench/limits.sh WORKDIR
# SITES (400) cafés are enrolled, all but one of them connected at once; each takes about 0.15 s.
# WORKDIR decides which disk is measured. Everything made there is removed at the end.
set -eu
[ $# -eq 1 ] || { echo "usage: KNOCKBOX_BUILD=DIR limits.sh WORKDIR" >&2; exit 2; }
n_sites=${SITES:-400}
build=$(cd "${KNOCKBOX_BUILD:-build/release}" && pwd)
cmake --build "$build" >/dev/null
cmake --build "$build" --target benches >/dev/null
bin=$build/bin
work=$(mktemp -d "$1/knockbox.XXXXXX")
pids=

end() {
    for pid in $pids; do kill "$pid" 2>/dev/null || true; done
    for pid in $pids; do wait "$pid" 2>/dev/null || true; done
    rm -rf "$work"
}
trap end EXIT
trap 'exit 1' INT TERM

start() { # log program args...
    log=$work/$1.log
    shift
    "$@" 2>"$log" &
    pids="$pids $!"
    last=$!
    n=0
    until grep -q 'ready' "$log"; do
        kill -0 "$last" 2>/dev/null || { cat "$log" >&2; exit 1; }
        n=$((n + 1))
        [ $n -lt 600 ] || { echo "not ready: $*" >&2; exit 1; }
        sleep 0.05
    done
}

mkdir "$work/core" "$work/keys"
"$bin/bench_core" "$work/core"
rm -rf "$work/core"

"$bin/knockbox-hub" init "$work/hub" --listen tcp://127.0.0.1:0 >/dev/null
start hub "$bin/knockbox-hub" run "$work/hub"
hub=$last
endpoint=$(cat "$work/hub/endpoint")
own=cafe0
sites=$(seq -f 'cafe%g' 0 $((n_sites - 1)))
for site in kitchen $sites; do
    role=cafe
    [ "$site" = kitchen ] && role=kitchen
    echo "{\"kind\":\"site\",\"code\":\"$site\",\"role\":\"$role\",\"zone\":\"Europe/London\",\"currency\":\"GBP\",\"joined\":\"2025-01-01\"}"
done | "$bin/knockbox" import - --at "$work/hub" --quiet
for site in $sites; do
    code=$("$bin/knockbox-hub" enrol "$work/hub" "$site" 2>/dev/null | tail -n 1)
    "$bin/knockbox-cafe" join "$work/$site" "$code" >/dev/null
    cp "$work/$site/cafe.key" "$work/keys/$site"
    [ "$site" = "$own" ] || rm -rf "${work:?}/$site"
done

"$bin/bench_wire" "$endpoint" "$hub" "$work/keys" idle $((n_sites - 1))
for mode in ingest rush ack catchup; do
    "$bin/bench_wire" "$endpoint" "$hub" "$work/keys" $mode
done

# The month's report over what the hub holds now, and the ledger's catching up before it.
"$bin/knockbox" status --at "$work/hub" >/dev/null
events=$("$bin/knockbox" verify --json --at "$work/hub" | sed -n 's/.*"records": *\([0-9]*\).*/\1/p')
"$bin/knockbox" report 2026-01 --json --at "$work/hub" >/dev/null
a=$(date +%s%N)
"$bin/knockbox" report 2026-01 --json --at "$work/hub" >/dev/null
b=$(date +%s%N)
awk -v a="$a" -v b="$b" -v n="${events:-0}" 'BEGIN { if (n > 0) printf "product.report\t%.6g\tus/ev\n", (b - a) / 1000 / n }'
awk '/RssAnon/ {printf "product.hub.resident.loaded\t%.6g\tMiB\n", $2 / 1024}' "/proc/$hub/status"

# One service and one person, as the bare loop has it: the hub would take a core of two.
kill "$hub"
wait "$hub" || true
start cafe "$bin/knockbox-cafe" run "$work/$own"
cafe=$last
"$bin/bench_local" "$work/$own" "$bin/knockbox"
awk '/RssAnon/ {printf "product.cafe.resident\t%.6g\tMiB\n", $2 / 1024}' "/proc/$cafe/status"
