"""One stage of a recording against another."""

from __future__ import annotations

from dataclasses import replace

from gaugelog.analysis.comparison import compare
from gaugelog.analysis.neck_movement import neck_movement
from gaugelog.analysis.results import Comparison
from gaugelog.analysis.wet import compare_wet
from gaugelog.errors import BadArgumentError
from gaugelog.model.instrument import Instrument
from gaugelog.model.kinds import AFTER, BEFORE, WET
from gaugelog.review.standing import gauge_facts, setting_of
from gaugelog.store.reader import Recording


def compare_recorded(
    recording: Recording, instrument: Instrument, from_stage: str = BEFORE, to_stage: str = AFTER
) -> Comparison:
    """Return the comparison of two stages; of each, the last complete snapshot counts.

    What is known of a gauge is what its datasheet said last, so that one corrected in place counts for both stages.

    A wet check is compared in plain words, without verdicts: one placement each is no proof.

    Raises:
        BadArgumentError: the two stages are one.
        UnknownStageError: the recording has no snapshot of a stage.
    """
    if from_stage == to_stage:
        raise BadArgumentError(f"{from_stage} {to_stage}", "two different stages; a stage is always like itself")
    before, after = recording.snapshot(from_stage), recording.snapshot(to_stage)
    facts = gauge_facts(recording)
    if to_stage == WET:
        return compare_wet(instrument, before, after, gauges=facts)
    comparison = compare(instrument, before, after, gauges=facts)
    standing = setting_of(instrument, before, facts).figures
    movement = neck_movement(instrument, before, after, comparison, gauges=facts, standing=standing)
    return replace(comparison, movement=movement)
