#!/usr/bin/env bash
# Resolve the dependencies anew and export them, with hashes, for machines that have pip alone.
# Arguments go to `uv lock`, for example: lock.sh --upgrade-package numpy
set -euo pipefail
cd "$(dirname "$0")/.."
UV=${UV:-uv}
command -v "$UV" >/dev/null || { echo "make lock wants uv: pip install uv" >&2; exit 2; }

"$UV" lock "$@"
export_set() {
    name=$1; shift
    "$UV" export --quiet --frozen --no-emit-project --no-annotate --no-header --format requirements-txt "$@" \
        --output-file "requirements/$name.txt"
}
export_set run --no-default-groups --group build
export_set test --no-default-groups --group dev
export_set study --no-default-groups --group dev --group study

# The files are for everybody: the public index, and no other address.
if grep -HnE 'index-url|find-links|(https?|file)://' requirements/*.txt; then
    echo "lock.sh: an address has got into requirements/" >&2
    exit 1
fi
if grep -oE '(https?|file)://[^/"]+' uv.lock | grep -vxE 'https://(pypi\.org|files\.pythonhosted\.org)'; then
    echo "lock.sh: an address beside the public index has got into uv.lock" >&2
    exit 1
fi
