#!/usr/bin/env bash
# Installs what the scripts of tests/outside/programs/ need, pinned with digests,
# into target/outside/python. Does nothing where it is there already.
set -euo pipefail
cd "$(dirname "$0")/.."
wanted=tests/outside/programs/requirements.txt
place=target/outside/python
if cmp -s "$wanted" "$place/complete"; then
    exit 0
fi
rm -rf "$place"
mkdir -p target/outside
# The system's own: one that another tool put in front may lack what wheels need.
python=/usr/bin/python3
[ -x "$python" ] || python=python3
"$python" -m venv "$place"
"$place/bin/pip" install --quiet --disable-pip-version-check --require-hashes --only-binary :all: -r "$wanted"
cp "$wanted" "$place/complete"
