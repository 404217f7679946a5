"""Sentences about a whole comparison or session, the same in the terminal and in the report.

Here: marks, the outcome in one plain sentence, what to do next. Not here: reasons of one checkpoint (`analysis`).
"""

from __future__ import annotations

from collections.abc import Sequence

from gaugelog.analysis.results import CheckpointComparison, Comparison, Gap, PhaseDrift, SeriesDrift, Verdict
from gaugelog.model.kinds import WET
from gaugelog.show.numbers import UNKNOWN, display_unit, mean_text, value_beside_u, when_text

VERDICT_MARKS = {
    Verdict.HELD: "✓",
    Verdict.MOVED: "✗",
    Verdict.NOT_PROVEN: "?",
    Verdict.NO_VERDICT: "–",
}
TOLD_MARK = "·"
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
