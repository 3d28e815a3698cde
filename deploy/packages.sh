#!/bin/sh
# packages.sh: installs what building, running and testing need on Debian 12.
#   sh deploy/packages.sh [build|test]     test: also what only the tests need (of OpenSSH only the
#   programs are wanted; tests run them by hand on a port of their own, and of systemd its judge of units)
# As root or with sudo; asks nothing; does nothing when all is there.
set -eu

build="gcc make cmake ninja-build pkg-config protobuf-compiler protobuf-c-compiler mawk
libprotobuf-c-dev libzmq3-dev liblmdb-dev libcurl4-openssl-dev libjansson-dev libsodium-dev
libutf8proc-dev coinor-libcbc-dev libxlsxwriter-dev libical-dev zlib1g-dev tzdata socat"
test="git libcriterion-dev clang-14 libclang-rt-14-dev clang-format-14 clang-tidy-14 mandoc tmux procps python3-minimal iproute2
e2fsprogs mount python3 python3-aiosmtpd python3-openpyxl systemd openssl openssh-server openssh-client openssh-sftp-server"

want=$build
[ "${1:-build}" = test ] && want="$build $test"

missing=
for package in $want; do
    state=$(dpkg-query -W -f '${Status}' "$package" 2>/dev/null || true)
    [ "$state" = "install ok installed" ] || missing="$missing $package"
done
[ -n "$missing" ] || exit 0

as_root=
if [ "$(id -u)" -ne 0 ]; then
    command -v sudo >/dev/null || { echo "packages.sh: be root, or install sudo, to get:$missing" >&2; exit 1; }
    as_root=sudo
fi
echo "installing:$missing"
# Services that come with a package (sshd, for the tests) are not started by its installation.
policy=/usr/sbin/policy-rc.d
if [ ! -e $policy ]; then
    printf '#!/bin/sh\nexit 101\n' | $as_root tee $policy >/dev/null
    $as_root chmod 755 $policy
    trap '$as_root rm -f $policy' EXIT
fi
export DEBIAN_FRONTEND=noninteractive
$as_root apt-get update -qq
# shellcheck disable=SC2086 # a list of words
$as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
