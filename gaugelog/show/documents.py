"""The JSON documents: results as plain dictionaries, explained field by field in docs/documents.md.

Here: what a program reads. Values are in base units (deg, mm, degC, %), `unit` says which; nothing is rounded; what is
unknown or infinite is None; times are ISO 8601 in UTC. Not here: text for people (`numbers`, `terminal`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from gaugelog.analysis.plan import PlanRow
from gaugelog.analysis.results import CheckpointComparison, Comparison, Drift, Gap, PhaseDrift, SeriesDrift, SideSummary
from gaugelog.errors import UnknownCheckpointError
from gaugelog.model.instrument import Checkpoint, Instrument
from gaugelog.model.placement import KeptPlacement, Part, Placement, Snapshot
from gaugelog.show.explained_documents import explained_fields
from gaugelog.show.gauge_documents import (
    Document,
    finite,
    flag_words,
    gauges_document,
    heard_document,
    iso_utc,
    reading_document,
)
from gaugelog.show.movement_documents import movement_fields
from gaugelog.show.words import must_but_cannot_prove, out_of_tolerance, simulated_gauges
from gaugelog.store.records import ClockSet

__all__ = [
    "Document",
    "comparison_document",
    "drift_document",
    "flag_words",
    "gauges_document",
    "heard_document",
    "iso_utc",
    "plan_document",
    "reading_document",
    "rereading_document",
    "snapshot_document",
]


def plan_document(rows: Iterable[PlanRow], instrument: Instrument) -> Document:
    """Return the plan and what it will be able to prove."""
    return {
        "simulated": list(simulated_gauges(instrument)),
        "checkpoints": [_plan_row(row) for row in rows],
    }


def _plan_row(row: PlanRow) -> Document:
    point = row.checkpoint
    better = row.better
    return {
        "id": point.id,
        "kind": point.kind.slug,
        "unit": point.quantity.base_unit,
        "limit": finite(point.limit),
        "resolution": finite(row.resolution),
        "smallest_provable": finite(row.smallest_provable),
        "hopeless": row.hopeless,
        "must_prove": point.must_prove,
        "ready": not must_but_cannot_prove(row),
        "better": None
        if better is None
        else {"id": better.id, "equivalent": finite(better.equivalent), "words": better.words},
        "stages": list(point.stages),
        "placements": point.placements,
        "gauge": point.gauge,
        "body_gauge": point.body_gauge,
        "nominal": finite(point.nominal),
        "tolerance": _tolerance(point),
        "todo": point.todo,
    }


def _tolerance(point: Checkpoint) -> Document | None:
    tolerance = point.tolerance
    return None if tolerance is None else {"low": finite(tolerance.low), "high": finite(tolerance.high)}


def comparison_document(comparison: Comparison, simulated: Sequence[str] = ()) -> Document:
    """Return one stage against another, checkpoint by checkpoint; `simulated` names the simulated gauges."""
    return {
        "simulated": list(simulated),
        "from": comparison.from_stage,
        "to": comparison.to_stage,
        "checkpoints": [_comparison_row(row) for row in comparison.checkpoints],
        **movement_fields(comparison.movement),
    }


def _comparison_row(row: CheckpointComparison) -> Document:
    return {
        "id": row.id,
        "kind": row.kind,
        "unit": row.quantity.base_unit,
        "before": _side(row.before),
        "after": _side(row.after),
        "shift": finite(row.shift),
        "u": finite(row.u),
        "dof": finite(row.dof),
        "expanded_95": finite(row.expanded_95),
        "limit": finite(row.limit),
        "resolution": finite(row.resolution),
        "p_within": finite(row.p_within),
        "verdict": row.verdict.value,
        "reason": row.reason,
        "more_placements": row.more_placements,
        "smallest_provable": finite(row.smallest_provable),
        "counts": row.counts,
    }


def _side(side: SideSummary) -> Document:
    return {"mean": finite(side.mean), "n": side.n, "sd": finite(side.sd)}


def drift_document(drift: Drift, simulated: Sequence[str] = (), clock_sets: Sequence[ClockSet] = ()) -> Document:
    """Return the clamp session over time.

    Args:
        drift: the result.
        simulated: names of the simulated gauges.
        clock_sets: where the computer's clock was set meanwhile.
    """
    return {
        "simulated": list(simulated),
        "start": iso_utc(drift.start_utc_us),
        "clock_sets": [
            {"time": iso_utc(each.utc_us), "by_s": each.by_s, "ahead_s": each.ahead_s} for each in clock_sets
        ],
        "series": [_series(series) for series in drift.series],
    }


def _series(series: SeriesDrift) -> Document:
    return {
        "name": series.name,
        "kind": "difference" if series.difference else "gauge",
        "unit": series.quantity.base_unit,
        "n": series.n,
        "phases": [_phase(phase) for phase in series.phases],
        "gaps": [_gap(gap) for gap in series.gaps],
        **explained_fields(series),
    }


def _phase(phase: PhaseDrift) -> Document:
    return {
        "name": phase.name,
        "start": iso_utc(phase.start_utc_us),
        "end": iso_utc(phase.end_utc_us),
        "n": phase.n,
        "mean": finite(phase.mean),
        "change": finite(phase.change),
        "farthest": finite(phase.farthest),
        "farthest_at": iso_utc(phase.farthest_utc_us),
        "u": finite(phase.u),
    }


def _gap(gap: Gap) -> Document:
    return {
        "start": iso_utc(gap.start_utc_us),
        "end": iso_utc(gap.end_utc_us),
        "reason": gap.reason,
        "fault": gap.fault,
    }


def snapshot_document(snapshot: Snapshot, instrument: Instrument) -> Document:
    """Return a snapshot: per checkpoint what was wanted, what was taken, dropped or skipped."""
    skips = {skip.checkpoint: skip.reason for skip in snapshot.skips}
    planned = list(instrument.at_stage(snapshot.stage))
    ids = {point.id for point in planned}
    planned += [point for point in _others(snapshot, instrument) if point.id not in ids]
    return {
        "simulated": list(simulated_gauges(instrument)),
        "stage": snapshot.stage,
        "number": snapshot.number,
        "begun": iso_utc(snapshot.begun_utc_us),
        "complete": iso_utc(snapshot.complete_utc_us),
        "checkpoints": [
            {
                "id": point.id,
                "kind": point.kind.slug,
                "unit": point.quantity.base_unit,
                "wanted": point.wanted_at(snapshot.stage),
                "taken": len(snapshot.of(point.id)),
                "skipped": skips.get(point.id),
                "tolerance": _tolerance(point),
                "out_by": out_of_tolerance(point.id, snapshot, instrument),
                "placements": [_kept(kept) for kept in snapshot.placements if kept.placement.checkpoint == point.id],
            }
            for point in planned
        ],
    }


def _others(snapshot: Snapshot, instrument: Instrument) -> list[Checkpoint]:
    """Return the checkpoints that have placements here though the plan doesn't read them at this stage."""
    found = []
    for name in dict.fromkeys(kept.placement.checkpoint for kept in snapshot.placements):
        try:
            found.append(instrument.checkpoint(name))
        except UnknownCheckpointError:
            continue
    return found


