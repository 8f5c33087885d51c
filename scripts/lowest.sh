#!/usr/bin/env bash
# The tests with the lowest versions that pyproject.toml allows, in an environment of their own (.venv-lowest).
# Only the packages named in pyproject.toml go down; what they bring along is as new as they take it.
set -euo pipefail
cd "$(dirname "$0")/.."
UV=${UV:-uv}
command -v "$UV" >/dev/null || { echo "make lowest wants uv: pip install uv" >&2; exit 2; }

venv=.venv-lowest
# beside a copy of the project file, so that the lock file of the project stays as it is
mkdir -p build/lowest
cp pyproject.toml README.md build/lowest/
"$UV" export --quiet --project build/lowest --resolution lowest-direct --python 3.11 --no-default-groups --group test \
    --no-emit-project --no-hashes --no-header --output-file build/lowest.txt >/dev/null
"$UV" venv --quiet --clear --python 3.11 "$venv"
"$UV" pip install --quiet --python "$venv/bin/python" --requirement build/lowest.txt
"$UV" pip install --quiet --python "$venv/bin/python" --no-deps --editable .
"$venv/bin/python" -m pytest -p no:cacheprovider "$@"
