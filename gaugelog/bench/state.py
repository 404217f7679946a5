"""What the bench's pages are shown, as JSON: the work as a whole, and each reading as it comes.

Here: documents in words and numbers ready to be shown; a page computes nothing of its own. Not here: the work (`work`),
sending (`hub`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from gaugelog.analysis.tolerance import placements_out_by
from gaugelog.bench.work import Bench, GaugeNow
from gaugelog.model.kinds import AFTER, BEFORE, WET
from gaugelog.model.placement import MarkKind
from gaugelog.model.readings import LinkState
from gaugelog.recorder.clamping import ClampWork
from gaugelog.recorder.snapshotting import SnapshotWork, Task
from gaugelog.show.alarm_words import alarm_head, alarm_words, clamp_times_words
from gaugelog.show.gauge_documents import finite, flag_words, iso_utc
from gaugelog.show.live_parts import reading_text, where_now
from gaugelog.show.numbers import (
    amount_text,
    decimals_of_step,
    display_unit,
    placement_text,
    rounded,
    value_text,
)
from gaugelog.show.sanding import SandingState
from gaugelog.show.words import simulated_gauges, simulated_words, tolerance_text

Document = dict[str, Any]
_MOST_PASSES = 8


def state_document(bench: Bench, boot: str) -> Document:
    """Return the work as a whole; `boot` tells one run of the server from another."""
    instrument = bench.work.instrument
    return {
        "boot": boot,
        "instrument": instrument.name,
        "simulated": simulated_words(simulated_gauges(instrument)),
        "doing": bench.doing,
        "message": bench.message,
        "gauges": [gauge_document(each, instrument.units) for each in bench.gauges.values()],
        "sanding": None if bench.sanding is None else sanding_document(bench.sanding[1]),
        "snapshot": None if bench.snapshot is None else snapshot_document(bench.snapshot, bench),
        "taken": bench.taken,
        "clamps": None if bench.clamping is None else clamps_document(bench.clamping, bench.gauges),
        "stages": _stages(bench),
        "checkpoints": [point.id for point in instrument.checkpoints if point.gauge is None],
    }


def _stages(bench: Bench) -> list[str]:
    """Return the stages that the instrument file names, before, wet and after first."""
    named = [stage for point in bench.work.instrument.checkpoints for stage in point.stages]
    return list(dict.fromkeys([*(stage for stage in (BEFORE, WET, AFTER) if stage in named), *named]))


def gauge_document(gauge: GaugeNow, units: str) -> Document:
    """Return one gauge: its latest value in words, and what is wrong with it."""
    sheet, latest = gauge.datasheet, gauge.latest
    return {
        "name": gauge.name,
        "title": sheet.title,
        "value": None if latest is None else value_text(latest.value, sheet.quantity, latest.resolution, units),
        "link": None if gauge.link is None else gauge.link.value,
        "troubles": _troubles(gauge),
    }


def _troubles(gauge: GaugeNow) -> list[str]:
    """Return what is wrong with a gauge: its link, its battery, a value on hold."""
    troubles = [] if gauge.link in (LinkState.OPEN, None) else [gauge.link.value]
    return troubles + (flag_words(gauge.latest.flags) if gauge.latest is not None else [])


def _link_words(gauge: GaugeNow) -> str:
    """Return how a gauge's link stands and what is wrong with it; empty where nothing was heard of it yet."""
    standing = [] if gauge.link is None else [gauge.link.value]
    return " · ".join(dict.fromkeys([*standing, *_troubles(gauge)]))


def sanding_document(state: SandingState) -> Document:
    """Return one gauge while sanding: the figures, how far off and which way, the band, the last passes."""
    shown = display_unit(state.quantity, state.units)
    decimals = decimals_of_step(state.resolution / shown.divisor)
    value, off = state.value, state.off
    live = state.counts and not state.link_lost and not state.silent_s
    return {
        "gauge": state.gauge,
        "figures": None if value is None else rounded(value / shown.divisor, decimals),
        "symbol": shown.symbol.strip(),
        "live": live,
        "zeroed": state.zeroed,
        "target": None
        if state.target is None
        else value_text(state.target, state.quantity, state.resolution, state.units),
        "within": None if state.within is None else amount_text(state.within, state.quantity, state.units),
        "off": finite(off),
        "band": finite(state.within),
        "inside": state.inside,
        "way": _way(state),
        "passes": [
            {
                "number": each.number,
                "value": value_text(each.value, state.quantity, state.resolution, state.units),
                "change": None
                if each.change is None
                else value_text(each.change, state.quantity, state.resolution, state.units, signed=True),
            }
            for each in state.passes[-_MOST_PASSES:]
        ],
        "left": _passes_left(state),
    }


def _way(state: SandingState) -> str:
    """Return in words how far the value is from its target, and which way."""
    if state.off is None:
        return ""
    if state.inside:
        return "inside the band"
    size = value_text(abs(state.off), state.quantity, state.resolution, state.units)
    return f"{size} too {'large' if state.off > 0 else 'small'}"


