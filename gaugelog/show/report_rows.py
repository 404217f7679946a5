"""The report's rows in words: every number rounded, every moment local, ready for the template.

Here: plain dictionaries of text. Not here: HTML (`templates/report.html.j2`), pictures.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from gaugelog.analysis.neck_setting import NeckSetting
from gaugelog.analysis.results import CheckpointComparison, Drift, Gap, NeckMovement, SeriesDrift, Verdict
from gaugelog.errors import UnknownCheckpointError
from gaugelog.model.instrument import Instrument
from gaugelog.model.placement import KeptPlacement, Part, Role, Snapshot
from gaugelog.model.quantities import Quantity
from gaugelog.show.drift_words import drift_sentences
from gaugelog.show.movement_view import consequence_rows, movement_rows, movement_sentences, plain_sentence
from gaugelog.show.neck_view import figure_rows
from gaugelog.show.neck_words import (
    break_sentences,
    cut_sentences,
    left_open_sentences,
    misfit_sentences,
    missing_sentences,
    taken_sentences,
    travel_sentence,
)
from gaugelog.show.numbers import (
    MINUS,
    UNKNOWN,
    amount_text,
    clock_text,
    count_text,
    date_text,
    duration_text,
    mean_text,
    placement_text,
    probability_text,
    uncertain_text,
    value_beside_u,
    value_text,
    when_text,
)
from gaugelog.show.strip_picture import strip_picture
from gaugelog.show.words import (
    farthest_texts,
    gaps_once,
    mark_of,
    out_of_tolerance,
    outcome,
    sentence,
    tolerance_text,
    verdict_word,
)

if TYPE_CHECKING:
    from gaugelog.show.report import GaugeUsed, ReportData

Row = dict[str, Any]


def report_rows(data: ReportData) -> Row:
    """Return everything that the template shows, as text."""
    units = data.instrument.units
    comparison = data.comparison
    rows = [] if comparison is None else [_checkpoint(row, data.instrument) for row in comparison.checkpoints]
    return {
        "title": data.instrument.name,
        "recording": data.recording,
        "version": data.version,
        "made": date_text(data.made_utc_us),
        "simulated": data.simulated,
        "outcome": "" if comparison is None else outcome(comparison),
        "tally": [] if comparison is None else _tally(data),
        "stages": None if comparison is None else (comparison.from_stage, comparison.to_stage),
        "missing": list(data.missing),
        "facts": _facts(data),
        "checkpoints": rows,
        "standing": None if data.standing is None else _standing(data.standing, data.instrument),
        "cut": _cut(data),
        "movement": None if comparison is None else _movement(comparison.movement, units),
        "drift": None if data.drift is None else _drift(data.drift, units) | {"of_time": list(data.of_time)},
        "marks": [_mark(data, place) for place in range(len(data.marks))],
        "snapshots": [_snapshot(snapshot, data.instrument) for snapshot in data.snapshots],
        "gauges": [_gauge(gauge, units) for gauge in data.gauges],
        "rejects": [
            {"gauge": gauge, "reason": reason, "count": str(count)} for (gauge, reason), count in data.rejects.items()
        ],
        "gaps": [_gap(gap) | {"gauge": name} for name, gap in data.gaps],
    }


def _movement(movement: NeckMovement | None, units: str) -> Row | None:
    """Return how the neck moved as a whole, what that does, and what is to be said of it."""
    if movement is None:
        return None
    return {
        "rows": list(movement_rows(movement, units)),
        "consequences": list(consequence_rows(movement, units)),
        "sentences": list(movement_sentences(movement)),
        "plain": plain_sentence(movement, units),
    }


def _standing(setting: NeckSetting, instrument: Instrument) -> Row | None:
    """Return how the neck stood, figure by figure, and what is to be said of it."""
    if not setting.figures.keys() & {"neck_angle", "plane_height"}:
        return None
    travel = travel_sentence(setting, instrument)
    said = [(words, True) for words in (*misfit_sentences(setting), *break_sentences(setting, instrument))]
    told = (missing_sentences(setting), left_open_sentences(setting, instrument))
    said += [(words, False) for each in (*told, taken_sentences(setting, instrument.units)) for words in each]
    return {
        "stage": setting.stage,
        "rows": list(figure_rows(setting.figures, instrument.units)),
        "sentences": ([] if travel is None else [travel]) + said,
    }


def _cut(data: ReportData) -> list[tuple[str, bool]]:
    """Return what to take off, where the glue isn't on yet and wood has to go."""
    if data.cut is None or data.comparison is not None or not data.cut.needed:
        return []
    return list(cut_sentences(data.cut, data.instrument, None))


def _tally(data: ReportData) -> list[Row]:
    """Return how many checkpoints have which verdict, those that nobody has left out."""
    found = []
    for verdict in Verdict:
        rows = data.comparison.having(verdict) if data.comparison is not None else ()
        if rows:
            found.append(
                {"count": str(len(rows)), "word": verdict.value, "slug": _slug(verdict), "mark": mark_of(rows[0])}
            )
    return found


def _slug(verdict: Verdict) -> str:
    return verdict.value.replace(" ", "-")


def _facts(data: ReportData) -> list[tuple[str, str]]:
    """Return what the work is: name and value, what is open left out."""
    instrument = data.instrument
    neck, glue = instrument.neck, instrument.glue
    facts = [("Instrument", instrument.name)]
    if neck.scale_length is not None:
        facts.append(("Scale length", amount_text(neck.scale_length, Quantity.LENGTH, instrument.units)))
    facts += [
        (f"Snapshot {snapshot.stage}", date_text(snapshot.begun_utc_us)) for snapshot in _last_ones(data.snapshots)
    ]
    if data.drift is not None:
        facts.append(("Clamp session from", date_text(data.drift.start_utc_us)))
    if glue.label:
        facts.append(("Glue, by its label", glue.label))
    facts += [("Recording", data.recording), ("Report made", date_text(data.made_utc_us))]
    return facts


