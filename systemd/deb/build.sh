#!/bin/sh
# build.sh ARCH BINARY OUTDIR  makes tramd_VERSION_ARCH.deb of a binary built for Debian's ARCH. The same sources give the
# same bytes: times are those of the commit, owners root, orders fixed. NATIVE is a tramd that runs here, for the manual.
set -eu
umask 022
LC_ALL=C TZ=UTC
export LC_ALL TZ
arch=$1 binary=$2 out=$3
here=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$here/../.." && pwd)
native=${NATIVE:-$top/bin/tramd}

SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-$(git -C "$top" log -1 --format=%ct)}
export SOURCE_DATE_EPOCH
# A version of Debian's begins with a digit and must not fall: a release's tag, or the commit's time.
version=${DEB_VERSION:-$(git -C "$top" describe --tags --exact-match --match 'v[0-9]*' 2>/dev/null | sed 's/^v//')}
[ -n "$version" ] || version=0~$(date -u -d "@$SOURCE_DATE_EPOCH" +%Y%m%d%H%M%S).$(git -C "$top" rev-parse --short HEAD)

root=$(mktemp -d)
trap 'rm -rf "$root"' EXIT
chmod 755 "$root"
put() { # put MODE FILE PLACE
  install -D -m "$1" "$2" "$root/$3"
}
put 755 "$binary" usr/bin/tramd
for unit in tramd@.service tramd-sweep@.service tramd-sweep@.timer; do
  put 644 "$top/systemd/$unit" "usr/lib/systemd/system/$unit"
done
put 644 "$top/systemd/70-tramd.rules" usr/lib/udev/rules.d/70-tramd.rules
put 644 "$top/systemd/sysusers.conf" usr/lib/sysusers.d/tramd.conf
put 644 "$top/systemd/tmpfiles.conf" usr/lib/tmpfiles.d/tramd.conf
put 644 "$here/default" etc/default/tramd
put 644 "$here/linnet.toml" usr/share/doc/tramd/examples/linnet.toml
put 644 "$here/lintian-overrides" usr/share/lintian/overrides/tramd
put 644 "$here/avahi.service" usr/share/doc/tramd/examples/tramd.service
put 644 "$here/README.Debian" usr/share/doc/tramd/README.Debian
for f in README.md prometheus.yml alertmanager.yml machines.json rules/tramd.yml grafana/tramd-machine.json grafana/tramd-fleet.json \
  grafana/provisioning/datasources/prometheus.yaml grafana/provisioning/dashboards/tramd.yaml; do
  put 644 "$top/dashboards/$f" "usr/share/doc/tramd/examples/$f"
done

install -d "$root/usr/share/man/man1" "$root/usr/share/man/man5" "$root/usr/share/fish/vendor_completions.d" "$root/usr/share/bash-completion/completions" "$root/usr/share/zsh/vendor-completions"
"$native" manual | gzip -9n >"$root/usr/share/man/man1/tramd.1.gz"
"$native" completion bash >"$root/usr/share/bash-completion/completions/tramd"
"$native" completion zsh >"$root/usr/share/zsh/vendor-completions/_tramd"
"$native" completion fish >"$root/usr/share/fish/vendor_completions.d/tramd.fish"
# The manual of the configuration is the documentation of its keys, in another form.
{
  printf '%% TRAMD.TOML 5 "%s" "tramd %s" "File Formats"\n# NAME\ntramd.toml - the configuration of tramd, key by key\n# DESCRIPTION\n' \
    "$(date -u -d "@$SOURCE_DATE_EPOCH" +%F)" "$version"
  sed -e 1d -e 's/^#\(#* \)/\1/' -e 's/\[\([^]]*\)\](\([^)]*\))/\1/g' "$top/cmd/tramd/docs/configuration.md"
  printf '# FRAMES\n'
  sed -e 1d -e 's/\[\([^]]*\)\](\([^)]*\))/\1/g' "$top/device/frame/frames.md"
  printf '# SEE ALSO\ntramd(1)\n'
} | go-md2man | gzip -9n >"$root/usr/share/man/man5/tramd.toml.5.gz"
for f in README.md cmd/tramd/docs/configuration.md device/frame/frames.md; do gzip -9n <"$top/$f" >"$root/usr/share/doc/tramd/${f##*/}.gz"; done
gzip -9n >"$root/usr/share/doc/tramd/changelog.gz" <<END
tramd ($version) unstable; urgency=medium

  * See the history of the sources.

 -- the tramd authors <tramd@localhost>  $(date -u -R -d "@$SOURCE_DATE_EPOCH")
END
"$here/copyright.sh" "$binary" >"$root/usr/share/doc/tramd/copyright"

control=$root/DEBIAN
install -d "$control"
for script in postinst prerm postrm; do put 755 "$here/$script" "DEBIAN/$script"; done
echo /etc/default/tramd >"$control/conffiles"
(cd "$root" && find usr etc -type f | sort | xargs md5sum | grep -v ' etc/') >"$control/md5sums"
# The newest symbol version the binary asks of the C library.
glibc=$(readelf -V "$binary" | grep -o 'GLIBC_[0-9.]*' | sed 's/GLIBC_//' | sort -uV | tail -1)
size=$(find "$root/usr" "$root/etc" -type f -printf '%s\n' | awk '{ n += int(($1 + 1023) / 1024) } END { print n }')
sed -e "s/@VERSION@/$version/" -e "s/@ARCH@/$arch/" -e "s/@SIZE@/$size/" -e "s/@GLIBC@/$glibc/" "$here/control.in" >"$control/control"

find "$root" -exec touch -h -d "@$SOURCE_DATE_EPOCH" {} +
mkdir -p "$out"
dpkg-deb --root-owner-group -Zxz -b "$root" "$out/tramd_${version}_$arch.deb" >&2
echo "$out/tramd_${version}_$arch.deb"
