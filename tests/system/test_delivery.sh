#!/bin/sh
# test_delivery.sh BIN SOURCE - the hub's outbox against real servers on loopback: mail (aiosmtpd),
# HTTPS (Python's, with a certificate authority made here), SFTP (OpenSSH). Servers refuse, die in
# the middle and answer nonsense; the hub is killed. Prints "N passed, N failed".
# Sources: the promises of docs/operations.md, "Delivery"; the rest is common practice, no source.
set -u
bin=$1
source=$2
python=/usr/bin/python3
place=$(mktemp -d /tmp/knockbox-delivery-XXXXXX) || exit 1
hub=$place/hub
passed=0
failed=0
started=
hub_pid=

end() {
    for pid in $started $hub_pid; do kill "$pid" 2>/dev/null; done
    for pid in $started $hub_pid; do wait "$pid" 2>/dev/null; done
    rm -rf "$place"
}
trap end EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

# it WORDS COMMAND...: passes when the command does.
it() {
    words=$1
    shift
    if "$@"; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "not ok: $words"
        tail -n 3 "$place/hub.log" 2>/dev/null
    fi
}

# within COMMAND...: true as soon as it is, false after 15 s.
within() {
    tries=0
    until "$@"; do
        tries=$((tries + 1))
        [ $tries -lt 150 ] || return 1
        sleep 0.1
    done
}

box() { "$bin/knockbox" "$@" --at "$hub"; }
says() { # FILE TEXT
    grep -q -- "$2" "$1"
}
got() { # KIND N: so many things have arrived there
    [ "$(find "$place/$1" -name 'got.*' | wc -l)" -eq "$2" ]
}
# Members of a job: its state, its tries, why it failed.
job() { # ID MEMBER
    box outbox --json | $python -c '
import json, sys
for job in json.load(sys.stdin)["jobs"]:
    if job["id"] == int(sys.argv[1]):
        print(job[sys.argv[2]])' "$1" "$2"
}
state_is() { [ "$(job "$1" state)" = "$2" ]; }
said() { job "$1" said | grep -qi -- "$2"; }
send() { # TARGET PRINTS: sets $id
    box report 2026-03 --send "$1" --as "$2" --json >"$place/sent" || return 1
    id=$($python -c 'import json, sys; print(json.load(open(sys.argv[1]))["jobs"][0]["id"])' "$place/sent")
}
serve() { # KIND
    mkdir -p "$place/$1"
    rm -f "$place/$1/port"
    $python "$source/tests/system/delivery_server.py" "$1" "$place/$1" 2>>"$place/$1.log" &
    started="$started $!"
    last=$!
    within test -s "$place/$1/port" || { echo "no server $1"; cat "$place/$1.log"; exit 1; }
    port=$(cat "$place/$1/port")
}
behave() { echo "$2" >"$place/$1/mode"; }
start_hub() {
    "$bin/knockbox-hub" run "$hub" 2>>"$place/hub.log" &
    hub_pid=$!
    within box status >/dev/null 2>&1 || { echo "no hub"; cat "$place/hub.log"; exit 1; }
}

# ------------------------------------------------------------------ keys, servers, hub

mkdir "$place/ca"
openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 2 -subj "/CN=test authority" \
    -keyout "$place/ca/ca.key" -out "$place/ca/ca.pem" 2>/dev/null
openssl req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -subj "/CN=localhost" \
    -keyout "$place/ca/key.pem" -out "$place/ca/cert.csr" 2>/dev/null
printf 'subjectAltName=DNS:localhost,IP:127.0.0.1\n' >"$place/ca/ext"
openssl x509 -req -in "$place/ca/cert.csr" -CA "$place/ca/ca.pem" -CAkey "$place/ca/ca.key" -days 2 \
    -CAcreateserial -extfile "$place/ca/ext" -out "$place/ca/cert.pem" 2>/dev/null

serve mail; mail=$port; mail_pid=$last
serve smtps; smtps=$port
serve plain; plain=$port
serve https; https=$port
serve garbage; garbage=$port

