#!/usr/bin/env bash
# Builds Sparefield where needed and opens it on the sample area; arguments are passed to the program.
#
#   scripts/run.sh                    the window, sample area
#   scripts/run.sh FILE…              the window on your own terrain and fields
#   scripts/run.sh rank --json        a subcommand without a window
#   scripts/run.sh --release …        an optimised build: some minutes longer to make, faster on large areas
#
# The ordinary build compiles the libraries and the computing core with optimisation already, so that the first map
# appears after one build, and the tests use the same build.
set -euo pipefail
cd "$(dirname "$0")/.."
# shellcheck source=scripts/needs.sh
. scripts/needs.sh

profile=()
folder=debug
if [ "${1:-}" = "--release" ]; then
    profile=(--release)
    folder=release
    shift
fi
need_rust
need_packages "${build_packages[@]}" "${window_packages[@]}"
target=${CARGO_TARGET_DIR:-target}
if [ ! -x "$target/$folder/sparefield" ]; then
    say "building Sparefield; the first build takes some ten minutes on two cores"
fi
cargo build --locked --package sparefield "${profile[@]}"
exec "$target/$folder/sparefield" "$@"
