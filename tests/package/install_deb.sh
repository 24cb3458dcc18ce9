#!/usr/bin/env bash
# tests/package/install_deb.sh BUILD [ROOT]: packs BUILD's program and library as Debian packages, looks them over with
# lintian, installs them in a bare Debian system, measures an invented night there, and takes them away again. Needs
# root and debootstrap; ROOT, a bare system that is there already, saves making one. Minutes long: for --long.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
build=$(cd "$1" && pwd)
work=$(mktemp -d)
root=${2:-$work/root}
trap 'rm -rf "$work"' EXIT

skip() { echo "install_deb: $1: the packages are packed but NOT tried in a bare system." >&2; exit 0; }
say() { printf '\n== %s\n' "$*"; }

for tool in file dpkg-shlibdeps; do
    command -v "$tool" > /dev/null || { echo "install_deb: $tool is missing: apt install file dpkg-dev" >&2; exit 2; }
done
say "packing"
(cd "$build" && cpack -G DEB -B "$work/debs" > "$work/cpack.log" 2>&1) || { cat "$work/cpack.log" >&2; exit 1; }
ls -l "$work"/debs/*.deb
program=$(ls "$work"/debs/emberline_*.deb)
library=$(ls "$work"/debs/libemberline-dev_*.deb)
for package in "$program" "$library"; do dpkg-deb --field "$package"; done
dpkg-deb --contents "$program" > "$work/program"
dpkg-deb --contents "$library" > "$work/library"
awk '{ print $1, $3, $6 }' "$work/program"
grep -q 'usr/share/man/man1/emberline.1.gz' "$work/program"
grep -q 'usr/share/doc/emberline/copyright' "$work/program"
grep -q 'usr/include/emberline/tasks/measure.hpp' "$work/library"
if grep -q 'usr/include\|\.a$' "$work/program"; then
    echo "install_deb: the program's package carries the library." >&2
    exit 1
fi
if command -v lintian > /dev/null; then
    say "lintian"
    lintian --allow-root --fail-on error --suppress-tags initial-upload-closes-no-bugs "$program" "$library"
else
    echo "install_deb: lintian is not installed: SKIPPED." >&2
fi

[ "$(id -u)" -eq 0 ] || skip "only root can change into another system"
if [ ! -d "$root/usr" ]; then
    command -v debootstrap > /dev/null || skip "debootstrap is not installed"
    say "a bare system"
    debootstrap --variant=minbase "$(. /etc/os-release && echo "$VERSION_CODENAME")" "$root" > "$work/bare.log" 2>&1 ||
        { tail "$work/bare.log" >&2; skip "no bare system could be made"; }
fi
inside() { chroot "$root" env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/root LC_ALL=C.UTF-8 DEBIAN_FRONTEND=noninteractive "$@"; }
cp "$program" "$root/tmp/emberline.deb"
say "installing"
inside apt-get update -qq
inside apt-get install -y -qq --no-install-recommends /tmp/emberline.deb gnuplot-nox > "$work/install.log" 2>&1 ||
    { tail -30 "$work/install.log" >&2; exit 1; }
inside dpkg -s emberline | grep -E '^(Package|Status|Version|Installed-Size|Depends|Recommends)'

say "a night in the bare system"
inside rm -rf /root/demo
inside emberline --version
inside emberline rehearse /root/demo --nights 3 --frames 3 --band B --band V -q
inside emberline measure -c /root/demo -q
inside emberline nights -c /root/demo -q
inside emberline curve -c /root/demo
inside emberline report -c /root/demo -q
inside emberline report --check /root/demo/out/report.txt
inside test -s /root/demo/out/curve.svg
inside bash -c 'source /usr/share/bash-completion/completions/emberline && complete -p emberline'
chroot "$root" env -i PATH=/usr/bin:/bin LC_ALL=C.UTF-8 emberline page -c /root/demo --port 0 --json > "$work/page.json" 2> "$work/page.log" &
page=$!
for _ in $(seq 100); do [ -s "$work/page.json" ] && break; sleep 0.1; done
port=$(tr -d ' \n' < "$work/page.json" | sed 's/.*"port":\([0-9]*\).*/\1/')
(exec 3<> "/dev/tcp/127.0.0.1/$port" && printf 'GET / HTTP/1.1\r\nHost: 127.0.0.1:%s\r\nConnection: close\r\n\r\n' "$port" >&3 &&
    head -c 400 <&3 | head -5)
kill "$page"
wait "$page" || true

say "taking it away"
inside apt-get purge -y -qq emberline > "$work/purge.log" 2>&1
left=$(inside find /usr /etc -path /usr/share/doc/libemberline-dev -prune -o -name '*emberline*' -print)
if [ -n "$left" ]; then
    printf 'install_deb: left behind:\n%s\n' "$left" >&2
    exit 1
fi
say "installed, measured, and taken away: nothing is left"
