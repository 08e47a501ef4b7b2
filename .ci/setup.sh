#!/bin/sh
# Installs what the build needs beyond Rust: a C compiler, pkg-config and, on Linux, the ALSA headers for MIDI ports.
# Does nothing where all is there. Knows apt, dnf, pacman and brew; says what to install elsewhere.
set -eu

has() { command -v "$1" >/dev/null 2>&1; }
as_root() { if [ "$(id -u)" = 0 ]; then "$@"; elif has sudo; then sudo "$@"; else echo "setup: needs root to run: $*" >&2; exit 1; fi; }

rust_missing() {
    has cargo && return 1
    echo "setup: Rust is not installed (cargo not found)." >&2
    return 0
}

system_ready() {
    has cc || return 1
    [ "$(uname -s)" = Linux ] || return 0
    has pkg-config && pkg-config --exists alsa
}

if ! system_ready; then
    case "$(uname -s)" in
        Linux)
            if has apt-get; then
                as_root apt-get update -qq
                as_root apt-get install -y -qq --no-install-recommends gcc libc6-dev pkg-config libasound2-dev >/dev/null
            elif has dnf; then
                as_root dnf install -y -q gcc pkgconf-pkg-config alsa-lib-devel
            elif has pacman; then
                as_root pacman -S --needed --noconfirm gcc pkgconf alsa-lib
            else
                echo "setup: install a C compiler, pkg-config and the ALSA development files, then run this again." >&2
                echo "setup: or build without MIDI ports: cargo run --release --no-default-features -- demo" >&2
                exit 1
            fi
            ;;
        Darwin)
            echo "setup: install the command line tools first: xcode-select --install" >&2
            exit 1
            ;;
    esac
fi

if rust_missing; then
    if has apt-get; then
        echo "setup: Debian's own Rust is older than this program needs; install it with rustup (package rustup, then: rustup default stable)." >&2
    elif has brew; then
        brew install rust
        exit 0
    else
        echo "setup: install it with rustup, then run this again." >&2
    fi
    exit 1
fi
