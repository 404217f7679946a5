"""A placement read again from its bytes, through a corrected datasheet.

Here: the same window, the same median, other readings. Not here: keeping the outcome beside the old one (`store`).
"""

from __future__ import annotations

from collections.abc import Mapping

from gaugelog.capture.placing import placement_of
from gaugelog.capture.steady import Window
from gaugelog.datasheets.meaning import redecode
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.instrument import Checkpoint
from gaugelog.model.placement import Part, Placement
from gaugelog.model.readings import SAYS_NOTHING, Reading


def part_again(part: Part, datasheet: Datasheet) -> Part | None:
    """Return a part as `datasheet` reads its bytes, None where no reading comes of them."""
    heard = redecode(datasheet, part.raw, part.gauge)
    readings = [item for each in heard for item in each.items if isinstance(item, Reading)]
    readings = [reading for reading in readings if not reading.flags & SAYS_NOTHING]
    before = [reading for reading in readings if reading.time_ns <= part.start_ns]
    within = [reading for reading in readings if part.start_ns < reading.time_ns <= part.end_ns]
    counting = tuple(before[-1:] + within)
    if not counting:
        return None
    return Window(counting, part.raw, part.start_ns, part.end_ns, datasheet.sends).part(part.role)


def placement_again(
    placement: Placement, checkpoint: Checkpoint, datasheets: Mapping[str, Datasheet]
) -> Placement | None:
    """Return a placement as the datasheets of its gauges read its bytes now; None where nothing can be read.

    Args:
        placement: with the raw bytes of its parts.
        checkpoint: where it was taken.
        datasheets: by the gauge's short name; a part whose gauge is missing here stays as it is.
    """
    if not placement.parts:
        return None
    parts = [part_again(part, datasheets[part.gauge]) if part.gauge in datasheets else part for part in placement.parts]
    if any(part is None for part in parts):
        return None
    return placement_of(
        checkpoint, tuple(part for part in parts if part is not None), placement.settled, placement.time_ns
    )