mkdir -m 700 "$place/ssh"
mkdir "$place/sftp"
ssh-keygen -q -t ed25519 -N '' -f "$place/ssh/host"
ssh-keygen -q -t ed25519 -N '' -f "$place/ssh/other"
ssh-keygen -q -t ed25519 -N '' -m PEM -f "$place/ssh/client"
cp "$place/ssh/client.pub" "$place/ssh/allowed"
[ "$(id -u)" -ne 0 ] || mkdir -p /run/sshd
sftp=$($python -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
cat >"$place/ssh/config" <<END
ListenAddress 127.0.0.1
Port $sftp
HostKey $place/ssh/host
AuthorizedKeysFile $place/ssh/allowed
PidFile none
StrictModes no
UsePAM no
PasswordAuthentication no
Subsystem sftp /bin/sh $place/ssh/serve
END
# With a file `die` there, the server ends in the middle of what it is sent.
cat >"$place/ssh/serve" <<END
[ ! -e "$place/ssh/die" ] || { head -c 9000 | /usr/lib/openssh/sftp-server; exit; }
exec /usr/lib/openssh/sftp-server
END
/usr/sbin/sshd -D -e -f "$place/ssh/config" 2>"$place/sshd.log" &
started="$started $!"

"$bin/knockbox-hub" init "$hub" --listen tcp://127.0.0.1:0 2>/dev/null
printf 'user mara\npassword open-sesame-42\n' >"$hub/office.secret"
printf 'token open-sesame-42\n' >"$hub/token.secret"
printf 'user %s\n' "$(id -un)" >"$hub/sftp.secret"
cp "$place/ssh/client" "$hub/sftp.key"
chmod 600 "$hub"/*.secret "$hub/sftp.key"
echo "[127.0.0.1]:$sftp $(cut -d' ' -f1,2 "$place/ssh/host.pub")" >"$hub/known_hosts"
echo "[127.0.0.1]:$sftp $(cut -d' ' -f1,2 "$place/ssh/other.pub")" >"$hub/wrong_hosts"

mail_target() { # NAME URL more lines
    printf 'target %s\nurl %s\nfrom knockbox@saltmere.example\nto office@saltmere.example owner@saltmere.example\nretry 1s\n' "$1" "$2"
    shift 2
    for line in "$@"; do echo "$line"; done
}
file_target() { # NAME URL more lines
    printf 'target %s\nurl %s\nretry 1s\n' "$1" "$2"
    shift 2
    for line in "$@"; do echo "$line"; done
}
ca="ca $place/ca/ca.pem"
{
    mail_target office smtp://localhost:$mail "$ca"
    mail_target strangers smtp://localhost:$mail
    mail_target auth smtps://localhost:$smtps "$ca" "credentials office.secret"
    mail_target bare smtp://localhost:$plain
    mail_target tests smtp://127.0.0.1:$plain "insecure-for-tests yes"
    mail_target nonsense smtp://127.0.0.1:$garbage "$ca"
    file_target archive https://localhost:$https/in/ "$ca" "credentials token.secret"
    file_target poster https://localhost:$https/in/ "$ca" "method POST"
    file_target garbled https://localhost:$garbage/ "$ca"
    file_target vault "sftp://127.0.0.1:$sftp$place/sftp/" "credentials sftp.secret" "key sftp.key" "known_hosts known_hosts"
    file_target unknown "sftp://127.0.0.1:$sftp$place/sftp/" "credentials sftp.secret" "key sftp.key" "known_hosts wrong_hosts"
    file_target wanderer https://localhost:$https/in/ "$ca" "redirects 2"
    file_target hasty https://localhost:$https/in/ "$ca" "timeout 1s"
    file_target mumbling sftp://127.0.0.1:$garbage/ "credentials sftp.secret" "key sftp.key" "known_hosts known_hosts"
    file_target nowhere "sftp://127.0.0.1:$sftp$place/no/such/" "credentials sftp.secret" "key sftp.key" "known_hosts known_hosts"
    file_target closed https://127.0.0.1:9/ "$ca" "give_up 1s"
    printf 'schedule month-end\non 3\nas text csv\nto office vault\n'
} >"$hub/delivery.conf"

cat >"$place/catalogue.jsonl" <<'END'
{"kind":"site","code":"kitchen","role":"kitchen","zone":"Europe/London","currency":"GBP","joined":"2026-03-02"}
{"kind":"site","code":"quayside","role":"cafe","zone":"Europe/London","currency":"GBP","joined":"2026-03-02"}
{"kind":"place","code":"quayside-freezer","for_site":"quayside","class":"freezer","max_c":"-15"}
{"kind":"coffee","code":"house-dark","name":"House dark"}
END
start_hub
box import "$place/catalogue.jsonl" >/dev/null
box report 2026-03 --csv >"$place/report.csv"
box report 2026-03 --format xlsx >"$place/report.xlsx"
box report 2026-03 --json >"$place/report.json"

# ------------------------------------------------------------------ settings

"$bin/knockbox-hub" check "$hub" >"$place/checked" 2>&1
it "check prints the targets" says "$place/checked" "^target archive"
it "check prints what was left out" says "$place/checked" "^give_up 3d"
it "check prints no secret" sh -c "! grep -q sesame '$place/checked'"
chmod 644 "$hub/token.secret"
"$bin/knockbox-hub" check "$hub" >"$place/checked" 2>&1
it "a secret that others may read is refused" [ $? -eq 5 ]
it "and the command that mends it is named" says "$place/checked" "chmod 600"
chmod 600 "$hub/token.secret"
refused() { # LINES WORDS: a hub with these targets is refused in such words
    mkdir -p "$place/bad"
    cp "$hub/hub.conf" "$place/bad/"
    printf '%b' "$1" >"$place/bad/delivery.conf"
    ! "$bin/knockbox-hub" check "$place/bad" >"$place/checked" 2>&1 && says "$place/checked" "$2"
}
it "a password in a URL is refused" refused 'target a\nurl https://u:p@h/\n' 'without user'
it "ftp is refused" refused 'target a\nurl ftp://h/\n' 'smtp://, smtps://'
it "http is refused" refused 'target a\nurl http://h/\n' 'smtp://, smtps://'
it "sftp without known hosts is refused" refused 'target a\nurl sftp://h/\n' 'known_hosts'
it "an address with a blank or a bracket is refused" refused 'target a\nurl smtps://h\nfrom a<b@c\nto d@e\n' 'from'
it "control characters in an address are refused" refused 'target a\nurl smtps://h\nfrom a\vBcc:x@c\nto d@e\n' 'from'
it "mail without TLS to elsewhere is refused" refused 'target a\nurl smtp://h\nfrom a@c\nto d@e\ninsecure-for-tests yes\n' 'insecure'
it "an unknown key is told with its line" refused 'target a\nurl https://h/\n\ncolour red\n' 'line 4'
it "a schedule to nobody is refused" refused 'schedule s\non 3\nas text\nto nobody\n' 'nobody'
it "a print that is not there is refused" refused 'target a\nurl https://h/\nschedule s\non 3\nas woodcut\nto a\n' 'woodcut'

# ------------------------------------------------------------------ dry run, mail

box report 2026-03 --send office,archive --as text,csv --dry-run >"$place/dry"
it "a dry run says what would go where" says "$place/dry" "knockbox-kitchen-2026-03.csv"
it "and sends nothing" sh -c "'$bin/knockbox' outbox --at '$hub' | grep -q 'is empty'"
it "an unknown target is refused" sh -c "! '$bin/knockbox' report 2026-03 --send nobody --at '$hub' 2>/dev/null"

send office text,csv,xlsx
first=$id
it "a mail goes out by STARTTLS" within state_is "$id" sent
it "it has subject, both receivers, summary and the very bytes of the print" $python - "$place/mail" "$place/report.csv" "$place/report.xlsx" <<'END'
import email, email.policy, glob, sys
mails = glob.glob(sys.argv[1] + "/got.*")
mail = email.message_from_binary_file(open(mails[0], "rb"), policy=email.policy.default)
files = {part.get_filename(): part.get_content() for part in mail.iter_attachments()}
text = mail.get_body(("plain",)).get_content()
want = open(sys.argv[2], newline="").read()
part = files["knockbox-kitchen-2026-03.csv"]
sheet = files["knockbox-kitchen-2026-03.xlsx"]
ok = (len(mails) == 1 and mail["Subject"] == "Knockbox report 2026-03" and "grounds generated" in text
      and mail["To"] == "office@saltmere.example, owner@saltmere.example" and len(files) == 3
      and sheet == open(sys.argv[3], "rb").read()
      and mail["Message-ID"].endswith("@saltmere.example>") and mail["Date"] is not None
      and (part if isinstance(part, str) else part.decode()).replace("\r\n", "\n") == want.replace("\r\n", "\n"))
sys.exit(not ok)
END
send auth text
it "a mail goes out by TLS with a password" within state_is "$id" sent
send strangers text
it "a server of an unknown authority gets nothing" within said "$id" "certificate"
it "and is tried again" state_is "$id" waiting
box outbox cancel "$id" >/dev/null
it "a person cancels" state_is "$id" cancelled
it "what has ended is not cancelled twice" sh -c "! '$bin/knockbox' outbox cancel $id --at '$hub' 2>/dev/null"
send bare text
it "a server without STARTTLS gets nothing" within said "$id" "."
box outbox cancel "$id" >/dev/null
it "nothing went out in the clear" got plain 0
send tests text
it "but to this machine when the target says so" within state_is "$id" sent
it "for which it was asked" got plain 1
send nonsense text
it "a mail server that talks nonsense is tried again" within said "$id" "."
box outbox cancel "$id" >/dev/null
behave mail refuse
send office text
it "a receiver who is not there is given up at once" within state_is "$id" given-up
it "in the server's words" said "$id" 550
behave mail die
send office text
it "a server that dies in the middle is tried again" within said "$id" "."
behave mail ok
it "and gets it then" within state_is "$id" sent
it "once" got mail 2

# ------------------------------------------------------------------ https

behave https token
send archive json,csv
it "files go out by PUT with a token" within state_is "$id" sent
it "they are the very bytes of the print" cmp -s "$place/report.json" "$(echo "$place"/https/got.*.PUT.knockbox-kitchen-2026-03.json)"
it "each once" got https 2
behave https ok
send poster json
it "a file goes out by POST" within state_is "$id" sent
for how in 503 nonsense endless redirect; do
    behave https $how
    send archive json
    it "an answer of \"$how\" is no success" within said "$id" "."
    behave https ok
    it "and is mended by the next try after $how" within state_is "$id" sent
done
behave https redirect
send wanderer json
it "a redirect out of https is not followed, even when some are" within said "$id" "."
box outbox cancel "$id" >/dev/null
behave https 400
send archive json
it "what the server refuses for good is given up" within state_is "$id" given-up
behave https ok
box outbox retry "$id" >/dev/null
it "until a person asks to try again" within state_is "$id" sent
send garbled json
it "a TLS port that talks nonsense is tried again" within said "$id" "."
box outbox cancel "$id" >/dev/null
send closed text
it "it is given up after its time" within state_is "$id" given-up
behave https slow
send archive json
child() { pgrep -P "$hub_pid" -x knockbox-send >"$place/child"; }
it "a helper carries it" within child
for pid in $hub_pid $(cat "$place/child"); do
    it "nobody's list of processes shows a secret" sh -c "! tr '\0' ' ' </proc/$pid/cmdline | grep -q sesame"
done
it "nor the hub's environment" sh -c "! tr '\0' '\n' </proc/$hub_pid/environ 2>/dev/null | grep -q sesame"
it "no secret stands in its arguments or environment" sh -c "! tr '\0' '\n' </proc/$(head -n 1 "$place/child")/cmdline | grep -q sesame &&
    ! tr '\0' '\n' </proc/$(head -n 1 "$place/child")/environ 2>/dev/null | grep -q sesame"
it "the hub answers while it waits" box status
it "a slow server gets it" within state_is "$id" sent
behave https hang
send hasty json
it "a server that does not answer is left after the time set" within said "$id" "timed out"
box outbox cancel "$id" >/dev/null
behave https die
send archive json
it "a server that dies in the middle of a file is tried again" within said "$id" "."
box outbox cancel "$id" >/dev/null

# ------------------------------------------------------------------ sftp

send vault html,csv,xlsx
it "files go out by SFTP" within state_is "$id" sent
it "under their names, whole" cmp -s "$place/report.csv" "$place/sftp/knockbox-kitchen-2026-03.csv"
it "a spreadsheet is made on the way" cmp -s "$place/report.xlsx" "$place/sftp/knockbox-kitchen-2026-03.xlsx"
it "the page has its pictures" says "$place/sftp/knockbox-kitchen-2026-03.html" "<svg"
it "and nothing else is left" [ "$(find "$place/sftp" -type f | wc -l)" -eq 3 ]
send vault csv
it "a second time they are replaced" within state_is "$id" sent
it "by three files still" [ "$(find "$place/sftp" -type f | wc -l)" -eq 3 ]
rm -f "$place/sftp"/*
touch "$place/ssh/die"
send vault html
it "an SFTP server that dies in the middle is tried again" within said "$id" "."
it "what came of it has no name that anybody takes for whole" [ "$(find "$place/sftp" -type f ! -name '*.part' | wc -l)" -eq 0 ]
rm "$place/ssh/die"
it "and gets it then" within state_is "$id" sent
box report 2026-03 --format html >"$place/report.html"
it "whole" cmp -s "$place/report.html" "$place/sftp/knockbox-kitchen-2026-03.html"
it "with nothing left beside it" [ "$(find "$place/sftp" -type f | wc -l)" -eq 1 ]
rm -f "$place/sftp"/*
send unknown csv
it "a server with another key gets nothing" within said "$id" "."
box outbox cancel "$id" >/dev/null
for target in mumbling nowhere; do
    send $target csv
    it "an SFTP server that is no good ($target) is tried again" within said "$id" "."
    box outbox cancel "$id" >/dev/null
done
it "not a byte" [ "$(find "$place/sftp" -type f | wc -l)" -eq 0 ]

# ------------------------------------------------------------------ the hub is killed

serve https
sed -i "s|localhost:$https|localhost:$port|" "$hub/delivery.conf"
kill -HUP "$hub_pid"
behave https slow
send poster json
it "a file is under way" within child
helper=$(head -n 1 "$place/child")
kill -9 "$hub_pid"
wait "$hub_pid" 2>/dev/null
gone() { ! kill -0 "$helper" 2>/dev/null || grep -q '^State:.Z' "/proc/$helper/status"; }
it "the helper dies with the hub" within gone
behave https ok
start_hub
it "what was under way is tried again" within state_is "$id" sent
it "after one more try" [ "$(job "$id" attempts)" -eq 2 ]

kill "$mail_pid"
wait "$mail_pid" 2>/dev/null
send office csv
it "a server that is down is tried again" within said "$id" "."
kill -9 "$hub_pid"
wait "$hub_pid" 2>/dev/null
start_hub
it "what waits is there after a kill" state_is "$id" waiting
it "what was sent is noted as sent" state_is "$first" sent
serve mail
sed -i "s|localhost:$mail|localhost:$port|" "$hub/delivery.conf"
kill -HUP "$hub_pid"
within says "$hub/delivery.conf" "$port"
box outbox retry "$id" >/dev/null
it "and goes out, settings read again" within state_is "$id" sent
it "once" got mail 3

# ------------------------------------------------------------------ alerts

cat >>"$hub/delivery.conf" <<END
alerts
to office
every 1s
disk_mib 1048576
END
cp "$hub/delivery.conf" "$place/good.conf"
kill -HUP "$hub_pid"
alerted() { grep -l "Knockbox:" "$place"/mail/got.4.* >/dev/null 2>&1; }
it "a cause is told by mail" within alerted
it "in one line" says "$place/mail/got.4.mail" "MiB are free on the hub's disk"
cat >"$place/reading.jsonl" <<END
{"kind":"reading","site":"quayside","at":"$(date -u +%Y-%m-%dT%H:%M:%S+00:00)","by":"RK","place":"quayside-freezer","temp_c":"-9.5","action":"moved","disposition":"kept"}
END
box import "$place/reading.jsonl" >/dev/null
reading() { grep -q "quayside-freezer read -9.5" "$place"/mail/got.5.* 2>/dev/null; }
it "a failed reading is told" within reading
sleep 2.5
it "never twice for the same cause" got mail 5
kill -9 "$hub_pid"
wait "$hub_pid" 2>/dev/null
start_hub
sleep 2
it "nor after a kill" got mail 5
printf 'nonsense\n' >"$hub/delivery.conf"
kill -HUP "$hub_pid"
it "bad settings leave the old in force" within says "$place/hub.log" "settings stay as they were"
cp "$place/good.conf" "$hub/delivery.conf"
it "the log holds no secret" sh -c "! grep -q sesame '$place/hub.log'"
kill "$hub_pid"
wait "$hub_pid"
it "the hub ends well" [ $? -eq 0 ]
hub_pid=
it "its chains are whole" "$bin/knockbox-hub" verify "$hub"

echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
