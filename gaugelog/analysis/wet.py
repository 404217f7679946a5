"""The check while the glue is open: one placement a checkpoint, in plain words at once.

Here: how far each is from before, and whether to look. Not here: verdicts; a neck in wet glue still moves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from gaugelog.analysis import rules
from gaugelog.analysis.comparison import Gauges, compare
from gaugelog.analysis.reasons import amount
from gaugelog.analysis.results import CheckpointComparison, Comparison, Verdict
from gaugelog.analysis.rules import TOLERANCE_IN_STEPS
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.kinds import WET
from gaugelog.model.placement import Snapshot
from gaugelog.model.quantities import Quantity


def _direction(checkpoint: Checkpoint, shift: float) -> str:
    if checkpoint.quantity is Quantity.LENGTH:
        return "more" if shift > 0 else "less"
    return "higher" if shift > 0 else "lower"


def _words(checkpoint: Checkpoint, row: CheckpointComparison) -> str:
    """Return what to say of a checkpoint read once in wet glue.

    A difference counts as seen beyond g = max(t_0.95 u, r), with the scatter taken from before.
    """
    if row.shift is None:
        return row.reason

    def told(value: float) -> str:
        return amount(value, checkpoint.quantity, checkpoint.unit, row.resolution)

    size, slack = abs(row.shift), TOLERANCE_IN_STEPS * row.resolution
    moved = f"{told(size)} {_direction(checkpoint, row.shift)} than before"
    beyond = row.limit is not None and size > row.limit + slack
    if row.u is None or row.dof is None:
        if row.before.n > 1:
            return f"{moved}; {row.reason}"
        return f"{moved}; one placement before doesn't tell how much they scatter"
    seen = size > float(rules.guard(row.u, row.dof, row.resolution)) + slack
    if not seen and not beyond:
        return f"within {told(max(size, row.resolution))} of before"
    if not seen:
        return f"{moved}, which one placement can't tell from nothing: read it again"
    if beyond or row.limit is None:
        return f"{moved}: look now"
    return f"{moved}, within the limit of {told(row.limit)}"


def compare_wet(instrument: Instrument, before: Snapshot, wet: Snapshot, *, gauges: Gauges | None = None) -> Comparison:
    """Return how each checkpoint marked for the wet check stands against before, in plain words and without verdict.

    Formula: Δ = wet - mean(before), u² = s² (1/n_b + 1/n_wet) + the digits' share, with s from the placements before
    (and the gauge's study); a difference is told as one beyond max(t_0.95 u, r).

    When this is wrong: one placement is one chance to set the gauge down badly; "look now" means look and read
    again, not that the neck has moved.

    Args:
        instrument: the plan; its checkpoints with stage wet are told.
        before: the snapshot before the glue.
        wet: one placement each.
        gauges: what is known of each gauge, by what `comparison.read_by` names it.
    """
    wanted = [checkpoint for checkpoint in instrument.checkpoints if WET in checkpoint.stages]
    # A plan of the wet checkpoints alone: compare() would leave out one that is not planned for both stages.
    stages = (before.stage, wet.stage)
    plan = replace(instrument, checkpoints=tuple(replace(checkpoint, stages=stages) for checkpoint in wanted))
    rows = compare(plan, before, wet, gauges=gauges).checkpoints
    return Comparison(before.stage, wet.stage, _plain(wanted, rows))


def _plain(wanted: Sequence[Checkpoint], rows: Sequence[CheckpointComparison]) -> tuple[CheckpointComparison, ...]:
    """Return the rows with words in place of verdicts."""
    by_id = {checkpoint.id: checkpoint for checkpoint in wanted}
    return tuple(
        replace(
            row,
            p_within=None,
            verdict=Verdict.NO_VERDICT,
            reason=_words(by_id[row.id], row),
            more_placements=None,
            smallest_provable=None,
        )
        for row in rows
    )
