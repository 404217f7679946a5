"""Sentences about a whole comparison or session, the same in the terminal and in the report.

Here: marks, the outcome in one plain sentence, what was simulated, what is out of tolerance. Not here: reasons of one
checkpoint (`analysis`).
"""

from __future__ import annotations

from collections.abc import Sequence

from gaugelog.analysis.plan import PlanRow
from gaugelog.analysis.results import CheckpointComparison, Comparison, Gap, PhaseDrift, SeriesDrift, Verdict
from gaugelog.analysis.tolerance import placements_out_by
from gaugelog.errors import UnknownCheckpointError
from gaugelog.model.instrument import Instrument
from gaugelog.model.kinds import WET
from gaugelog.model.placement import Snapshot
from gaugelog.model.quantities import Quantity
from gaugelog.show.numbers import UNKNOWN, amount_text, display_unit, mean_text, value_beside_u, when_text

VERDICT_MARKS = {
    Verdict.HELD: "✓",
    Verdict.MOVED: "✗",
    Verdict.NOT_PROVEN: "?",
    Verdict.NO_VERDICT: "–",
}
TOLD_MARK = "·"
NOISIER = "These placements scatter more than this gauge's check explains: look at its feet and at the spot."
_ORDER = (Verdict.HELD, Verdict.MOVED, Verdict.NOT_PROVEN, Verdict.NO_VERDICT)


def mark_of(row: CheckpointComparison) -> str:
    """Return the mark of a row's verdict; a dot where it is only told."""
    return VERDICT_MARKS[row.verdict] if row.counts else TOLD_MARK


def verdict_word(row: CheckpointComparison) -> str:
    """Return the verdict in words; "told" for what bars nothing."""
    return row.verdict.value if row.counts else "told"


def tally(comparison: Comparison) -> str:
    """Return how many checkpoints have which verdict: "5 held, 1 moved, 1 not proven"."""
    counts = [(len(comparison.having(verdict)), verdict.value) for verdict in _ORDER]
    return ", ".join(f"{number} {words}" for number, words in counts if number) or "nothing to compare"


def listed(names: Sequence[str]) -> str:
    """Return names as a sentence lists them: "a, b and c"."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def outcome(comparison: Comparison) -> str:
    """Return the outcome in one plain sentence."""
    if comparison.to_stage == WET:
        return _wet_outcome(comparison)
    counting = [row for row in comparison.checkpoints if row.counts]
    moved, held = comparison.having(Verdict.MOVED), comparison.having(Verdict.HELD)
    if not counting:
        return "There is no checkpoint to judge."
    if moved:
        what = listed([row.id for row in moved])
        return f"{tally(comparison).capitalize()}: {what} went beyond the limit."
    if len(held) == len(counting):
        return f"All {len(held)} held." if len(held) > 1 else "It held."
    open_ones = listed([row.id for row in counting if row.verdict is not Verdict.HELD])
    return f"{tally(comparison).capitalize()}: nothing is known to have moved, but {open_ones} can't be called held."


def _wet_outcome(comparison: Comparison) -> str:
    told = [row for row in comparison.checkpoints if row.counts]
    if not told:
        return "No checkpoint is marked for the wet check."
    return "The glue is open: there is no verdict yet. Where it says look now, look before it sets."


def in_order(comparison: Comparison) -> tuple[CheckpointComparison, ...]:
    """Return the rows in the plan's order, what is only told last."""
    return tuple(sorted(comparison.checkpoints, key=lambda row: not row.counts))


def means_text(row: CheckpointComparison, units: str = "mm") -> str:
    """Return both means and their placements: "0.525 → 0.560 mm, 3+3"."""
    before, after = (mean_text(side.mean, row.quantity, row.resolution, units) for side in (row.before, row.after))
    if row.after.mean is not None:
        before = before.removesuffix(display_unit(row.quantity, units).symbol)
    return f"{before} → {after}, {row.before.n}+{row.after.n}"


def must_but_cannot_prove(row: PlanRow) -> bool:
    """Return whether a checkpoint's limit must be proven and can't be: then the work isn't ready."""
    return row.checkpoint.must_prove and (row.hopeless or row.smallest_provable is None)


def simulated_gauges(instrument: Instrument) -> tuple[str, ...]:
    """Return the short names of the gauges that an instrument file names on `sim:`."""
    return tuple(name for name, named in instrument.gauges.items() if named.gauge.address.scheme == "sim")


def simulated_words(gauges: Sequence[str]) -> str:
    """Return what is to be said of simulated gauges wherever their readings are shown; empty where there is none."""
    if not gauges:
        return ""
    return f"SIMULATED {'gauge' if len(gauges) == 1 else 'gauges'}: {', '.join(gauges)}"


def out_of_tolerance(checkpoint_id: str, snapshot: Snapshot, instrument: Instrument) -> float | None:
    """Return by how much the mean of a snapshot's placements is out of tolerance, minus below, 0 in tolerance.

    Returns:
        None where that can't be told, as `analysis.tolerance.out_by` has it, or the plan has no such checkpoint.
    """
    try:
        point = instrument.checkpoint(checkpoint_id)
    except UnknownCheckpointError:
        return None
    return placements_out_by(point, snapshot.of(checkpoint_id))


def tolerance_text(out_by: float | None, quantity: Quantity, units: str = "mm") -> str:
    """Return "in tolerance", "4.7° over" or "0.2 mm under"; empty where there is nothing to say.

    Args:
        out_by: by how much the value is out, minus below, as `analysis.tolerance.out_by` has it.
        quantity: of the checkpoint.
        units: mm or in, for lengths.
    """
    if out_by is None:
        return ""
    if out_by == 0:
        return "in tolerance"
    return f"{amount_text(abs(out_by), quantity, units)} {'over' if out_by > 0 else 'under'}"


def sentence(words: str) -> str:
    """Return words that a reason is made of as a sentence: a capital in front, a full stop behind."""
    return f"{words[:1].upper()}{words[1:].rstrip('.')}."


def gaps_once(gaps: Sequence[Gap]) -> tuple[Gap, ...]:
    """Return gaps in order, one that two gauges share only once."""
    return tuple(sorted(dict.fromkeys(gaps), key=lambda gap: (gap.start_utc_us, gap.end_utc_us)))


def farthest_texts(phase: PhaseDrift, series: SeriesDrift, units: str) -> tuple[str, str]:
    """Return how far a series departed from a phase's first level, and when; a dash and nothing where unknown."""
    if phase.farthest is None or phase.farthest_utc_us is None:
        return UNKNOWN, ""
    far = value_beside_u(phase.farthest, phase.u, series.quantity, units, signed=True)
    return far, f"at {when_text(phase.farthest_utc_us, phase.start_utc_us)}"
