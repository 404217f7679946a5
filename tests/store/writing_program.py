"""A program that writes a recording until it is stopped; it prints each placement once it is acknowledged.

Run: python writing_program.py RECORDING [LARGEST_FILE_BYTES]. All values are invented.
"""

from __future__ import annotations

import resource
import signal
import sys
import time
from pathlib import Path

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.errors import WriteFailedError
from gaugelog.model.clock import Anchor
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.placement import Placement, Settled
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Heard, Reading
from gaugelog.store.writer import RecordingWriter

ANCHOR = Anchor(0, 1_700_000_000_000_000)


def heard(place: int) -> Heard:
    time_ns = place * 100_000_000
    text = f"{2.8 + 0.05 * (place % 7):.2f}"
    reading = Reading(time_ns, "neck", Quantity.ANGLE, float(text), text, "deg", 0.05)
    return Heard("neck", Chunk(time_ns, text.encode()), (reading,))


def typed(place: int) -> Placement:
    return Placement(
        "centreline", Quantity.LENGTH, place / 4, f"{place / 4}", "mm", 0.25, Settled.TYPED, place * 100_000_000
    )


def fill(writer: RecordingWriter, *, limit: int = sys.maxsize) -> None:
    """Write a second of readings and a placement, again and again, saying what was kept and committed."""
    snapshot = writer.snapshot("before")
    for place in range(limit):
        writer.hear(heard(place))
        writer.keep_up(place * 100_000_000)
        if place % 10 == 9:
            kept = writer.place(snapshot.id, typed(place))
            print(kept.id, place / 4, place + 1, flush=True)


def main() -> None:
    """Write until killed, or until the file may grow no more."""
    writer = RecordingWriter.open(Path(sys.argv[1]), anchor=ANCHOR, command="clamp")
    writer.put_gauge(NamedGauge("neck", parse_gauge("angle-line@typed:", "neck")), find_datasheet("angle-line"))
    if len(sys.argv) == 2:
        fill(writer)
        return
    if sys.argv[2] == "hold":
        print("open", flush=True)
        time.sleep(60)
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), hard))
    try:
        fill(writer)
    except WriteFailedError:
        print("full", flush=True)
    resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
    kept = writer.place(writer.snapshot("before").id, typed(1))
    print(kept.id, 0.25, 0, flush=True)
    writer.finish()


if __name__ == "__main__":
    main()
