"""Which names a stage may have when a snapshot of it is begun."""

from __future__ import annotations

import difflib
import re
from contextlib import suppress
from pathlib import Path

from gaugelog.errors import NoRecordingError, StageNameError
from gaugelog.model.instrument import Instrument
from gaugelog.model.kinds import AFTER, BEFORE, SPOT, WET, is_stage_name
from gaugelog.store.reader import open_recording

_ALIKE = 0.75
_DIGITS = re.compile(r"\d+")


def check_stage(stage: str, instrument: Instrument, recording: Path) -> None:
    """Refuse what is no name of a stage, and a new one that looks like a slip of the finger.

    Names that differ by their number alone, such as day-1 and day-2, are meant as they are.

    Args:
        stage: as typed.
        instrument: its checkpoints name stages.
        recording: its snapshots do too, where it is there already.

    Raises:
        StageNameError: with what is wanted.
    """
    if stage == SPOT:
        raise StageNameError(stage, "spot readings belong to the clamp session: key r of gaugelog clamp")
    known = {BEFORE, WET, AFTER, *(each for point in instrument.checkpoints for each in point.stages)}
    with suppress(NoRecordingError), open_recording(recording) as source:
        known |= {snapshot.stage for snapshot in source.snapshots()}
    if stage in known:
        return
    if not is_stage_name(stage):
        raise StageNameError(stage, "small letters, digits and hyphens, such as after-sanding")
    unnumbered = _DIGITS.sub("", stage)
    others = [name for name in known if not (_DIGITS.search(stage) and _DIGITS.sub("", name) == unnumbered)]
    near = difflib.get_close_matches(stage, others, 1, _ALIKE)
    if near:
        raise StageNameError(stage, f"it is very like {near[0]!r}; for another stage, choose a name that differs more")
