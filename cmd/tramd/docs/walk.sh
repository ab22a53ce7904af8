#!/usr/bin/env bash
# Walks the README in a fresh account and measures the time from the clone to the first true reading on the page.
#
#	walk.sh     as root
#
# The account is made for this and removed at the end. It types the README's own commands and builds everything itself. The
# caller lends it the modules that it has fetched, so that no network is measured. A first reading after five minutes is a
# failure; most of the time goes into compiling SQLite, so let the computer do nothing else.
set -euo pipefail
[ "$(id -u)" = 0 ] || { echo "walk.sh makes an account: run it as root"; exit 1; }
top=$(git -C "$(dirname "$0")" rev-parse --show-toplevel)
account=tramd-walk
remove() {
	[ -z "${demo:-}" ] || kill -TERM -- "-$demo" 2>/dev/null || true
	[ -z "${demo:-}" ] || wait "$demo" 2>/dev/null || true
	userdel -rf "$account" 2>/dev/null || true
}
trap remove EXIT
userdel -rf "$account" 2>/dev/null || true
useradd -m -s /bin/bash "$account"
home=$(getent passwd "$account" | cut -d: -f6)
log=$home/demo.log

modules=$(cd "$top" && go env GOMODCACHE)/cache/download
cp -r "$modules" "$home/modules"
chown -R "$account": "$home"
lent=(GOFLAGS=-modcacherw GONOSUMDB=* "GOPROXY=file://$home/modules")
type_in() { runuser -u "$account" -- env -i HOME="$home" USER="$account" PATH="$PATH" LANG=C.UTF-8 "${lent[@]}" bash -c "cd ~/tramd && $1"; }

# What is typed must stand in a block of the README, word for word.
shown() { grep -qE "^ {4,7}$(printf '%s' "$1" | sed 's,[][\.*^$(){}?+|/],\\&,g')\$" "$top/README.md" || { echo "the README does not show: $1"; exit 1; }; }

clone() { # by the caller, who may read the repository wherever it lies
	git clone -q "$top" "$home/tramd"
	chown -R "$account": "$home/tramd"
}
began=$(date +%s)
clone
shown "make demo"
set -m
type_in "make demo" >"$log" 2>&1 &
demo=$!
set +m
page=
while [ -z "$page" ]; do
	kill -0 "$demo" 2>/dev/null || { cat "$log"; echo "make demo ended"; exit 1; }
	sleep 0.2
	page=$(sed -n 's,^linnet.* \(http[^ ]*\)/$,\1,p' "$log")
done
up=$(($(date +%s) - began))
# The stream shows a live indicator with its reading; then the page, as it comes without JavaScript, has a lean.
# The stream has no end: what came within 2 s is looked at.
said() { timeout 2 curl -sN "$1" 2>/dev/null >"$home/said" || true; grep -qE "$2" "$home/said"; }
until said "$page/api/v1/live" '"state":"live".*"reading_mm":-?[0-9]'; do sleep 0.2; done
reading=$(($(date +%s) - began))
until said "$page/" 'class="digits">(\+|−)[0-9]'; do sleep 0.2; done
lean=$(($(date +%s) - began))
said "$page/runs" 'href="/runs/[0-9]+"' || { echo "/runs shows no run without JavaScript"; exit 1; }

# The steps of the first sweep: each command stands in the README and is one that the program knows.
shown "sudo install bin/tramd /usr/local/bin/"
for command in "tramd ports" "tramd setup linnet.toml" "tramd config check linnet.toml" "tramd doctor --config linnet.toml" \
	"tramd run --config linnet.toml" "tramd sweep --config linnet.toml"; do
	shown "$command"
	words=${command#tramd } words=${words%% --config*} words=${words% linnet.toml} # what stands before the file
	type_in "bin/tramd $words --help" >/dev/null || { echo "the program does not know: $command"; exit 1; }
done
type_in "bin/tramd ports" >/dev/null || { echo "tramd ports failed"; exit 1; }
echo "From the clone: the demo is up after $up s, the first reading comes after $reading s, the first lean stands on the page after $lean s."
echo "$(nproc) processors, load $(cut -d' ' -f1 /proc/loadavg)."
[ "$reading" -lt 300 ] || { echo "that is more than five minutes"; exit 1; }
