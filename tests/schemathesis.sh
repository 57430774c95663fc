#!/usr/bin/env bash
# Holds a live server to its API description with schemathesis, as two roles. Makes a Python
# environment under target/ on the first run; what stands in it is pinned in
# tests/schemathesis/requirements.txt.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

python=${PYTHON:-python3}
environment=${CARGO_TARGET_DIR:-target}/schemathesis-venv
pinned=tests/schemathesis/requirements.txt
if ! cmp -s "$pinned" "$environment/installed.txt"; then
    if ! "$python" -c 'import venv, ensurepip' 2>/dev/null; then
        printf 'schemathesis.sh: needs Python 3 with venv; sudo apt install python3-venv\n' >&2
        exit 1
    fi
    rm -rf "$environment"
    "$python" -m venv "$environment"
    "$environment/bin/pip" install --quiet --disable-pip-version-check --no-input -r "$pinned"
    cp "$pinned" "$environment/installed.txt"
fi
SECONDCAN_SCHEMATHESIS=$(cd "$environment/bin" && pwd)/schemathesis
export SECONDCAN_SCHEMATHESIS
# With the whole workspace, so that what the other tests were built from is not built anew.
exec cargo test --workspace --locked --test schemathesis -- --include-ignored --nocapture