def _passes_left(state: SandingState) -> str:
    """Return how many more passes it takes at the rate of the last ones, in words; empty where that can't be told."""
    changes = [each.change for each in state.passes[-3:] if each.change]
    if state.off is None or state.inside or not changes:
        return ""
    rate = sum(changes) / len(changes)
    if rate == 0 or (state.off > 0) == (rate > 0):
        return "the last passes went the other way"
    to_go = abs(state.off) - (state.within or 0.0)
    count = max(1, -int(-to_go // abs(rate)))
    return f"about {count} more pass{'' if count == 1 else 'es'} at this rate"


def snapshot_document(snapshot: SnapshotWork, bench: Bench) -> Document:
    """Return a snapshot being taken: its checkpoints with what was taken, and the one whose turn it is."""
    instrument = bench.work.instrument
    current = snapshot.current
    return {
        "stage": snapshot.stage,
        "complete": snapshot.complete,
        "tasks": [
            _task(task, current is task, instrument.units)
            | {"verdict": bench.against_before.get(task.checkpoint.id, "")}
            for task in snapshot.tasks
        ],
        "now": None if current is None else _now(snapshot, current, bench),
    }


def _task(task: Task, current: bool, units: str) -> Document:
    point = task.checkpoint
    out = placements_out_by(point, [kept.placement for kept in task.taken]) if task.taken else None
    return {
        "id": point.id,
        "current": current,
        "taken": len(task.taken),
        "wanted": task.wanted,
        "skipped": task.skipped,
        "values": [placement_text(kept.placement, units) for kept in task.taken],
        "spread": "" if task.spread is None else amount_text(round(task.spread, 6), point.quantity, units),
        "tolerance": tolerance_text(out, point.quantity, units),
        "out": bool(out),
    }


def _now(snapshot: SnapshotWork, task: Task, bench: Bench) -> Document:
    """Return the checkpoint whose turn it is: what to do, where the gauge should be, how its reading rests."""
    point, placing = task.checkpoint, snapshot.placing_state
    instrument = bench.work.instrument
    document: Document = {
        "id": point.id,
        "todo": point.todo,
        "typed": placing is None,
        "unit": point.unit,
        "where": "Type what you read." if placing is None else where_now(point, placing, instrument.flat_spot),
        "reading": None,
        "progress": 0.0,
        "drawn": point.place.point_mm is not None,
    }
    if placing is not None and placing.reading is not None:
        document |= {"reading": reading_text(placing.reading, instrument.units), "progress": placing.progress}
        if placing.body_value is not None:
            reading = placing.reading
            body = value_text(placing.body_value, reading.quantity, reading.resolution, instrument.units)
            document["where"] += f" Body: {body}."
    return document


def clamps_document(session: ClampWork, gauges: Mapping[str, GaugeNow]) -> Document:
    """Return a clamp session: phase, times against the label, gauges against the start, what calls.

    Args:
        session: the session.
        gauges: what was heard of each of its gauges and links last, whatever the work.
    """
    instrument = session.instrument
    open_s, clamps_s = (session.seconds_since(kind) for kind in (MarkKind.GLUE_ON, MarkKind.CLAMPS_ON))
    return {
        "phase": session.phase.value,
        "times": clamp_times_words(session.phase, open_s, clamps_s, instrument.glue),
        "readings": session.readings,
        "gauges": [
            {
                "name": each.name,
                "now": None
                if each.latest is None
                else value_text(
                    each.latest.value, each.datasheet.quantity, each.datasheet.resolution, instrument.units
                ),
                "change": None
                if each.change is None
                else value_text(
                    each.change, each.datasheet.quantity, each.datasheet.resolution, instrument.units, signed=True
                ),
                "link": _link_words(gauges[each.name]),
            }
            for each in session.gauges.values()
        ],
        "marks": [
            {"kind": mark.kind.value, "words": mark.words, "time": iso_utc(mark.utc_us)} for mark in session.marks[-8:]
        ],
        "alarms": [
            {
                "head": alarm_head(each.alarm.kind),
                "words": alarm_words(each.alarm, instrument, session.utc_us_of(each.alarm.since_ns)),
                "calls": each.calls,
            }
            for each in session.alarms[-6:]
        ],
    }


def readings_document(bench: Bench, names: Sequence[str]) -> Document:
    """Return what a page has to be told of new readings: the gauges, and the work that goes by them.

    Args:
        bench: the work.
        names: gauges that were heard.
    """
    units = bench.work.instrument.units
    document: Document = {"gauges": [gauge_document(bench.gauges[name], units) for name in names]}
    if bench.sanding is not None and bench.sanding[1].gauge in names:
        document["sanding"] = sanding_document(bench.sanding[1])
    if bench.snapshot is not None and bench.snapshot.current is not None:
        document["now"] = _now(bench.snapshot, bench.snapshot.current, bench)
    return document
