#!/usr/bin/env bash
# Installs what is missing, then runs every check of the project; the first failure ends it.
# On a fresh two-core machine the whole takes about half an hour, most of it the first build of the libraries.
set -euo pipefail
cd "$(dirname "$0")/.."
# shellcheck source=scripts/needs.sh
. scripts/needs.sh

need_rust
need_packages "${build_packages[@]}" "${window_packages[@]}" "${vulkan_packages[@]}" "${screenless_packages[@]}"
# Pictures and timings must not depend on which graphics card is there: always the processor's Vulkan.
for driver in /usr/share/vulkan/icd.d/lvp_icd.*.json; do
    [ -f "$driver" ] && export VK_DRIVER_FILES="$driver" VK_ICD_FILENAMES="$driver"
done
export WGPU_BACKEND=vulkan
target=${CARGO_TARGET_DIR:-target}
mkdir -p "$target"
log="$target/test-log.txt"

say "formatting"
cargo fmt --all --check
say "lints"
cargo clippy --workspace --all-targets --locked --quiet -- -D warnings
say "tests"
cargo test --workspace --locked 2>&1 | tee "$log"
say "documentation"
RUSTDOCFLAGS="-D warnings" cargo doc --workspace --no-deps --locked --quiet
say "command line"
scripts/command-line.sh
say "window"
scripts/window-smoke.sh

say "all checks passed"
grep -h '^test result:' "$log" |
    awk '{ passed += $4; failed += $6; ignored += $8 } END { printf "test result: ok. %d passed; %d failed; %d ignored\n", passed, failed, ignored }'
