#!/bin/sh
# test_users.sh BIN - who may do what at the people's socket of one machine, by user and group.
# Needs root to be other users; without it nothing is tried. The hub runs as daemon:games.
set -u
bin=$1
passed=0
failed=0
if [ "$(id -u)" -ne 0 ] || ! command -v setpriv >/dev/null; then
    echo "not root: nothing is tried"
    echo "0 passed, 0 failed"
    exit 0
fi
place=$(mktemp -d /tmp/knockbox-users-XXXXXX)
hub=
end() {
    [ -n "$hub" ] && kill "$hub" 2>/dev/null && wait "$hub" 2>/dev/null
    rm -rf "$place"
}
trap end EXIT
chmod 755 "$place"
cp "$bin/knockbox" "$bin/knockbox-hub" "$place/"
install -d -o daemon -g games -m 700 "$place/hub"
unset ASAN_OPTIONS UBSAN_OPTIONS # report files are root's

as() { # USER GROUP command...
    user=$1
    group=$2
    shift 2
    setpriv --reuid="$user" --regid="$group" --clear-groups "$@"
}
start_hub() { # itself, not a shell around it
    rm -f "$place/log"
    setpriv --reuid=daemon --regid=games --clear-groups "$place/knockbox-hub" run "$place/hub" \
        2>"$place/log" &
    hub=$!
    for _ in $(seq 600); do
        grep -qs ready "$place/log" && break
        sleep 0.1
    done
}
expect() { # STATUS name command...
    want=$1
    name=$2
    shift 2
    "$@" >"$place/said" 2>&1
    got=$?
    if [ "$got" -eq "$want" ]; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "not ok: $name: status $got, not $want"
        head -n 5 "$place/said"
    fi
}
refused() { # name command...
    name=$1
    shift
    if "$@" >"$place/said" 2>&1; then
        failed=$((failed + 1))
        echo "not ok: $name: it worked"
    else
        passed=$((passed + 1))
    fi
}

as daemon games "$place/knockbox-hub" init "$place/hub" 2>/dev/null || exit 1
{
    echo "local.socket $place/run/knockbox.sock"
    echo "role.group barista games"
} >>"$place/hub/hub.conf"
install -d -o daemon -g games -m 750 "$place/run"
start_hub
at="--at $place/run"
# shellcheck disable=SC2086 # two words
{
    expect 0 "root asks" "$place/knockbox" status $at
    expect 0 "root writes" "$place/knockbox" log coffee code=house-dark $at
    expect 0 "the daemon's own user writes" as daemon games "$place/knockbox" log coffee code=dawn $at
    expect 0 "a member of the group asks" as bin games "$place/knockbox" status $at
    expect 5 "a barista keeps no catalogue" as bin games "$place/knockbox" log coffee code=x $at
    refused "others do not reach the socket" as bin mail "$place/knockbox" status $at
    chmod 755 "$place/run"
    chmod 666 "$place/run/knockbox.sock"
    expect 5 "others who reach it have no role" as bin mail "$place/knockbox" status $at
}
for file in hub.key hub.conf store/data.mdb revoked; do
    refused "others do not read $file" as bin mail cat "$place/hub/$file"
    refused "the group does not read $file" as bin games cat "$place/hub/$file"
    mode=$(stat -c %a "$place/hub/$file")
    expect 0 "the mode of $file is 600, not $mode" test "$mode" = 600
done
expect 0 "the mode of codes is 700" test "$(stat -c %a "$place/hub/codes")" = 700

# Whatever lies at the socket's place when the hub starts gives way to it, and is not followed.
kill "$hub"
expect 0 "it ends" wait "$hub"
as daemon games ln -s /etc/passwd "$place/run/knockbox.sock"
start_hub
expect 0 "a link in its place is replaced" test -S "$place/run/knockbox.sock"
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
