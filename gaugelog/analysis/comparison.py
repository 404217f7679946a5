"""One snapshot against another: every checkpoint of the plan.

Here: making the two sides of each checkpoint from its placements, which checkpoints belong in a comparison, and the
control rule. Not here: the verdict of one checkpoint (`shift`), the wet check (`wet`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from gaugelog.analysis.reasons import Facts, Why, sentence
from gaugelog.analysis.results import CheckpointComparison, Comparison, Verdict
from gaugelog.analysis.shift import Side, compare_checkpoint
from gaugelog.analysis.uncertainty import Study, of_placement
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.placement import Placement, Snapshot
from gaugelog.model.quantities import Quantity

ALIKE_DEGC = 5.0
_CONTROL = "control"
_TEMPERATURE = "temperature"


@dataclass(frozen=True, slots=True)
class GaugeFacts:
    """What is known of a gauge beside its readings: limit of error (base unit), and how one reading repeats."""

    accuracy: float | None = None
    study: Study | None = None


Gauges = Mapping[str, GaugeFacts]
_ReadBy = frozenset[str | None]


def read_by(placement: Placement) -> frozenset[str | None]:
    """Return the gauges behind a placement; None stands for a typed value.

    A gauge goes by its key where the recording knows it, so that another one under the same short name is seen as
    another; else by its short name.
    """
    if placement.parts:
        return frozenset(part.gauge_key or part.gauge for part in placement.parts)
    return frozenset({placement.gauge_key or placement.gauge})


def _half_width(placement: Placement) -> float | None:
    """Return half a feeler pair's width, of the decimals as written: 0.50..0.55 is 0.05 wide to the last digit."""
    if placement.value is None or placement.low is None or placement.high is None:
        return None
    return float((Decimal(repr(placement.high)) - Decimal(repr(placement.low))) / 2)


def _worst_accuracy(names: _ReadBy, gauges: Gauges) -> float | None:
    """Return the largest limit of error among gauges, None where any is not known."""
    worst = 0.0
    for name in names:
        accuracy = gauges[name].accuracy if name is not None and name in gauges else None
        if accuracy is None:
            return None
        worst = max(worst, accuracy)
    return worst


def _placement_study(placements: Sequence[Placement], gauges: Gauges, readings: int) -> Study | None:
    """Return how one of these placements repeats by the studies of its gauges, None unless all are known and alike."""
    made_of = {tuple(sorted(_readings_of(placement, readings))) for placement in placements}
    if len(made_of) != 1:
        return None
    names = Counter(made_of.pop())
    studies = {name: gauges[name].study if name in gauges else None for name in names}
    counted: Counter[Study] = Counter()
    for name, study in studies.items():
        if study is None:
            return None
        counted[study] += names[name]
    return of_placement(counted) if counted else None


def _readings_of(placement: Placement, readings: int) -> list[str]:
    """Return the gauge behind each reading of a placement; nothing for a typed one, but of a gauge without a plug."""
    if placement.parts:
        return [part.gauge_key or part.gauge for part in placement.parts]
    return [placement.gauge_key or placement.gauge] * readings if placement.gauge is not None else []


def side_of(
    placements: Sequence[Placement], gauges: Gauges | None = None, skipped: str = "", readings: int = 1
) -> Side:
    """Return one stage of one checkpoint from its placements that count.

    Args:
        placements: all of one checkpoint; values in the base unit.
        gauges: what is known of each gauge, by what `read_by` names it.
        skipped: the builder's reason where the checkpoint was left out.
        readings: in one placement, where it doesn't say so itself: 2 for a difference that was typed.
    """
    known = gauges or {}
    groups = {read_by(placement) for placement in placements}
    names = frozenset[str | None]().union(*groups)
    widths = (_half_width(placement) for placement in placements)
    return Side(
        tuple(placement.value for placement in placements if placement.value is not None),
        max((placement.resolution for placement in placements), default=0.0),
        tuple(width for width in widths if width is not None),
        " and ".join(sorted(name or "a typed value" for name in names)) if names - {None} else None,
        _worst_accuracy(names, known) if names else None,
        sum(placement.value is None for placement in placements),
        len(groups) > 1,
        skipped,
        _placement_study(placements, known, readings) if placements else None,
    )


def _skip_reason(snapshot: Snapshot, checkpoint: Checkpoint) -> str:
    return next((skip.reason for skip in reversed(snapshot.skips) if skip.checkpoint == checkpoint.id), "")


def _planned(instrument: Instrument, before: Snapshot, after: Snapshot) -> tuple[Checkpoint, ...]:
    """Return the checkpoints that belong in the comparison, in the plan's order.

    Those that glue can move and that both stages should read; and whatever both stages did read, planned or not.
    """
    expected = {c.id for c in instrument.at_stage(before.stage)} & {c.id for c in instrument.at_stage(after.stage)}
    return tuple(
        checkpoint
        for checkpoint in instrument.checkpoints
        if (checkpoint.kind.glued and checkpoint.id in expected)
        or (before.of(checkpoint.id) and after.of(checkpoint.id))
    )


