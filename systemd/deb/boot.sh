#!/bin/bash
# boot.sh DEB  installs a package of this computer's architecture into a copy-on-write copy of it, boots the copy as a
# container with a systemd of its own, and checks there that the hardened unit does its work: ready, credential, reload good
# and bad, a hung daemon started again by the watchdog, an orderly stop. Needs root, cgroups and systemd-nspawn.
set -euo pipefail
deb=$(readlink -f "$1")
fail() { echo "FAIL: $*" >&2; exit 1; }
[ "$(id -u)" = 0 ] || fail "this must be run as root (it boots a copy of the file system)"
copy=$(mktemp -d)
# shellcheck disable=SC2317 # called by the trap
cleanup() { umount -q "$copy/root/proc" "$copy/root" || true; umount -q "$copy" && rmdir "$copy"; }
trap cleanup EXIT
trap 'exit 1' INT TERM
mount -t tmpfs tmpfs "$copy"
mkdir "$copy/upper" "$copy/work" "$copy/root"
root=$copy/root
mount -t overlay overlay -o "lowerdir=/,upperdir=$copy/upper,workdir=$copy/work" "$root"
cp "$deb" "$root/tramd.deb"
mount -t proc proc "$root/proc"
chroot "$root" dpkg -i /tramd.deb >/dev/null 2>&1 || fail "it cannot be installed"
install -m 640 "$root/usr/share/doc/tramd/examples/linnet.toml" "$root/etc/tramd/linnet.toml"
chroot "$root" chgrp tramd /etc/tramd/linnet.toml
echo 'brass and ebony' | chroot "$root" tramd password --bare >"$root/etc/tramd/linnet.password_hash"
chmod 600 "$root/etc/tramd/linnet.password_hash" # root's alone: the service manager hands it over

# Only what the test needs is started, and the watchdog is short of patience.
units=$root/etc/systemd/system
rm -rf "$units"/*.wants
mkdir -p "$units/multi-user.target.wants" "$units/tramd@.service.d"
for u in systemd-networkd systemd-resolved systemd-timesyncd console-getty systemd-udevd systemd-logind getty@tty1; do ln -sf /dev/null "$units/$u.service"; done
printf '[Service]\nWatchdogSec=4\nRestartSec=1\n' >"$units/tramd@.service.d/test.conf"
printf '[Unit]\nAfter=tramd@linnet.service\n[Service]\nType=idle\nExecStart=/probe\nExecStopPost=/bin/systemctl --force exit\n' >"$units/probe.service"
ln -s ../probe.service "$units/multi-user.target.wants/probe.service"
ln -s /usr/lib/systemd/system/tramd@.service "$units/multi-user.target.wants/tramd@linnet.service"
cat >"$root/probe" <<'END'
#!/bin/bash
exec >/probe.log 2>&1
unit=tramd@linnet toml=/etc/tramd/linnet.toml
show() { systemctl show "$unit" -p "$1" --value; }
wants() { # wants NAME TEXT COMMAND...
  local name=$1 text=$2 got
  shift 2
  got=$("$@" 2>&1)
  case $got in *"$text"*) echo "ok $name" ;; *) echo "FAILED $name: want $text, got $got" ;; esac
}
reload() { systemctl reload $unit; echo "status $?"; }
api() { curl -s -m 10 "$@"; }
for _ in $(seq 100); do [ "$(show ActiveState)" = active ] && break; sleep 0.1; done
wants ready active show ActiveState
wants status "linnet: 0 of 2 devices live" show StatusText
wants user tramd ps -o user= -p "$(show MainPID)"
wants health '"ok":true' api http://127.0.0.1:9743/healthz
wants credential '"may_change":true' api -d '{"password":"brass and ebony"}' http://127.0.0.1:9743/api/v1/login
wants "wrong password" 'wrong password' api -d '{"password":"ebony"}' http://127.0.0.1:9743/api/v1/login
wants scrape process_start_time_seconds api http://127.0.0.1:9743/metrics
wants socket "tramd tramd 660" stat -c '%U %G %a' /var/lib/tramd/linnet/tramd.sock
sed -i 's/radius_mm = 120.0/radius_mm = -1/' $toml
wants "bad reload" "status 0" reload
wants "bad reload told" "refused, the old one holds" show StatusText
wants "still there" '"ok":true' api http://127.0.0.1:9743/healthz
sed -i 's/radius_mm = -1/radius_mm = 121.0/' $toml
wants "good reload" "status 0" reload
wants "good reload told" "linnet: 0 of 2 devices live" show StatusText
pid=$(show MainPID)
kill -STOP "$pid"
for _ in $(seq 200); do [ "$(show NRestarts)" = 1 ] && [ "$(show ActiveState)" = active ] && break; sleep 0.1; done
wants "watchdog" 1 show NRestarts
wants "up again" '"ok":true' api http://127.0.0.1:9743/healthz
systemctl stop $unit
wants "stopped well" success show Result
echo end
END
chmod +x "$root/probe"
umount "$root/proc"
timeout 180 systemd-nspawn -q -D "$root" --boot --register=no --keep-unit --private-network --machine=tramd-test --link-journal=no >"$copy/boot.log" 2>&1 || true
[ -s "$root/probe.log" ] || { tail -20 "$copy/boot.log" >&2; fail "the copy did not boot"; }
cat "$root/probe.log"
grep -q '^end$' "$root/probe.log" || fail "the checks did not come to their end"
! grep -q FAILED "$root/probe.log" || fail "the service is not right"
