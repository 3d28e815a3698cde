#!/bin/sh
# demo.sh: five weeks of four invented cafés and their kitchen, with real programs on loopback.
#   sh deploy/demo.sh             installs what it needs, builds, plays, prints, ends all it started
#   sh deploy/demo.sh --stay      the same, and keeps the programs running until you press Ctrl-C
# Works in a fresh temporary folder; touches nothing else but ./build/demo.
set -eu
cd "$(dirname "$0")/.."
stay=
[ "${1:-}" = --stay ] && stay=yes

say() {
    if [ -t 1 ] && [ -z "${NO_COLOR:-}" ]; then
        printf '\n\033[1m%s\033[0m\n' "$*"
    else
        printf '\n== %s\n' "$*"
    fi
}

sh deploy/packages.sh build

build=build/demo
say "Building (once; the next run is quick)"
mkdir -p build
cmake -S . -B $build -G Ninja -DCMAKE_BUILD_TYPE=Release -DKNOCKBOX_TESTS=OFF >$build.log 2>&1 ||
    { cat $build.log; exit 1; }
cmake --build $build >$build.log 2>&1 || { tail -n 40 $build.log; exit 1; }
bin=$PWD/$build/bin
PATH=$bin:$PATH

town=$(mktemp -d "${TMPDIR:-/tmp}/saltmere.XXXXXX")
started=
end() {
    trap '' INT TERM # a second one must not stop the clearing up
    for pid in $started; do kill "$pid" 2>/dev/null || true; done
    for pid in $started; do wait "$pid" 2>/dev/null || true; done
    rm -rf "$town"
}
trap end EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

# Starts a program in the background and waits until it says `ready`.
start() { # log-name program args...
    log=$town/$1.log
    shift
    "$@" 2>"$log" &
    last=$!
    started="$started $last"
    n=0
    until grep -q '^\(<[0-9]>\)\{0,1\}ready' "$log" 2>/dev/null; do
        kill -0 "$last" 2>/dev/null || { echo "$* did not start:"; cat "$log"; exit 1; }
        n=$((n + 1))
        [ $n -lt 300 ] || { echo "$* is not ready after 30 s:"; cat "$log"; exit 1; }
        sleep 0.1
    done
}

stop() { # pid
    kill "$1" 2>/dev/null || true
    wait "$1" 2>/dev/null || true
}

cafes="quayside lantern ropewalk gullnest"
hub() { knockbox "$@" --at "$town/kitchen"; }

say "The kitchen's hub, on a port of its own choice"
knockbox-hub init "$town/kitchen" --site kitchen --listen tcp://127.0.0.1:0 >/dev/null
start kitchen knockbox-hub run "$town/kitchen"
endpoint=$(cat "$town/kitchen/endpoint")
echo "listens on $endpoint"

say "Five invented weeks, until yesterday"
until=$(date -d yesterday +%F)
month=$(date -d "$until" +%Y-%m)
# The month that holds most of the five weeks.
[ "$(date -d "$until" +%d)" -ge 18 ] || month=$(date -d "$until -17 days" +%Y-%m)
mkdir "$town/lines"
saltmere "$town/lines" "$until"
wc -l "$town"/lines/*.jsonl | tail -n 1
hub import "$town/lines/catalogue.jsonl" --quiet
echo "catalogue written in the hub's log"

say "Four cafés join with one-time codes"
# Ropewalk's line to the hub goes through a relay of one connection that we can cut.
relay_port() { sed -n 's/.*listening on .*:\([0-9]*\)$/\1/p' "$town/relay.log" 2>/dev/null | head -n 1; }
relay() { # port
    socat -d -d "TCP-LISTEN:$1,bind=127.0.0.1,reuseaddr" "TCP:${endpoint#tcp://}" 2>"$town/relay.log" &
    relay_pid=$!
    started="$started $relay_pid"
    n=0
    until [ -n "$(relay_port)" ]; do
        n=$((n + 1))
        [ $n -lt 100 ] || { echo "the relay did not start"; exit 1; }
        sleep 0.05
    done
}
relay 0
line=$(relay_port)
for cafe in $cafes; do
    code=$(knockbox-hub enrol "$town/kitchen" "$cafe" 2>/dev/null | tail -n 1)
    knockbox-cafe join "$town/$cafe" "$code" >/dev/null
    [ "$cafe" = ropewalk ] && sed -i "s|^hub.connect .*|hub.connect tcp://127.0.0.1:$line|" "$town/$cafe/cafe.conf"
    start "$cafe" knockbox-cafe run "$town/$cafe"
    echo "$cafe is in"
done

feed() { # phase
    for site in $cafes kitchen; do
        [ -f "$town/lines/$1-$site.jsonl" ] || continue
        knockbox import "$town/lines/$1-$site.jsonl" --at "$town/$site" --quiet
    done
}

# Waits until a café says that the hub is there and has all of its records.
caught_up() { # cafe
    n=0
    until knockbox status --json --at "$town/$1" | grep -q '"link":{"online":true[^}]*"behind":0}'; do
        n=$((n + 1))
        [ $n -lt 600 ] || { echo "$1 is not caught up after 60 s"; hub status; exit 1; }
        sleep 0.1
    done
}

say "Weeks one to three and a half: all are connected"
feed 1
for cafe in $cafes; do caught_up "$cafe"; done
hub status

say "Four days without a line at Ropewalk: it goes on alone"
stop $relay_pid
feed 2
knockbox status --at "$town/ropewalk"
hub status

say "The line is back, the rest of the weeks"
relay "$line"
feed 3
for cafe in $cafes; do caught_up "$cafe"; done
hub status

for cafe in $cafes; do
    say "Freezer of $cafe"
    knockbox freezer --at "$town/$cafe"
done
say "Freezer of the kitchen"
hub freezer --site kitchen

say "Today's plan"
hub plan make --quiet
hub plan publish --quiet
hub plan show

say "The kitchen's day sheet, and what Quayside hands over"
hub plan today
knockbox plan today --at "$town/quayside"

say "The report for $month"
hub report "$month"

say "Every chain checked"
hub verify

say "How to look further"
cat <<EOF
  sh deploy/demo.sh --stay                    keeps the programs running
  knockbox trace L-01 --at $town/kitchen
  knockbox report $month --json --at $town/kitchen
  knockbox close --at $town/quayside          a close, step by step
  knockbox help
EOF
if [ -n "$stay" ]; then
    echo
    echo "All is running; the programs are in $bin. Ctrl-C ends it and clears $town."
    while :; do sleep 3600 & wait $!; done
fi
