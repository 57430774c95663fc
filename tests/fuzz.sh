#!/usr/bin/env bash
# Fuzzes each reader of measurement files for as many seconds as asked (60),
# beginning from files of our own writers: no panic, no hang, bounded memory.
# Where there is no nightly compiler or no cargo-fuzz it says so and does
# nothing; the tests of the color package mutate the same files on any compiler.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

seconds=${1:-60}
if ! rustup run nightly rustc --version >/dev/null 2>&1; then
    echo 'no fuzzing: there is no nightly compiler (rustup toolchain install nightly)'
    exit 0
fi
if ! command -v cargo-fuzz >/dev/null; then
    echo 'no fuzzing: cargo-fuzz is not installed (cargo install cargo-fuzz)'
    exit 0
fi

scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
cargo run --quiet --locked -p secondcan-color --example exchange_seeds -- "$scratch"
for target in csv iso28178 iso17972; do
    printf '\n%s, %s s\n' "$target" "$seconds"
    # The corpus that earlier runs found stays in color/fuzz/corpus.
    mkdir -p "color/fuzz/corpus/$target"
    cargo +nightly fuzz run --fuzz-dir color/fuzz "$target" \
        "color/fuzz/corpus/$target" "$scratch/$target" -- \
        -max_total_time="$seconds" -max_len=65536 -timeout=10 -rss_limit_mb=2048 \
        -print_final_stats=1 -verbosity=0
done
