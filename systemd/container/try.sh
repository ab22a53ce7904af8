#!/usr/bin/env bash
# Builds the image and runs it, by podman or docker: try.sh. Without an engine that answers it says so, and fails.
set -euo pipefail
cd "$(dirname "$0")/../.."
for engine in podman docker ''; do
	[ -n "$engine" ] || { echo "no container engine answers: install podman, or start docker" >&2; exit 1; }
	"$engine" info >/dev/null 2>&1 && break
done
"$engine" build -f systemd/container/Containerfile --build-arg VERSION="$(git describe --always)" -t tramd-try .
id=$("$engine" run -d --rm --read-only --cap-drop ALL --tmpfs /run/tramd:uid=975 -v "$PWD/systemd/container/tramd.toml:/etc/tramd/tramd.toml:ro" -v /var/lib/tramd tramd-try)
trap '"$engine" kill "$id" >/dev/null' EXIT
for _ in $(seq 60); do
	"$engine" exec "$id" tramd watch --once && { echo "the image serves by $engine"; exit 0; }
	sleep 1
done
"$engine" logs "$id" >&2
exit 1
