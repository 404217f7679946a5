"""Run as a program: it drives the real writer as fast as it goes, and says what is kept once it is. Values invented.

Run: python writing.py RECORDING WHAT [COUNT [patient]]. A line begins with what it says:

- `placed TEXT`: the placement is kept; `stored N`: N readings of this sitting are kept
- `gathering`: the next commit gathers small blocks into a large one
- `finishing` before, `finished` after the end that leaves one plain file
- `begun`: it holds the recording; `full`: there is no room, and it tries again once a line comes in

WHAT is

- `mixed`: readings, placements, gathering, COUNT times, then the end; `slowly`: the same with pauses
- `gather`: many readings at once, for ever
- `finish`: COUNT thousand readings, then the end
- `hold`: nothing

A patient one waits for a line where there is no room, and before the end of `finish` and `hold`. Each reads its own
recording once it has begun, as the clamp session does.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.errors import WriteFailedError
from gaugelog.model.clock import Anchor
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.placement import Placement, Settled
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Heard, Reading
from gaugelog.store.reader import open_recording
from gaugelog.store.writer import RecordingWriter

SECOND_NS = 10**9
ANCHOR = Anchor(0, 1_700_000_000_000_000)


def reading(place: int, time_ns: int) -> Reading:
    """Return what the gauge says."""
    text = f"{2.8 + 0.05 * ((place * 2654435761 >> 9) % 97):.2f}"
    return Reading(time_ns, "neck", Quantity.ANGLE, float(text), text, "deg", 0.05)


def typed(text: str, time_ns: int) -> Placement:
    """Return a placement typed at the bench."""
    return Placement("clearance-bass", Quantity.LENGTH, float(text), text, "mm", 0.05, Settled.TYPED, time_ns)


def begun(path: Path, anchor: Anchor = ANCHOR) -> RecordingWriter:
    """Open the writer, with its gauge; the sitting is called by its moment, so that it can be told from the others."""
    writer = RecordingWriter.open(path, anchor=anchor, command=f"drive {anchor.utc_us}")
    writer.put_gauge(NamedGauge("neck", parse_gauge("angle-line@typed:", "neck")), find_datasheet("angle-line"))
    return writer


class Driver:
    """Hands readings to the writer, many to each second of its clock."""

    def __init__(self, writer: RecordingWriter, *, quiet: bool = False, patient: bool = False) -> None:
        self.writer, self.second, self.readings = writer, 0, 0
        self._quiet, self._patient = quiet, patient

    def say(self, *words: object) -> None:
        """Print a line at once, unless it is to be quiet."""
        if not self._quiet:
            print(*words, flush=True)

    def hear(self, count: int) -> None:
        """Let a second pass with so many readings, and have them stored."""
        first_ns = self.second * SECOND_NS
        heard = tuple(reading(self.readings + n, first_ns + n * (SECOND_NS // count)) for n in range(count))
        self.writer.hear(Heard("neck", Chunk(heard[-1].time_ns, b""), heard))
        self.second += 1
        self.readings += count
        if self.writer._streams["neck"].merge_is_due(self.second * SECOND_NS):
            self.say("gathering")
        self.until_there_is_room(lambda: self.writer.keep_up(self.second * SECOND_NS))
        self.say("stored", self.readings)

    def until_there_is_room(self, store: Callable[[], object]) -> None:
        """Store something; a patient driver tries again where there is no room."""
        while True:
            try:
                store()
                return
            except WriteFailedError:
                if not self._patient:
                    raise
            self.say("full")
            sys.stdin.readline()


def main() -> None:
    """Write until killed, or to the end."""
    path, what = Path(sys.argv[1]), sys.argv[2]
    count = int(sys.argv[3]) if len(sys.argv) > 3 else 0
    anchor = Anchor(0, time.time_ns() // 1000)
    with begun(path, anchor) as writer:
        driver = Driver(writer, patient="patient" in sys.argv)
        open_recording(path).check()
        driver.say("begun")
        snapshot = writer.snapshot("before").id if what in ("mixed", "slowly") else 0
        while what == "gather":
            driver.hear(1500)
        for number in range(count):
            driver.hear(1000 if what == "finish" else 2000)
            if what == "slowly":
                time.sleep(0.03)
            if what in ("mixed", "slowly"):
                text = f"{anchor.utc_us % 10**9}.{number:04}"
                placement = typed(text, driver.second * SECOND_NS)
                driver.until_there_is_room(partial(writer.place, snapshot, placement))
                driver.say("placed", text)
        driver.say("finishing")
        if what in ("hold", "finish") and "patient" in sys.argv:
            sys.stdin.readline()
    driver.say("finished")


if __name__ == "__main__":
    main()
