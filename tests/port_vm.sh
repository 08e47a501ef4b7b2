#!/bin/sh
# Runs the tests of the true MIDI port on a machine that has none: in a small virtual machine with Debian's kernel
# and its virtual card snd-virmidi. About a minute. Works on Debian and its kin; needs the packages
# qemu-system-x86, busybox-static and dpkg, and downloads the package of the kernel into target/port_vm.
set -eu
cd "$(dirname "$0")/.."
work=target/port_vm
mkdir -p "$work"

if ! ls "$work"/kernel/boot/vmlinuz-* >/dev/null 2>&1; then
    package=$(apt-cache depends linux-image-amd64 | grep -o 'linux-image-[0-9][^ ]*amd64' | head -n 1)
    (cd "$work" && apt-get download "$package")
    dpkg-deb -x "$work/$package"_*.deb "$work/kernel"
fi

test_binary=$(cargo test --test it --no-run 2>&1 | sed -n 's/.*(\(.*\/it-[0-9a-f]*\)).*/\1/p')
root="$work/root"
rm -rf "$root"
mkdir -p "$root/bin" "$root/dev" "$root/proc" "$root/sys" "$root/tmp" "$root/modules"
strip -o "$root/bin/it" "$test_binary"
ldd "$test_binary" | grep -o '/[^ ]*' | while read -r library; do
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
if /bin/it --ignored --nocapture --test-threads 1 source::port; then echo 'PORT TESTS PASSED'; fi
poweroff -f
INIT
chmod +x "$root/init"
(cd "$root" && find . | busybox cpio -o -H newc 2>/dev/null | gzip) >"$work/initrd.gz"

timeout 300 qemu-system-x86_64 -m 1024 -nographic -no-reboot -kernel "$work"/kernel/boot/vmlinuz-* -initrd "$work/initrd.gz" \
    -append 'console=ttyS0 quiet panic=-1' </dev/null | tee "$work/log"
grep -q 'PORT TESTS PASSED' "$work/log"
