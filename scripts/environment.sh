#!/usr/bin/env bash
# Fill a virtual environment with one locked set of packages and this package itself (editable).
# usage: environment.sh VENV run|test|study
# With uv (path in $UV) straight from uv.lock; without it, venv and pip from requirements/SET.txt, hashes checked.
set -euo pipefail
cd "$(dirname "$0")/.."
venv=$1
set=$2
UV=${UV:-}
PYTHON=${PYTHON:-python3}

if [ -n "$UV" ]; then
    case $set in
        run) groups=(--no-default-groups) ;;
        test) groups=(--group dev) ;;
        study) groups=(--group dev --group study) ;;
        *) echo "environment.sh: no such set: $set" >&2; exit 2 ;;
    esac
    # --frozen takes the lock as it stands; --inexact leaves what another set has brought;
    # bytecode now, not at the first start of every command.
    export UV_PROJECT_ENVIRONMENT=$venv
    exec "$UV" sync --quiet --frozen --inexact --compile-bytecode "${groups[@]}"
fi

if ! "$PYTHON" -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
    echo "Wringout needs Python 3.11 or newer; $PYTHON is $("$PYTHON" --version 2>&1). Try: make PYTHON=python3.12 ..." >&2
    exit 2
fi
if [ ! -x "$venv/bin/python" ] || ! "$venv/bin/python" -m pip --version >/dev/null 2>&1; then
    if ! "$PYTHON" -m venv "$venv"; then
        echo "$PYTHON cannot make a virtual environment (on Debian and its kin: apt install python3-venv)." >&2
        exit 2
    fi
fi
pip=("$venv/bin/python" -m pip --disable-pip-version-check --quiet)
"${pip[@]}" install --require-hashes --requirement "requirements/$set.txt"
# The build backend came, with its hash, from the list above: no second, unlocked environment for the build.
"${pip[@]}" install --no-deps --no-build-isolation --no-index --editable .
