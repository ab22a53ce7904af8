#!/bin/sh
# copyright.sh BINARY  writes the copyright file: our licence, and that of everything the binary holds, read from the
# modules it was built of. Licences that Debian keeps are pointed at.
set -eu
top=$(cd "$(dirname "$0")/../.." && pwd)
go=${GO:-go}
cd "$top"

section() { # section NAME FILE
  printf '\n%s\n\n' "$1"
  if grep -q 'Apache License' "$2" && grep -q 'Version 2.0' "$2"; then
    echo "Licensed under the Apache License, Version 2.0; on Debian systems its text is in /usr/share/common-licenses/Apache-2.0."
  else
    cat "$2"
  fi
}

echo "tramd"
echo
cat LICENSE
printf '\nThe program holds parts of others, each under its own licence:\n'
section "Go's standard library, https://go.dev" "$($go env GOROOT)/LICENSE"
$go version -m "$1" | awk '$1 == "dep" { print $2 }' | sort | while read -r module; do
  dir=$($go list -m -f '{{.Dir}}' "$module")
  found=
  for f in "$dir"/LICENSE* "$dir"/LICENCE* "$dir"/COPYING* "$dir"/NOTICE*; do
    [ -f "$f" ] || continue
    found=yes
    section "$module, $(basename "$f")" "$f"
  done
  [ -n "$found" ] || { echo "no licence found for $module; its terms must be known before it is handed on" >&2; exit 1; }
done
printf '\nSQLite, https://sqlite.org, within github.com/mattn/go-sqlite3\n\nIn the public domain.\n'
