# Sourced by the other scripts: finds what is missing on this machine and installs it, saying so.
# Needs Debian or a relative of it (apt-get); elsewhere it names what is missing and stops.

say() { printf '\n== %s\n' "$*"; }

# Rust: cargo must be on the path; the pinned toolchain is fetched by rustup when it is first used.
need_rust() {
    if ! command -v cargo >/dev/null 2>&1 && [ -f "${CARGO_HOME:-$HOME/.cargo}/env" ]; then
        # shellcheck disable=SC1091
        . "${CARGO_HOME:-$HOME/.cargo}/env"
    fi
    if ! command -v cargo >/dev/null 2>&1; then
        echo "There is no Rust toolchain (cargo) on this machine. Install one from https://rustup.rs and run this again." >&2
        exit 1
    fi
}

# Installs the Debian packages among the arguments that are not installed yet.
need_packages() {
    if ! command -v dpkg-query >/dev/null 2>&1; then
        echo "Not a Debian-like machine; make sure that the equivalents of these packages are installed: $*" >&2
        return 0
    fi
    local missing=() package
    for package in "$@"; do
        dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || missing+=("$package")
    done
    [ ${#missing[@]} -eq 0 ] && return 0
    local as_root=()
    if [ "$(id -u)" -ne 0 ]; then
        if ! command -v sudo >/dev/null 2>&1; then
            echo "These packages are missing and only root can install them: ${missing[*]}" >&2
            exit 1
        fi
        as_root=(sudo)
    fi
    say "installing ${missing[*]}"
    "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get update -qq
    "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}" \
        >/dev/null
}

# To build: PROJ is compiled from source (cmake, a C++ compiler) and makes its database with the sqlite3 program.
# Gamepads are read through libudev.
build_packages=(cmake g++ make pkg-config sqlite3 ca-certificates libudev-dev)
# To open a window: the X11 and Wayland client libraries are loaded when the program starts, and OpenGL draws; its
# drivers include one that computes on the processor, for machines without a graphics card. libudev finds gamepads.
window_packages=(libx11-6 libx11-xcb1 libxcb1 libxcursor1 libxi6 libxkbcommon0 libxkbcommon-x11-0
    libwayland-client0 libwayland-egl1 libegl1 libgl1 libgl1-mesa-dri libudev1)
# Vulkan on the processor: with it the interface tests draw their pictures.
vulkan_packages=(libvulkan1 mesa-vulkan-drivers)
# To look at a window without a screen.
screenless_packages=(xvfb xdotool imagemagick x11-utils)
