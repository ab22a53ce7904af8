#!/bin/sh
# need.sh TOOL:PACKAGE[,PACKAGE...] ...  sees to it that tools are there: root installs what is missing from Debian's
# packages, others get the command. A tool that is no command is looked for as
# an installed package of that name.
set -eu
missing=
for want in "$@"; do
  tool=${want%%:*} packages=$(printf %s "${want#*:}" | tr , ' ')
  command -v "$tool" >/dev/null 2>&1 && continue
  if [ "$tool" = "$packages" ] && dpkg -s "$tool" >/dev/null 2>&1; then continue; fi
  missing="$missing $packages"
done
[ -z "$missing" ] && exit 0
if [ "$(id -u)" = 0 ]; then
  echo "installing:$missing" >&2
  apt-get update -qq >&2
  # shellcheck disable=SC2086 # a list of packages
  DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >&2
else
  echo "missing; install with:  sudo apt-get install$missing" >&2
  exit 1
fi
