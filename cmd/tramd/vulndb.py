#!/usr/bin/python3
"""vulndb.py DIR OUT  makes of the sources of the Go vulnerability database, as the module golang.org/x/vulndb brings them, a
folder that govulncheck reads (go.dev/doc/security/vuln/database): for where modules can be fetched and the database cannot.
"""
import collections
import json
import pathlib
import sys


def main(sources, out):
    for folder in ("ID", "index"):
        (out / folder).mkdir(parents=True)
    modules, entries = collections.defaultdict(dict), []
    for path in sorted((sources / "data" / "osv").glob("*.json")):
        entry = json.loads(path.read_text(encoding="utf-8"))
        stamp = entry["modified"]
        write(out / "ID" / path.name, entry)
        entries.append({"id": entry["id"], "modified": stamp, "aliases": entry.get("aliases", [])})
        for affected in entry["affected"]:
            events = [e for r in affected.get("ranges", []) for e in r.get("events", [])]
            fixed = [e["fixed"] for e in events if "fixed" in e]
            modules[affected["package"]["name"]][entry["id"]] = {"id": entry["id"], "modified": stamp, "fixed": fixed[-1] if fixed else ""}
    if len(entries) < 1000:
        sys.exit(f"vulndb.py: {len(entries)} entries in {sources}, which cannot be all of them")
    write(out / "index" / "db.json", {"modified": max(e["modified"] for e in entries)})
    write(out / "index" / "modules.json", [{"path": p, "vulns": list(v.values())} for p, v in sorted(modules.items())])
    write(out / "index" / "vulns.json", entries)


def write(path, what):
    path.write_text(json.dumps(what), encoding="utf-8")


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]))
