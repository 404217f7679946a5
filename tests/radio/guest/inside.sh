#!/bin/sh
# Inside the guest, in the host's own folders: start D-Bus and bluetoothd, then run the tests. Their output goes to the
# console, what pytest counted to /out/results.xml and its exit status to /out/status.
export PATH=/usr/local/bin:/usr/bin:/usr/sbin HOME=/root LANG=C.UTF-8
lost() { echo "radio guest: FAILED inside: $*"; exit 1; }
within_10_s() { # COMMAND…: try until it works
    tries=0
    until "$@" >/dev/null 2>&1; do
        tries=$((tries + 1))
        [ $tries -lt 100 ] || return 1
        sleep 0.1
    done
}
echo "radio guest: Linux $(uname -r) is up after $(cut -d' ' -f1 /proc/uptime) s"
[ -c /dev/vhci ] || lost "there is no /dev/vhci"

# Whoever is in this system may do everything.
cat >/run/bus.conf <<'BUS'
<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>system</type>
  <listen>unix:path=/run/dbus/system_bus_socket</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*"/><allow receive_sender="*"/><allow own="*"/><allow user="*"/>
  </policy>
</busconfig>
BUS
dbus-daemon --config-file=/run/bus.conf --nofork >/out/dbus.log 2>&1 &
within_10_s test -S /run/dbus/system_bus_socket || lost "the D-Bus daemon does not start"
/usr/libexec/bluetooth/bluetoothd -n >/out/bluetoothd.log 2>&1 &
within_10_s dbus-send --system --print-reply --dest=org.bluez / org.freedesktop.DBus.Introspectable.Introspect ||
    lost "bluetoothd does not start"

. /out/task
cd "$checkout" || lost "there is no $checkout"
# The guest's clock runs ahead while it waits for the host (a file to be opened); with something to do each millisecond
# it runs only some ten times too fast then, which no test notices.
"$python" -I -S -c 'from time import sleep
while True: sleep(0.001)' &
export GAUGELOG_RADIO=bluez PYTHONPATH="$checkout"
"$python" -m pytest tests/radio -p no:cacheprovider -p no:hypothesispytest --timeout 60 --tb=short --color=no -rs \
    --durations=5 --junitxml=/out/results.xml "$@"
echo $? >/out/status
echo "radio guest: done after $(cut -d' ' -f1 /proc/uptime) s"
