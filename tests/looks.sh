#!/bin/sh
# looks.sh BIN - how the prints look, in the programs that people open them with: the pages of reports and of
# a plan in headless Chromium, the spreadsheet in LibreOffice. The last line is "N passed, N failed".
#   sh tests/looks.sh build/release/bin        KEEP=FOLDER: screenshots and PDFs stay there, to be looked at
# Installs what it needs on Debian 12 when it is missing (as root or with sudo); axe-core comes from npm when
# npm is there, and is left out, in words, when it is not. Nothing else is fetched.
set -eu
bin=$(cd "$1" && pwd)
cd "$(dirname "$0")/.."

missing=
for package in chromium libreoffice-calc fonts-dejavu-core poppler-utils python3-websockets python3-pil python3-openpyxl; do
    state=$(dpkg-query -W -f '${Status}' "$package" 2>/dev/null || true)
    [ "$state" = "install ok installed" ] || missing="$missing $package"
done
if [ -n "$missing" ]; then
    as_root=
    [ "$(id -u)" -eq 0 ] || as_root=sudo
    echo "installing:$missing"
    $as_root apt-get update -qq
    # shellcheck disable=SC2086 # a list of words
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
fi

place=$(mktemp -d "${TMPDIR:-/tmp}/knockbox-looks-XXXXXX")
hubs=
end() {
    trap '' INT TERM
    for pid in $hubs; do kill "$pid" 2>/dev/null || true; done
    for pid in $hubs; do wait "$pid" 2>/dev/null || true; done
    rm -rf "$place"
}
trap end EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

start_hub() { # NAME
    "$bin/knockbox-hub" init "$place/$1" --site kitchen --listen tcp://127.0.0.1:0 2>/dev/null
    "$bin/knockbox-hub" run "$place/$1" 2>"$place/$1.log" &
    hubs="$hubs $!"
    n=0
    until grep -q '^\(<[0-9]>\)\{0,1\}ready' "$place/$1.log"; do
        n=$((n + 1))
        [ $n -lt 300 ] || { cat "$place/$1.log"; exit 1; }
        sleep 0.1
    done
}
box() { # HUB ARGUMENTS...
    hub=$1
    shift
    "$bin/knockbox" "$@" --at "$place/$hub"
}

# The invented town until yesterday, for a plan begins with today; and the worked month.
mkdir "$place/lines" "$place/out"
"$bin/saltmere" "$place/lines" "$(date -d yesterday +%F)" >/dev/null
start_hub town
box town import "$place/lines/catalogue.jsonl" --quiet
for file in "$place"/lines/[0-9]*.jsonl; do box town import "$file" --quiet; done
start_hub worked
for file in catalogue records; do box worked import "tests/data/example-month/$file.jsonl" --quiet; done

this=$(date -d yesterday +%Y-%m)
last=$(date -d "$this-01 -1 day" +%Y-%m)
for month in $last $this; do
    box town report "$month" --format html --out "$place/out/town-$month.html"
    box town report "$month" --format xlsx --out "$place/out/town-$month.xlsx"
done
for month in 2026-02 2026-03 2026-04; do
    box worked report $month --format html --out "$place/out/worked-$month.html"
    box worked report $month --format xlsx --out "$place/out/worked-$month.xlsx"
done
box worked report 2026-03 --format html --frame GRI --out "$place/out/frame.html"
box worked report 2026-03 --format html --site quayside --out "$place/out/site.html"
box town plan make --quiet >/dev/null
box town plan show --format html >"$place/out/plan.html"

axe=
if command -v npm >/dev/null && (cd "$place" && timeout 120 npm pack --silent axe-core@4.10.3 >/dev/null 2>&1); then
    tar -xzf "$place"/axe-core-*.tgz -C "$place" package/axe.min.js && axe=$place/package/axe.min.js
fi
[ -n "$axe" ] || echo "skipped: axe-core, for npm does not give it"

failed=0
/usr/bin/python3 -B tests/looks/page.py "$place/out" "$axe" || failed=1
/usr/bin/python3 -B tests/looks/sheet.py "$place/out" || failed=1
if [ -n "${KEEP:-}" ]; then
    mkdir -p "$KEEP"
    cp "$place"/out/*.png "$place"/out/*.pdf "$place"/out/*.html "$place"/out/*.xlsx "$KEEP"
fi
exit $failed
