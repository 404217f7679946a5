#!/bin/sh
# Put into a work folder what the guest needs and this machine lacks: unpacked, not installed.
#
#   sh fetch.sh WORK
#
# Afterwards WORK has vmlinuz, modules/ (in the order in which to load them) and tools/usr (QEMU, BlueZ, D-Bus, busybox).
set -eu

say() { echo "radio guest: $*"; }
fail() { say "FAILED: $*" >&2; exit 1; }

here=$(cd "$(dirname "$0")" && pwd -P)
cd "$1"
exec 9>lock
flock 9 # two runs at once fetch once

made_by=$(cat "$here/fetch.sh" "$here/modules.py" | sha256sum)
[ "$(cat complete 2>/dev/null)" != "$made_by" ] || exit 0

[ "$(dpkg --print-architecture 2>/dev/null)" = amd64 ] || fail "only Debian on amd64 can fetch the guest's parts"
rm -rf complete debs unpacked modules tools vmlinuz
mkdir debs unpacked

if [ "$(id -u)" = 0 ]; then
    say "asking what packages there are"
    apt-get update -qq || fail "apt-get update failed: is there a network, and are the sources right?"
fi
kernel=$(apt-cache depends linux-image-amd64 | awk '/Depends: linux-image-/ {print $2; exit}')
[ -n "$kernel" ] || fail "apt knows no kernel (linux-image-amd64): run apt-get update as root"
# What apt would install anew; what is installed already is used as it is.
plan=$(apt-get install -s --no-install-recommends qemu-system-x86 bluez dbus busybox-static) ||
    fail "apt can't tell what QEMU and BlueZ need (see above)"
lacking=$(echo "$plan" | awk '/^Inst/ && $3 !~ /^\[/ {print $2}')
say "fetching $kernel and" $lacking
(cd debs && apt-get download -qq -o APT::Sandbox::User=root "$kernel" $lacking) ||
    fail "a package could not be fetched (see above): run it again"
say "fetched $(du -sm debs | cut -f1) MB; unpacking"

dpkg-deb -x debs/"$kernel"_*.deb unpacked
rm debs/"$kernel"_*.deb
mv unpacked/boot/vmlinuz-* vmlinuz
python3 "$here/modules.py" unpacked modules
rm -rf unpacked

mkdir -p tools/usr
for folder in bin sbin lib lib64; do # one tree, wherever a package still puts its files
    mkdir "tools/usr/$folder"
    ln -s "usr/$folder" "tools/$folder"
done
for package in debs/*.deb; do
    [ -e "$package" ] || continue
    dpkg-deb --fsys-tarfile "$package" | tar -x --keep-directory-symlink --no-same-owner -C tools ||
        fail "$package could not be unpacked: is the disk full?"
done
rm -rf debs tools/usr/share/doc tools/usr/share/locale tools/usr/share/man
echo "$made_by" >complete
say "unpacked: $(du -sm . | cut -f1) MB in $PWD"
