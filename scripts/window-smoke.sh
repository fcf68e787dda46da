#!/usr/bin/env bash
# Opens the real window on a screen that only exists in memory, uses it, looks at it, and closes it.
# Fails when the program ends early, shows nothing, prints a panic, or does not close when asked (Ctrl+Q).
# The last picture stays in target/window-smoke.png.
set -euo pipefail
cd "$(dirname "$0")/.."
# shellcheck source=scripts/needs.sh
. scripts/needs.sh
need_packages "${window_packages[@]}" "${screenless_packages[@]}"

target=${CARGO_TARGET_DIR:-target}
program="$target/debug/sparefield"
[ -x "$program" ] || cargo build --locked --quiet --package sparefield
picture="$target/window-smoke.png"
folder=$(mktemp -d)
screen_pid=
program_pid=
cleanup() {
    [ -n "$program_pid" ] && kill "$program_pid" 2>/dev/null || true
    [ -n "$screen_pid" ] && kill "$screen_pid" 2>/dev/null || true
    rm -rf "$folder"
}
trap cleanup EXIT
fail() {
    echo "window smoke run: $*" >&2
    [ -s "$folder/program.txt" ] && tail -n 30 "$folder/program.txt" >&2
    exit 1
}

# Xvfb chooses a free display number itself and writes it down once it is ready.
Xvfb -displayfd 3 -screen 0 1280x800x24 -nolisten tcp 3>"$folder/display" >"$folder/screen.txt" 2>&1 &
screen_pid=$!
for _ in $(seq 100); do
    [ -s "$folder/display" ] && break
    sleep 0.1
done
[ -s "$folder/display" ] || fail "Xvfb did not start: $(cat "$folder/screen.txt")"
DISPLAY=":$(cat "$folder/display")"
export DISPLAY
unset WAYLAND_DISPLAY
# OpenGL on the processor, whatever graphics card there is.
export LIBGL_ALWAYS_SOFTWARE=1
# Settings of whoever runs this stay untouched, and the first start is what is looked at.
mkdir -m 700 "$folder/runtime" "$folder/home"
export XDG_RUNTIME_DIR="$folder/runtime" XDG_CONFIG_HOME="$folder/home" XDG_DATA_HOME="$folder/home" \
    XDG_CACHE_HOME="$folder/home" XDG_STATE_HOME="$folder/home"

started=$(date +%s%N)
"$program" >"$folder/program.txt" 2>&1 &
program_pid=$!
running() { kill -0 "$program_pid" 2>/dev/null; }

window=
for _ in $(seq 600); do
    running || fail "the program ended before it showed a window"
    window=$(xdotool search --onlyvisible --name 'Sparefield' 2>/dev/null | head -n 1) && [ -n "$window" ] && break
    sleep 0.1
done
[ -n "$window" ] || fail "no window called Sparefield appeared within a minute"
echo "window after $((($(date +%s%N) - started) / 1000000)) ms"

# Number of distinct colours on the screen: an empty window has a handful, a map has thousands.
colours() {
    import -window root "$picture"
    identify -format '%k' "$picture"
}
seen=0
for _ in $(seq 60); do
    running || fail "the program ended while it was drawing"
    seen=$(colours)
    [ "$seen" -ge 500 ] && break
    sleep 0.5
done
[ "$seen" -ge 500 ] || fail "the window shows only $seen colours; see $picture"
echo "map after $((($(date +%s%N) - started) / 1000000)) ms ($seen colours)"

# Use it: pan, zoom, drag, keys. Without a window manager the focus has to be given by hand.
xdotool windowfocus "$window"
xdotool mousemove 500 400 sleep 0.2 mousedown 1 mousemove 560 430 sleep 0.1 mousemove 620 460 sleep 0.1 mouseup 1
xdotool mousemove 500 400 click 4 click 4 sleep 0.3 click 5 sleep 0.3
xdotool key plus minus Left Right Up Down Tab Tab Escape
sleep 1.5
running || fail "the program ended while it was being used"
seen=$(colours)
[ "$seen" -ge 500 ] || fail "after use the window shows only $seen colours; see $picture"

xdotool windowfocus "$window"
xdotool key ctrl+q
for _ in $(seq 100); do
    running || break
    sleep 0.1
done
running && fail "the program did not close on Ctrl+Q"
code=0
wait "$program_pid" || code=$?
program_pid=
[ "$code" -eq 0 ] || fail "the program closed with exit code $code"
if grep -qi 'panicked' "$folder/program.txt"; then
    fail "a panic was reported"
fi
echo "window smoke run passed; picture in $picture"