def _kept(kept: KeptPlacement) -> Document:
    return {
        "id": kept.id,
        "time": iso_utc(kept.utc_us),
        **_placement(kept.placement),
        "dropped": kept.dropped,
    }


def _placement(placement: Placement) -> Document:
    return {
        "value": finite(placement.value),
        "low": finite(placement.low),
        "high": finite(placement.high),
        "unit": placement.quantity.base_unit,
        "text": placement.text,
        "text_unit": placement.unit,
        "resolution": finite(placement.resolution),
        "spread": finite(placement.spread),
        "settled": placement.settled.value,
        "gauge": placement.gauge,
        "parts": [_part(part) for part in placement.parts],
    }


def _part(part: Part) -> Document:
    return {
        "role": part.role.value,
        "gauge": part.gauge,
        "value": finite(part.value),
        "text": part.text,
        "text_unit": part.unit,
        "resolution": finite(part.resolution),
        "spread": finite(part.spread),
        "n": part.n,
        "seconds": (part.end_ns - part.start_ns) / 1e9,
    }


def rereading_document(
    pairs: Iterable[tuple[KeptPlacement, Placement | None]], simulated: Sequence[str] = ()
) -> Document:
    """Return placements read again from their bytes: each as it was and as it reads now (null: nothing readable).

    `simulated` names the simulated gauges.
    """
    return {
        "simulated": list(simulated),
        "placements": [
            {
                "id": old.id,
                "checkpoint": old.placement.checkpoint,
                "stage": old.stage,
                "old": _placement(old.placement),
                "new": None if new is None else _placement(new),
            }
            for old, new in pairs
        ],
    }
