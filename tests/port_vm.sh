#!/bin/sh
# Runs the tests of the true MIDI port, and those that mount a small disk or set the clock, on a machine where they cannot: in a small
# virtual machine with Debian's kernel and its virtual card snd-virmidi. Works on Debian and its kin, with the packages qemu-system-x86, busybox-static
# and dpkg; downloads the package of the kernel into target/port_vm.
#
#     sh tests/port_vm.sh [--release]     with the release build of the program: slower to make, and its times are those of a player
#
# Exit code 3: the virtual machine cannot be had here, and nothing was tested.
set -eu
cd "$(dirname "$0")/.."
profile=debug
[ "${1:-}" = --release ] && profile=release
work=target/port_vm
mkdir -p "$work"

unavailable() { echo "port_vm: the true MIDI port was NOT tested: $1" >&2; exit 3; }
for tool in qemu-system-x86_64 busybox dpkg-deb apt-get; do
    command -v "$tool" >/dev/null 2>&1 || unavailable "$tool is missing"
done
if ! ls "$work"/kernel/boot/vmlinuz-* >/dev/null 2>&1; then
    package=$(apt-cache depends linux-image-amd64 | grep -o 'linux-image-[0-9][^ ]*amd64' | head -n 1) || true
    [ -n "$package" ] || unavailable "this system has no package linux-image-amd64"
    (cd "$work" && apt-get download "$package") || unavailable "the package $package cannot be downloaded"
    dpkg-deb -x "$work/$package"_*.deb "$work/kernel"
fi

test_binary=$(cargo test --test it --no-run 2>&1 | sed -n 's/.*(\(.*\/it-[0-9a-f]*\)).*/\1/p')
cargo build --quiet $([ "$profile" = release ] && echo --release)
root="$work/root"
rm -rf "$root"
mkdir -p "$root/bin" "$root/dev" "$root/proc" "$root/sys" "$root/tmp" "$root/modules"
strip -o "$root/bin/it" "$test_binary"
# The tests start the program by the path that they were built with.
built="$PWD/target/debug/catchword"
mkdir -p "$root$(dirname "$built")"
strip -o "$root$built" "target/$profile/catchword"
for program in "$test_binary" "target/$profile/catchword"; do ldd "$program"; done | sort -u | grep -o '/[^ ]*' | while read -r library; do
    mkdir -p "$root$(dirname "$library")"
    cp -L "$library" "$root$library"
done
if [ -d /usr/share/alsa ]; then
    mkdir -p "$root/usr/share"
    cp -r /usr/share/alsa "$root/usr/share/"
fi
cp "$(command -v busybox)" "$root/bin/busybox"

modules="soundcore snd snd-timer snd-seq-device snd-seq snd-rawmidi snd-seq-midi-event snd-seq-virmidi snd-virmidi"
for module in $modules; do
    find "$work/kernel/lib/modules" -name "$module.ko" -exec cp {} "$root/modules/" \;
done
cat >"$root/init" <<INIT
#!/bin/busybox sh
/bin/busybox --install -s /bin
mount -t proc proc /proc
mount -t sysfs sys /sys
mount -t devtmpfs dev /dev
for module in $modules; do insmod /modules/\$module.ko; done
sleep 1
cd /tmp
if /bin/it --ignored --nocapture --test-threads 1 source::port faults::port faults::tones faults::times && /bin/it --test-threads 1 faults::disk::on_a_full faults::disk::a_data_folder; then echo 'PORT TESTS PASSED'; fi
poweroff -f
INIT
chmod +x "$root/init"
(cd "$root" && find . | busybox cpio -o -H newc 2>/dev/null | gzip) >"$work/initrd.gz"

timeout 400 qemu-system-x86_64 -accel tcg -smp 2 -m 1024 -nographic -no-reboot -kernel "$work"/kernel/boot/vmlinuz-* -initrd "$work/initrd.gz" \
    -append 'console=ttyS0 quiet panic=-1' </dev/null | tee "$work/log"
grep -q 'PORT TESTS PASSED' "$work/log"
