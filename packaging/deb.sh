#!/bin/sh
# Makes a Debian package of a built program, with its manual pages, completions and licences:
#
#     cargo build --release && sh packaging/deb.sh
#     sh packaging/deb.sh PROGRAM DIRECTORY        another build, put elsewhere than target/debian
#
# Needs dpkg-deb (part of every Debian); where dpkg-shlibdeps (package dpkg-dev) is there, it says which libraries are needed.
set -eu
cd "$(dirname "$0")/.."
program=${1:-target/release/catchword}
out=${2:-target/debian}

[ -x "$program" ] || { echo "deb: no program at $program; build it first: cargo build --release" >&2; exit 1; }
command -v dpkg-deb >/dev/null 2>&1 || { echo "deb: dpkg-deb is not here; this makes packages on Debian and its kin" >&2; exit 1; }

key() { sed -n "s/^$1 = \"\(.*\)\"\$/\1/p" Cargo.toml | head -n 1; }
version=$(key version)
architecture=$(dpkg --print-architecture)

stage=$(mktemp -d)
trap 'rm -rf "$stage"' EXIT INT TERM
root=$stage/root
share=$root/usr/share
doc=$share/doc/catchword
# Modes of a package do not depend on who makes it.
umask 022
mkdir -p "$root/usr/bin" "$root/DEBIAN" "$share/man/man1" "$doc" \
    "$share/bash-completion/completions" "$share/zsh/vendor-completions" "$share/fish/vendor_completions.d"

install -m 755 "$program" "$root/usr/bin/catchword"
! command -v strip >/dev/null 2>&1 || strip "$root/usr/bin/catchword"
"$program" manual "$share/man/man1"
gzip -9n "$share"/man/man1/*
"$program" completions bash >"$share/bash-completion/completions/catchword"
"$program" completions zsh >"$share/zsh/vendor-completions/_catchword"
"$program" completions fish >"$share/fish/vendor_completions.d/catchword.fish"
"$program" config --reference >"$doc/config.toml"
cp README.md "$doc/README.md"
{
    cat LICENSE
    printf '\n\nThe letters of the screen are drawn from a font under the SIL Open Font License:\n\n'
    cat src/tui/widget/font/OFL.txt
    printf '\n\nLibraries that are part of the program, with their licences:\n\n'
    cat packaging/licences.txt
} >"$doc/copyright"

depends="libc6, libasound2 | libasound2t64"
if command -v dpkg-shlibdeps >/dev/null 2>&1; then
    mkdir "$stage/debian"
    printf 'Source: catchword\n\nPackage: catchword\nArchitecture: any\n' >"$stage/debian/control"
    found=$(cd "$stage" && dpkg-shlibdeps -O root/usr/bin/catchword 2>/dev/null | sed -n 's/^shlibs:Depends=//p')
    depends=${found:-$depends}
fi
{
    echo "Package: catchword"
    echo "Version: $version"
    echo "Architecture: $architecture"
    echo "Maintainer: The Catchword authors <catchword@localhost>"
    echo "Installed-Size: $(du -sk "$root/usr" | cut -f 1)"
    echo "Depends: $depends"
    echo "Section: sound"
    echo "Priority: optional"
    echo "Description: practise a piece from memory"
    echo " Listens to an instrument over MIDI while a piece is played from memory, follows"
    echo " where the player is, and says the one cue that comes next, only when it is needed."
} >"$root/DEBIAN/control"

mkdir -p "$out"
package=$out/catchword_${version}_$architecture.deb
dpkg-deb --root-owner-group --build "$root" "$package" >/dev/null
echo "$package"
