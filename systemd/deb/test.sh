#!/bin/bash
# test.sh DIR  checks the packages in DIR, made by `make deb`: lintian; the size of the program; a second build gives the same
# bytes; and the life of one on a machine: install, configure, run, upgrade, remove, purge, in a copy-on-write copy of this one,
# which stays untouched. Needs root.
set -euo pipefail
debs=$(cd "$1" && pwd)
here=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$here/../.." && pwd)
arch=$(dpkg --print-architecture)
fail() { echo "FAIL: $*" >&2; exit 1; }
[ "$(id -u)" = 0 ] || fail "this must be run as root (it mounts a copy of the file system to install into)"

for deb in "$debs"/*.deb; do
  lintian --fail-on error,warning "$deb" || fail "lintian finds faults in $deb"
  dpkg-deb --fsys-tarfile "$deb" | tar -xOf - ./usr/bin/tramd >"$debs/program"
  readelf -dW "$debs/program" | grep -q BIND_NOW && readelf -lW "$debs/program" | grep -q GNU_RELRO || fail "the program in $deb is not bound at its start"
  rm "$debs/program"
  bytes=$(dpkg-deb --fsys-tarfile "$deb" | tar -xOf - ./usr/bin/tramd | wc -c)
  [ "$bytes" -gt 1000000 ] && [ "$bytes" -le 20000000 ] || fail "the program in $deb has $bytes bytes, 20 million at most"
done

# Another folder, umask, time zone, language and moment.
again=$(mktemp -d)
copy=
# shellcheck disable=SC2317 # called by the trap
cleanup() {
  if [ -n "$copy" ]; then
    umount -q "$copy/root/dev" "$copy/root/proc" "$copy/root" || true
    umount -q "$copy" && rmdir "$copy"
  fi
  rm -rf "$again"
}
trap cleanup EXIT
trap 'exit 1' INT TERM
mkdir -p "$again/else/where"
cp -a "$top" "$again/else/where/sources"
(cd / && umask 077 && TZ=Asia/Tokyo LC_ALL=C.UTF-8 NATIVE="$top/bin/tramd" \
  "$again/else/where/sources/systemd/deb/build.sh" "$arch" "$top/bin/tramd" "$again/out" >/dev/null 2>&1) || fail "the second build failed"
cmp "$debs"/tramd_*_"$arch".deb "$again"/out/*.deb || fail "two builds of one source differ"

# A copy of this machine.
copy=$(mktemp -d)
mount -t tmpfs tmpfs "$copy"
mkdir "$copy/upper" "$copy/work" "$copy/root"
mount -t overlay overlay -o "lowerdir=/,upperdir=$copy/upper,workdir=$copy/work" "$copy/root"
mount -t proc proc "$copy/root/proc"
mount --bind /dev "$copy/root/dev"
in_copy() { env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin LC_ALL=C DEBIAN_FRONTEND=noninteractive chroot "$copy/root" "$@"; }
is() { [ "$(in_copy stat -c '%U:%G %a' "$1")" = "$2" ] || fail "$1 is $(in_copy stat -c '%U:%G %a' "$1"), want $2"; }

in_copy dpkg -s tramd >/dev/null 2>&1 && fail "tramd is installed on this machine already"
mkdir "$copy/root/debs"
cp "$debs"/tramd_*_"$arch".deb "$copy/root/debs/old.deb"
DEB_VERSION=99.0 "$here/build.sh" "$arch" "$top/bin/tramd" "$copy/root/debs/new" >/dev/null 2>&1
in_copy dpkg -i /debs/old.deb >"$again/log" 2>&1 || { cat "$again/log"; fail "it cannot be installed"; }
in_copy id tramd | grep -q dialout || fail "the user tramd is not in dialout: $(in_copy id tramd)"
is /etc/tramd "root:tramd 750"
is /var/lib/tramd "tramd:tramd 750"
in_copy dpkg -V tramd || fail "files differ from what the package says"
in_copy systemd-analyze verify --man=yes tramd@linnet.service >"$again/log" 2>&1 || true
! grep tramd "$again/log" || fail "the installed unit is not right"
in_copy bash -c 'source /usr/share/bash-completion/completions/tramd && complete -p tramd' | grep -q _tramd || fail "no completion"
in_copy find /etc/systemd/system -name 'tramd*' | grep -q . && fail "an instance was enabled without a configuration"

# The example is right, and the daemon's user can read it and keep a record.
in_copy install -m 640 -g tramd /usr/share/doc/tramd/examples/linnet.toml /etc/tramd/linnet.toml
in_copy tramd config check /etc/tramd/linnet.toml | grep -q "is right" || fail "the example is not right"
in_copy sed -i 's/127.0.0.1:9743/127.0.0.1:0/; s/^password_hash.*//' /etc/tramd/linnet.toml
in_copy install -d -o tramd -g tramd -m 750 /var/lib/tramd/linnet
in_copy setpriv --reuid=tramd --regid=tramd --init-groups timeout -s TERM 3 tramd run --config /etc/tramd/linnet.toml >"$again/log" 2>&1 && fail "the daemon ended by itself"
grep -q 'msg=ready' "$again/log" || { cat "$again/log"; fail "the daemon did not come up as its user"; }

# An upgrade keeps configuration, record, and what the owner changed.
echo 'GOMEMLIMIT=64MiB' >>"$copy/root/etc/default/tramd"
before=$(in_copy sh -c 'cat /etc/tramd/linnet.toml /etc/default/tramd /var/lib/tramd/linnet/tramd.db | sha256sum')
in_copy dpkg -i --force-confold "/debs/new/tramd_99.0_$arch.deb" >"$again/log" 2>&1 || { cat "$again/log"; fail "it cannot be upgraded"; }
[ "$before" = "$(in_copy sh -c 'cat /etc/tramd/linnet.toml /etc/default/tramd /var/lib/tramd/linnet/tramd.db | sha256sum')" ] || fail "the upgrade changed what was the owner's"

in_copy dpkg -r tramd >/dev/null 2>&1 || fail "it cannot be removed"
[ -e "$copy/root/etc/tramd/linnet.toml" ] || fail "removing took the configuration away"
[ -e "$copy/root/usr/bin/tramd" ] && fail "removing left the program"
in_copy dpkg -P tramd >"$again/log" 2>&1 || { cat "$again/log"; fail "it cannot be purged"; }
[ -e "$copy/root/etc/tramd" ] || [ -e "$copy/root/etc/default/tramd" ] && fail "purging left configuration"
[ -e "$copy/root/var/lib/tramd/linnet/tramd.db" ] || fail "purging deleted what was measured"
grep -q "/var/lib/tramd" "$again/log" || fail "purging did not say that the record stays"
in_copy rm -r /var/lib/tramd/linnet
in_copy dpkg -i /debs/old.deb >/dev/null 2>&1 && in_copy dpkg -P tramd >/dev/null 2>&1
[ -e "$copy/root/var/lib/tramd" ] && fail "purging left an empty record's folder"
echo "packages: lintian clean, two builds alike, install, upgrade, remove and purge as they should"
