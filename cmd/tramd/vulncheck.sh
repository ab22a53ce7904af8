#!/bin/sh
# Known vulnerabilities in what tramd is built from. Their database is on the network, or comes as a Go module where only
# modules can be fetched; where neither can be reached that is said, and not counted as a pass or a failure.
set -u
go=${GO:-go}
# By hand it takes the toolchain that make lint takes: known holes in the standard library are closed there.
here=$(cd "$(dirname "$0")" && pwd)
closed=$(sed -n 's/^CLOSED *:= *//p' "$here/../../Makefile")
if GOTOOLCHAIN=$closed "$go" version >/dev/null 2>&1; then export GOTOOLCHAIN="$closed"; fi
work=$(mktemp -d)
trap 'chmod -R u+w "$work"; rm -rf "$work"' EXIT
check() { # seconds, where the database is; as built (-trimpath), or SQLite is compiled once more
  GOFLAGS=-trimpath timeout "$1" "$go" run golang.org/x/vuln/cmd/govulncheck@v1.9.0 $2 -tags "sqlite_omit_load_extension osusergo netgo nethttpomithttp2" ./... >"$work/said" 2>&1
}
check 300 ""
status=$?
if [ $status -eq 124 ] || { [ $status -ne 0 ] && grep -qiE 'vuln.go.dev|no such host|dial tcp|fetching|connection|forbidden' "$work/said"; }; then
  sources=$(cd "$work" && timeout 120 "$go" mod download -json golang.org/x/vulndb@latest 2>/dev/null | sed -n 's/.*"Dir": "\(.*\)".*/\1/p')
  if [ -z "$sources" ] || ! command -v python3 >/dev/null; then
    echo "govulncheck: the vulnerability database cannot be reached from here; not checked"
    exit 0
  fi
  python3 "$here/vulndb.py" "$sources" "$work/db" || exit 1
  check 600 "-db file://$work/db"
  status=$?
  echo "govulncheck: with the database of $(basename "$sources")"
fi
cat "$work/said"
exit $status