def _warmer_degc(instrument: Instrument, before: Snapshot, after: Snapshot) -> float | None:
    """Return by how much the workshop was warmer after, None up to 5 degC either way (common practice, no source)."""
    changes = [0.0]
    for checkpoint in instrument.checkpoints:
        if checkpoint.kind.slug == _TEMPERATURE and checkpoint.quantity is Quantity.TEMPERATURE:
            means = [side_of(snapshot.of(checkpoint.id)).summary().mean for snapshot in (before, after)]
            if means[0] is not None and means[1] is not None:
                changes.append(means[1] - means[0])
    largest = max(changes, key=abs)
    return largest if abs(largest) > ALIKE_DEGC else None


def shares_gauge(row: Checkpoint, row_names: _ReadBy, control: Checkpoint, control_names: _ReadBy) -> bool:
    """Return whether a control speaks for a checkpoint: a gauge in common, or both typed values of one quantity."""
    shared = row_names & control_names
    return bool(shared - {None}) or (bool(shared) and row.quantity is control.quantity)


def moved_controls(
    instrument: Instrument, before: Snapshot, after: Snapshot, comparison: Comparison
) -> list[tuple[Checkpoint, _ReadBy]]:
    """Return the controls that moved, each with what read it."""
    moved = {row.id for row in comparison.checkpoints if row.kind == _CONTROL and row.verdict is Verdict.MOVED}
    return [
        (each, frozenset[str | None]().union(*(read_by(p) for s in (before, after) for p in s.of(each.id))))
        for each in instrument.checkpoints
        if each.id in moved
    ]


def compare(instrument: Instrument, before: Snapshot, after: Snapshot, *, gauges: Gauges | None = None) -> Comparison:
    """Return the comparison of all checkpoints of two snapshots.

    Each checkpoint as `shift.compare_checkpoint`. Kinds that glue can't move (pocket, heel, block, the workshop's
    weather) are left out unless both stages read them, and then told with `counts` False. A control that moved
    withdraws the verdict of every checkpoint that its gauge read (a typed control: of every typed value of its
    quantity).

    When this is wrong: a gauge replaced by another of the same datasheet, under the same short name and without an
    identity in the instrument file, is taken for the same gauge.

    Args:
        instrument: the plan.
        before: the snapshot compared from.
        after: the snapshot compared to.
        gauges: limit of error and repeatability study of each gauge, by what `read_by` names it.
    """
    known = gauges or {}
    warmer_degc = _warmer_degc(instrument, before, after)
    rows: list[tuple[Checkpoint, _ReadBy, CheckpointComparison]] = []
    for checkpoint in _planned(instrument, before, after):
        readings = checkpoint.readings_per_placement
        sides = [side_of(s.of(checkpoint.id), known, _skip_reason(s, checkpoint), readings) for s in (before, after)]
        names = frozenset[str | None]().union(*(read_by(p) for s in (before, after) for p in s.of(checkpoint.id)))
        row = compare_checkpoint(
            checkpoint,
            *sides,
            study=sides[0].study if sides[0].study == sides[1].study else None,
            warmer_degc=warmer_degc,
            stages=(before.stage, after.stage),
        )
        rows.append((checkpoint, names, row))
    return Comparison(before.stage, after.stage, _with_controls(rows))


def _with_controls(
    rows: Sequence[tuple[Checkpoint, _ReadBy, CheckpointComparison]],
) -> tuple[CheckpointComparison, ...]:
    """Return the rows with the verdicts withdrawn that a moved control takes back."""
    moved = [
        (checkpoint, names)
        for checkpoint, names, row in rows
        if checkpoint.kind.slug == _CONTROL and row.verdict is Verdict.MOVED
    ]
    return tuple(_withdrawn(checkpoint, names, row, moved) for checkpoint, names, row in rows)


def _withdrawn(
    checkpoint: Checkpoint,
    names: _ReadBy,
    row: CheckpointComparison,
    moved: Sequence[tuple[Checkpoint, _ReadBy]],
) -> CheckpointComparison:
    """Return the row, without verdict where a moved control shares its gauge."""
    facts = Facts(checkpoint, shift=row.shift or 0.0, step=row.resolution)
    if any(checkpoint is control for control, _ in moved):
        return replace(row, reason=sentence(Why.CONTROL_ITSELF_MOVED, facts))
    for control, control_names in moved:
        if row.counts and row.p_within is not None and shares_gauge(checkpoint, names, control, control_names):
            return replace(
                row,
                p_within=None,
                verdict=Verdict.NO_VERDICT,
                reason=sentence(Why.CONTROL_MOVED, replace(facts, control=control.id)),
                more_placements=None,
                smallest_provable=None,
            )
    return row
