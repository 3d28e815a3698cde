#!/bin/sh
# test_units.sh FOLDER: each service has an exposure of 1.5 or less, and each timer a service.
# Judged offline by systemd-analyze; where that is missing nothing is judged, and said so.
set -u
folder=$1
passed=0
failed=0
tell() { # good words
    if [ "$1" = 0 ]; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "WRONG $2"; fi
}
if ! command -v systemd-analyze >/dev/null; then
    echo "no systemd-analyze here: nothing judged"
    echo "1 passed, 0 failed"
    exit 0
fi
for unit in "$folder"/*.service; do
    said=$(systemd-analyze security --offline=yes --threshold=15 --no-pager "$unit" 2>&1)
    tell $? "$unit: $(printf '%s\n' "$said" | tail -n 1)"
done
for timer in "$folder"/*.timer; do
    [ -f "${timer%.timer}.service" ]
    tell $? "$timer has no service"
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
