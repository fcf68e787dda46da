#!/usr/bin/env bash
# Runs the built program without a window, as a user would type it: on the sample area, from an empty folder, and
# with mistakes that must be answered with the right exit code.
set -euo pipefail
cd "$(dirname "$0")/.."
target=$(cd "${CARGO_TARGET_DIR:-target}" && pwd)
cargo build --locked --quiet --package sparefield
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cp "$target/debug/sparefield" "$folder/"
cd "$folder"

expect() { # expect CODE ARGUMENTS…
    local wanted=$1 code=0
    shift
    ./sparefield "$@" >out.txt 2>err.txt || code=$?
    if [ "$code" -ne "$wanted" ]; then
        echo "sparefield $* gave exit code $code, not $wanted:" >&2
        cat out.txt err.txt >&2
        exit 1
    fi
    printf 'ok (%s): sparefield %s\n' "$code" "$*"
}

expect 0 --help
expect 0 rank
cat out.txt
expect 0 rank --json
expect 0 rank --height 1500ft --heading 240 --wind 250/12 --json
expect 0 reach --height 1500ft --out reach.tif --rings rings.geojson --json
[ -s reach.tif ] && [ -s rings.geojson ]
expect 0 suggest --ignore-fields --within 1km --out suggested.geojson
[ -s suggested.geojson ]
expect 2 rank --height 12parsecs
expect 2 rank --wind 250/120kt
expect 2 rank --at 10,10
expect 2 rank --terrain missing.tif
expect 2 fly