def _last_ones(snapshots: Iterable[Snapshot]) -> list[Snapshot]:
    return list({snapshot.stage: snapshot for snapshot in snapshots}.values())


def _checkpoint(row: CheckpointComparison, instrument: Instrument) -> Row:
    units = instrument.units
    try:
        what = instrument.checkpoint(row.id).kind.words
    except UnknownCheckpointError:
        what = row.kind
    return {
        "id": row.id,
        "what": what if what.replace(" ", "-") != row.id else "",
        "mark": mark_of(row),
        "verdict": verdict_word(row),
        "slug": _slug(row.verdict) if row.counts else "told",
        "before": mean_text(row.before.mean, row.quantity, row.resolution, units),
        "after": mean_text(row.after.mean, row.quantity, row.resolution, units),
        "n_before": row.before.n,
        "n_after": row.after.n,
        "shift": uncertain_text(row.shift, row.expanded_95, row.quantity, units, signed=True),
        "limit": amount_text(row.limit, row.quantity, units),
        "within": probability_text(row.p_within),
        "reason": sentence(row.reason),
        "strip": strip_picture(row, units),
    }


def _drift(drift: Drift, units: str) -> Row:
    return {
        "start": date_text(drift.start_utc_us),
        "said": list(drift_sentences(drift, units)),
        "series": [_series(each, drift, units) for each in drift.series],
    }


def _series(series: SeriesDrift, drift: Drift, units: str) -> Row:
    return {
        "name": series.name.replace(" - ", f" {MINUS} "),
        "what": "difference" if series.difference else "gauge",
        "readings": count_text(series.n, "reading"),
        "gaps": [_gap(gap) for gap in gaps_once(series.gaps)],
        "phases": [
            {
                "name": phase.name,
                "from": when_text(phase.start_utc_us, drift.start_utc_us),
                "lasts": duration_text((phase.end_utc_us - phase.start_utc_us) / 1e6),
                "n": count_text(phase.n, "reading").split(" reading")[0].replace("no", "0"),
                "mean": value_beside_u(phase.mean, phase.u, series.quantity, units),
                "change": uncertain_text(phase.change, phase.u, series.quantity, units, signed=True),
                "farthest": " ".join(farthest_texts(phase, series, units)).strip(),
            }
            for phase in series.phases
        ],
    }


def _gap(gap: Gap) -> Row:
    return {
        "from": f"{date_text(gap.start_utc_us)[:10]} {clock_text(gap.start_utc_us, seconds=True)}",
        "lasts": duration_text((gap.end_utc_us - gap.start_utc_us) / 1e6),
        "reason": gap.reason,
        "word": "gap" if gap.fault else "pause",
    }


def _mark(data: ReportData, place: int) -> Row:
    mark = data.marks[place]
    return {"when": date_text(mark.utc_us), "kind": mark.kind.value, "words": mark.words}


def _snapshot(snapshot: Snapshot, instrument: Instrument) -> Row:
    complete = snapshot.complete_utc_us
    return {
        "stage": snapshot.stage,
        "number": snapshot.number,
        "begun": date_text(snapshot.begun_utc_us),
        "state": "not complete" if complete is None else f"complete {date_text(complete)}",
        "skips": [{"id": skip.checkpoint, "reason": sentence(skip.reason)} for skip in snapshot.skips],
        "checkpoints": [_placements(name, snapshot, instrument) for name in _names(snapshot)],
    }


def _names(snapshot: Snapshot) -> list[str]:
    return list(dict.fromkeys(kept.placement.checkpoint for kept in snapshot.placements))


def _placements(name: str, snapshot: Snapshot, instrument: Instrument) -> Row:
    kept = [each for each in snapshot.placements if each.placement.checkpoint == name]
    out = out_of_tolerance(name, snapshot, instrument)
    return {
        "id": name,
        "out": bool(out),
        "tolerance": tolerance_text(out, kept[0].placement.quantity, instrument.units),
        "placements": [_placement(each, snapshot, instrument.units) for each in kept],
    }


def _placement(kept: KeptPlacement, snapshot: Snapshot, units: str) -> Row:
    placement = kept.placement
    return {
        "value": placement_text(placement, units),
        "parts": ", ".join(_part(part) for part in placement.parts if part.role is not Role.WHOLE),
        "spread": UNKNOWN
        if placement.spread is None
        else value_text(placement.spread, placement.quantity, placement.resolution, units),
        "settled": placement.settled.value,
        "gauge": placement.gauge or "",
        "when": when_text(kept.utc_us, snapshot.begun_utc_us),
        "dropped": kept.dropped,
    }


def _part(part: Part) -> str:
    """Return a part as its gauge showed it."""
    return f"{part.role.value} {part.text.replace('-', MINUS)}"


def _gauge(gauge: GaugeUsed, units: str) -> Row:
    accuracy = amount_text(gauge.accuracy, gauge.quantity, units)
    return {
        "name": gauge.name,
        "title": gauge.title,
        "address": gauge.address,
        "check": gauge.check or f"{gauge.name}: never checked, so verdicts go by each day's placements alone.",
        "identity": gauge.identity,
        "resolution": amount_text(gauge.resolution, gauge.quantity, units),
        "accuracy": accuracy if gauge.accuracy is None else f"±{accuracy}",
    }
