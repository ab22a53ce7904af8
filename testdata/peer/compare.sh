#!/bin/sh
# Measures ./bin/tramd against the scripts beside this file, on one machine, in one run. See compare.py --help.
#   testdata/peer/compare.sh                   everything
#   testdata/peer/compare.sh --only peer       the scripts alone, without tramd
# TRAMD and PYTHON name other binaries than ./bin/tramd and /usr/bin/python3.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
TRAMD=${TRAMD:-$here/../../bin/tramd}
PYTHON=${PYTHON:-/usr/bin/python3}
command -v curl >/dev/null || { echo "compare.sh: no curl: apt-get install curl" >&2; exit 1; }
if ! "$PYTHON" -c 'import numpy, serial' 2>/dev/null; then
    echo "compare.sh: $PYTHON has no numpy or no pyserial: apt-get install python3-numpy python3-serial" >&2
    exit 1
fi
exec "$PYTHON" "$here/compare.py" --tramd "$TRAMD" "$@"
