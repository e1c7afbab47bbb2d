#!/usr/bin/env bash
# The environment in .venv, made or completed: tools/environment.sh run|test
#
# Nothing is done while the pins, pyproject.toml and the interpreter are those it was last made from.
# When they have changed, an environment that this script made is made anew; one that somebody made
# by hand is completed and not thrown away.
set -euo pipefail
cd "$(dirname "$0")/.."

kind=${1:?run or test}
venv=${VENV:-.venv}
python=${PYTHON:-python3.11}
"$python" -c 'import sys; sys.exit(sys.version_info[:2] != (3, 11))' ||
    { echo "given $python; expected Python 3.11, for which the pins are; name it with PYTHON=..." >&2; exit 1; }

# what the environment for a kind is made from, in one number
state() {
    local pins=(requirements/run.txt)
    [ "$1" = run ] || pins+=(requirements/test.txt)
    { "$python" -c 'import sys; print(sys.version)'; pwd; cat pyproject.toml "${pins[@]}"; } | sha256sum | cut -d' ' -f1
}

stamp="$venv/.made-for-$kind"
if [ -f "$stamp" ]; then
    [ "$(cat "$stamp")" != "$(state "$kind")" ] || exit 0
    echo "the pins have changed: $venv is made anew"
    rm -rf "$venv"
fi
[ -x "$venv/bin/python" ] || "$python" -m venv "$venv"

pip=("$venv/bin/python" -m pip --disable-pip-version-check --quiet)
# --no-deps: what is not pinned is not there, and pip check says so
"${pip[@]}" install --no-deps -r requirements/run.txt
[ "$kind" = run ] || "${pip[@]}" install --no-deps -r requirements/test.txt
"${pip[@]}" install --no-deps --no-build-isolation --editable .
"${pip[@]}" check
# as an installation does: an editable one would else be compiled at every start where nothing may be written beside it
"$venv/bin/python" -m compileall -q src
state run >"$venv/.made-for-run"
[ "$kind" = run ] || state test >"$stamp"
