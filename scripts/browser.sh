#!/usr/bin/env bash
# The browser of the browser tests: Debian's Chromium. Installs it where that is allowed, else says the one
# command that does, and fails: tests that need a browser are never passed by leaving them out.
set -eu

for name in "${CHROMIUM:-}" chromium chromium-browser; do
  if [ -n "$name" ] && command -v "$name" >/dev/null 2>&1; then
    exit 0
  fi
done

if command -v apt-get >/dev/null 2>&1 && [ "$(id -u)" = 0 ]; then
  echo "Installing Chromium for the browser tests." >&2
  export DEBIAN_FRONTEND=noninteractive
  apt-get update -qq
  apt-get install -y -qq --no-install-recommends chromium >/dev/null
  command -v chromium >/dev/null && exit 0
fi

cat >&2 <<'WORDS'
The browser tests need Chromium, and there is none. Install it with

    sudo apt-get install -y --no-install-recommends chromium

or name another one: make test CHROMIUM=/path/to/chromium
WORDS
exit 1
