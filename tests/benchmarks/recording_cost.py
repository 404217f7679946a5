"""What recording costs: eight gauges at fifty readings a second, as percent of a core.

Another process writes the lines of eight gauges into eight pseudo-terminals; this one does what `gaugelog clamp` does
without a screen: serial link, decoder, datasheet, clamp session, recording on disk. The processor time of this process
over the run, divided by the run's length. Beside it, in the same run, the same loop reading the same ports without
decoding or recording anything: what the system asks for the bytes alone.

Run: python tests/benchmarks/recording_cost.py [SECONDS]
"""

from __future__ import annotations

import asyncio
import os
import pty
import subprocess
import sys
import tempfile
import time
import tty
from pathlib import Path

GAUGES, RATE_HZ = 8, 50
WRITER = """
import os, sys, time
descriptors = [int(text) for text in sys.argv[2:]]
began, sent = time.monotonic(), 0
while time.monotonic() - began < float(sys.argv[1]):
    for place, descriptor in enumerate(descriptors):
        os.write(descriptor, b"+%6.2f deg \\r\\n" % (2.8 + 0.05 * ((sent * 7 + place) % 3)))
    sent += 1
    time.sleep(max(0.0, began + sent / RATE - time.monotonic()))
""".replace("RATE", str(RATE_HZ))


def open_ports() -> tuple[list[int], list[str], list[int]]:
    """Return the writing ends, the paths and the reading ends of eight pseudo-terminals in raw mode."""
    pairs = [pty.openpty() for _ in range(GAUGES)]
    for _, slave in pairs:
        tty.setraw(slave)
    return [master for master, _ in pairs], [os.ttyname(slave) for _, slave in pairs], [slave for _, slave in pairs]


def start_writer(masters: list[int], seconds: float) -> subprocess.Popen[bytes]:
    """Start the process that writes."""
    return subprocess.Popen([sys.executable, "-c", WRITER, str(seconds), *map(str, masters)], pass_fds=masters)


async def read_only(slaves: list[int], seconds: float) -> float:
    """Read the ports and throw the bytes away; return the share of a core."""
    loop = asyncio.get_running_loop()
    for slave in slaves:
        loop.add_reader(slave, os.read, slave, 4096)
    before = time.process_time()
    await asyncio.sleep(seconds)
    spent = time.process_time() - before
    for slave in slaves:
        loop.remove_reader(slave)
    return spent / seconds


async def record(folder: Path, paths: list[str], seconds: float) -> tuple[float, int]:
    """Record the ports as `gaugelog clamp` does; return the share of a core and the readings kept."""
    from gaugelog.gauges.listen import listen
    from gaugelog.instruments.new import new_instrument
    from gaugelog.instruments.read import read_instrument
    from gaugelog.recorder.attend import Attendance
    from gaugelog.recorder.clamping import ClampWork
    from gaugelog.recorder.work import open_work

    names = [f"gauge{place}" for place in range(GAUGES)]
    lines = "".join(f'{n} = "angle-line@serial:{p}?baud=115200"\n' for n, p in zip(names, paths, strict=True))
    text = new_instrument("benchmark", gauges="none").replace("[gauges]\n", "[gauges]\n" + lines)
    instrument = read_instrument(text, "the benchmark's instrument")
    with open_work(instrument, folder / "benchmark.gaugelog", "clamp") as work:
        session = ClampWork(work, tuple(names))
        attendance = Attendance()
        asyncio.get_running_loop().call_later(seconds, attendance.stop)
        before = time.process_time()
        await attendance.run(attendance.each(listen(work.streams(names, reconnect=False)), session.hear))
        return (time.process_time() - before) / seconds, session.readings


def main() -> None:
    """Print the shares and the readings kept."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 20.0
    masters, paths, slaves = open_ports()
    with tempfile.TemporaryDirectory() as folder:
        writer = start_writer(masters, seconds + 2)
        bare = asyncio.run(read_only(slaves, seconds))
        writer.wait()
        writer = start_writer(masters, seconds + 2)
        share, readings = asyncio.run(record(Path(folder), paths, seconds))
        writer.wait()
    for descriptor in (*masters, *slaves):
        os.close(descriptor)
    print(f"{GAUGES} gauges at {RATE_HZ} readings/s for {seconds:g} s: {readings} readings kept")
    print(f"recording {100 * share:.2f} % of a core, reading the bytes alone {100 * bare:.2f} %")
    print(f"ratio {share / bare:.1f}; {1e6 * share * seconds / max(readings, 1):.0f} µs a reading")


if __name__ == "__main__":
    main()
