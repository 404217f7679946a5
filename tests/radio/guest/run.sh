#!/bin/sh
# Run the radio tests of this checkout on the whole radio: a guest system in which bleak's own BlueZ backend, a D-Bus
# daemon, bluetoothd and the Linux kernel are real. README.md beside this file says how and why.
#
#   sh run.sh VENV [PYTEST-ARGUMENT…]
#
# VENV is the Python environment in which gaugelog's tests run. What follows it goes to pytest (such as -k reconnect).
# RADIO_GUEST_WORK   folder for what is fetched, never inside the checkout (default: the user's cache folder)
# RADIO_GUEST_LIMIT  seconds that booting and testing may take (default: 480)
set -eu

say() { echo "radio guest: $*"; }
fail() { say "FAILED: $*" >&2; exit 1; }

[ $# -ge 1 ] || fail "which Python environment? Say: sh run.sh VENV"
here=$(cd "$(dirname "$0")" && pwd -P)
checkout=$(cd "$here/../../.." && pwd -P)
# Not resolved to the end: an environment is known by the path of its own python.
venv=$(cd "$1" 2>/dev/null && pwd) || fail "there is no folder $1"
python=$venv/bin/python
[ -x "$python" ] || fail "there is no $python"
shift
"$python" -c 'import bleak, bumble, pytest' || fail "$venv lacks what the tests need: pip install '.[test]' there first"

work=${RADIO_GUEST_WORK:-${XDG_CACHE_HOME:-${HOME:-/tmp}/.cache}/gaugelog-radio-guest}
limit=${RADIO_GUEST_LIMIT:-480}
work=$(realpath -m "$work")
case $work/ in "$checkout"/*) fail "$work lies inside the checkout; name another folder by RADIO_GUEST_WORK" ;; esac
mkdir -p "$work"

began=$(date +%s)
sh "$here/fetch.sh" "$work"
tools=$work/tools
out=$(mktemp -d "${TMPDIR:-/tmp}/radio-guest.XXXXXX")
trap 'rm -rf "$out"' EXIT
trap 'exit 130' INT TERM
"$python" "$here/initrd.py" "$work" "$here/init" "$out/initrd.gz"

# The host's own programs and the fetched ones become one /usr in the guest; all else keeps its path.
"$python" "$here/shares.py" "$checkout" "$venv" >"$out/shares"
"$python" - "$checkout" "$python" "$@" >"$out/task" <<'TASK'
import shlex, sys
checkout, python, *arguments = sys.argv[1:]
print(f"checkout={shlex.quote(checkout)}\npython={shlex.quote(python)}\nset -- {shlex.join(arguments)}")
TASK

share() { # PATH TAG ACCESS: let the guest mount a folder
    shared="local,path=$(printf %s "$1" | sed 's/,/,,/g'),mount_tag=$2,security_model=none,multidevs=remap$3"
}
set --
share "$out" out ""
set -- "$@" -virtfs "$shared"
share /usr usr ",readonly=on"
set -- "$@" -virtfs "$shared"
share "$tools/usr" tools ",readonly=on"
set -- "$@" -virtfs "$shared"
while read -r tag folder; do
    share "$folder" "$tag" ",readonly=on"
    set -- "$@" -virtfs "$shared"
done <"$out/shares"

# -icount: the guest's clock counts its own instructions, a nanosecond each, and skips what time nothing is done in. So a
# slow or busy host makes the run longer but no test late, and waiting costs nothing. nohz=off: it skips at most 4 ms at
# once (inside.sh has it skip even less).
say "booting; the tests take 3 to 4 minutes (limit $limit s)"
libraries=$(find "$tools/usr/lib" -maxdepth 1 -type d -name '*-linux-gnu' | head -n 1)
qemu=$tools/usr/bin/qemu-system-x86_64
[ -x "$qemu" ] || qemu=$(command -v qemu-system-x86_64) || fail "there is no qemu-system-x86_64; remove $work and run again"
ended=0
LD_LIBRARY_PATH="$libraries${LD_LIBRARY_PATH:+:$LD_LIBRARY_PATH}" timeout --foreground -k 10 "$limit" "$qemu" \
    -L "$tools/usr/share/qemu" -L "$tools/usr/share/seabios" -L "$tools/usr/lib/ipxe/qemu" \
    -machine q35,accel=tcg -cpu max -smp 1 -icount shift=0,sleep=off -m 1024 \
    -nodefaults -no-user-config -no-reboot -display none -serial stdio \
    -kernel "$work/vmlinuz" -initrd "$out/initrd.gz" \
    -append "console=ttyS0 quiet loglevel=4 panic=-1 random.trust_cpu=on nohz=off" \
    "$@" </dev/null || ended=$?
[ "$ended" != 124 ] || say "stopped after $limit s (RADIO_GUEST_LIMIT gives it longer)" >&2
[ "$ended" = 0 ] || [ "$ended" = 124 ] || say "qemu ended with $ended" >&2

if ! verdict=$("$python" "$here/verdict.py" "$out"); then
    for log in bluetoothd dbus; do
        [ -s "$out/$log.log" ] || continue
        echo "--- the last of $log.log"
        # Not the complaints of each new adapter, which are wanted (see init) or mean nothing here.
        grep -v -i -e /var/lib/bluetooth -e '\bsap\b' -e 'failed to init' "$out/$log.log" | tail -n 25
    done
    fail "$verdict"
fi
say "$verdict, after $(($(date +%s) - began)) s in all"
