#!/bin/bash
# session.sh DEB  is a first day with the package, as README.Debian tells it: a fresh user account, from apt to a first sweep on a
# simulated bench, and no command is told where its configuration is. It plays in a copy-on-write copy of this machine, as root.
set -euo pipefail
deb=$(readlink -f "$1")
top=$(cd "$(dirname "$0")/../.." && pwd)
fail() { echo "FAIL: $*" >&2; exit 1; }
[ "$(id -u)" = 0 ] || fail "this must be run as root (it mounts a copy of the file system to install into)"

copy=$(mktemp -d)
bench= daemon=
# shellcheck disable=SC2317 # called by the trap
cleanup() {
  exec 3>&- 4<&-
  for pid in $daemon $bench; do kill "$pid" 2>/dev/null && wait "$pid" 2>/dev/null || true; done
  umount -q "$copy/root/sys" "$copy/root/dev/pts" "$copy/root/dev" "$copy/root/proc" "$copy/root" || true
  umount -q "$copy" && rmdir "$copy"
}
trap cleanup EXIT
trap 'exit 1' INT TERM
mount -t tmpfs tmpfs "$copy"
mkdir "$copy/upper" "$copy/work" "$copy/root"
mount -t overlay overlay -o "lowerdir=/,upperdir=$copy/upper,workdir=$copy/work" "$copy/root"
mount -t proc proc "$copy/root/proc"
mount --bind /sys "$copy/root/sys"
mount --bind /dev "$copy/root/dev"
mount --bind /dev/pts "$copy/root/dev/pts"
as_root() { env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin LC_ALL=C DEBIAN_FRONTEND=noninteractive chroot "$copy/root" "$@"; }
# A login of its own, in the home of the account, with nothing of this shell's environment.
visitor() { echo "visitor$ $*" >&2; as_root runuser -l visitor -c "$*"; }

cp "$deb" "$copy/root/tmp/tramd.deb"
as_root apt-get install -y --no-install-recommends /tmp/tramd.deb >"$copy/log" 2>&1 || { cat "$copy/log"; fail "it cannot be installed"; }
as_root useradd --create-home --shell /bin/bash visitor
as_root usermod -aG dialout,tramd visitor

# The bench: an indicator and an encoder on pseudo-terminals; a word on its input turns the arm.
mkfifo "$copy/hand" "$copy/ports"
"$top/testdata/peer/bench.py" --tilt 0.3 --nod -0.2 --rate 100 --encoder-rate 100 --seconds 15 <"$copy/hand" >"$copy/ports" &
bench=$!
exec 3>"$copy/hand" 4<"$copy/ports"
read -r ports <&4
port() { sed -n "s/.*\"$1\": *\"\([^\"]*\)\".*/\1/p" <<<"$ports"; }
chmod 666 "$(port indicator)" "$(port encoder)"

visitor tramd --version
visitor tramd help sweep | grep -- --turns >/dev/null || fail "no help"
visitor tramd ports || true # it lists adapters alone; the bench has none
printf '%s\n' linnet '' encoder '' "$(port indicator)" n '' 120 '' '' n "$(port encoder)" '' 4096 '' '' \
  /var/lib/tramd/linnet/tramd.db '' 'a long enough word' 'a long enough word' y '' '' '' '' n n >"$copy/root/home/visitor/answers"
visitor 'tramd setup linnet.toml <answers' >"$copy/log" || { cat "$copy/log"; fail "setup"; }
# Where 0 degrees is, a person would show with the arm; the bench begins there.
visitor 'sed -i "s/^source = \"encoder\"/&\nzero_deg = 0.0/" linnet.toml'
as_root install -o root -g tramd -m 640 /home/visitor/linnet.toml /etc/tramd/linnet.toml
visitor tramd config check

# As the unit does it, since no systemd runs here. No function: its process is the one to be ended.
as_root install -d -o tramd -g tramd -m 750 /var/lib/tramd/linnet
env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin LC_ALL=C chroot "$copy/root" setpriv --reuid=tramd --regid=tramd --init-groups tramd run --config /etc/tramd/linnet.toml 2>"$copy/daemon.log" &
daemon=$!
for _ in $(seq 300); do grep -q msg=ready "$copy/daemon.log" && break; sleep 0.2; done
grep -q msg=ready "$copy/daemon.log" || { cat "$copy/daemon.log"; fail "the daemon did not come up"; }
visitor tramd doctor || true # it has findings: no udev, no clock's keeper in a copy of a machine
visitor tramd watch --once

status=0
{ for _ in $(seq 300); do grep -q "Turn the arm" "$copy/sweep.log" 2>/dev/null && break; sleep 0.2; done; echo go >&3; } &
visitor tramd sweep 2>"$copy/sweep.log" || status=$?
[ "$status" = 3 ] || { cat "$copy/sweep.log" "$copy/daemon.log"; fail "the sweep of a machine out of square ended with $status, not 3"; }
visitor tramd advise
visitor 'tramd event log note "first sweep"'
visitor tramd event list
visitor tramd runs | grep outside >/dev/null || fail "the run is not listed"
visitor tramd report --out report.html && [ -s "$copy/root/home/visitor/report.html" ] || fail "no report"
visitor tramd drift || true # one check is too little to say
echo "a fresh account came from apt to its first sweep without --config"
