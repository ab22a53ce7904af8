#!/usr/bin/env bash
# Takes the pictures of the README from the demo, or says whether they are fresh: make.sh [--check].
# Fresh means that the page's files have not changed since: a sum of them stands beside the pictures. Pixels are not compared, since
# they differ from one browser and one machine to the next.
set -euo pipefail
cd "$(dirname "$0")"
top=$(git rev-parse --show-toplevel)
web=$top/cmd/tramd/internal/web/assets
sum=$({ cd "$web" && find . -type f | LC_ALL=C sort | xargs sha256sum; cat "$top/cmd/tramd/internal/catalogue/en.json"; } | sha256sum | cut -c1-16)
if [ "${1:-}" = --check ]; then
	[ "$(cat made-from 2>/dev/null)" = "$sum" ] || { echo "the README's pictures show an older page: run make screenshots"; exit 1; }
	for f in now adjust run; do [ -s "$f.png" ] || { echo "$f.png is missing: run make screenshots"; exit 1; }; done
	exit 0
fi
tools=$(mktemp -d)
trap 'kill "${demo:-}" 2>/dev/null || true; rm -rf "$tools"' EXIT
(cd "$top" && go build -tags "$TAGS" -trimpath -o "$tools/shots" ./cmd/tramd/internal/screenshots)
"$top/bin/tramd" demo --listen 127.0.0.1:0 >"$tools/log" 2>&1 &
demo=$!
for _ in $(seq 600); do
	url=$(sed -n "s,^linnet.* \(http[^ ]*\)/\$,\1,p" "$tools/log")
	[ -n "$url" ] && break
	sleep 0.1
done
shots() { "$tools/shots" -url "$url" -out . "$@"; }
shots -until 'document.querySelectorAll("#moves li").length > 0' adjust,/adjust,360,740,light
shots -until 'document.querySelector("#tilt .digits").textContent.length > 3' now,/,360,740,light
shots -until '!!document.querySelector(".rest-svg")' run,/runs/1,1280,800,light
echo "$sum" >made-from
