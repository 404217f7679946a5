"""A synthetic piece of work: invented placements and an invented clamp session, judged by the real analysis."""

from __future__ import annotations

import random
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gaugelog.analysis.comparison import GaugeFacts, compare
from gaugelog.analysis.drift import drift
from gaugelog.analysis.results import Comparison, Drift, Gap
from gaugelog.analysis.series import Series, difference_of
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.instruments.typed_placement import typed_placement
from gaugelog.model.datasheet import Sends
from gaugelog.model.instrument import Instrument
from gaugelog.model.placement import KeptPlacement, Mark, MarkKind, Part, Placement, Role, Settled, Snapshot
from gaugelog.model.quantities import Quantity
from gaugelog.show.charts import ChartSeries, DriftChart
from gaugelog.show.report import GaugeUsed, ReportData

sys.path.insert(0, str(Path(__file__).parent))

DAY_US = 24 * 3600 * 1_000_000
BEGUN_US = 1_773_498_300_000_000
"""2026-03-14 14:25 UTC, an invented afternoon."""

_BEFORE = {"pocket-wall-squareness": 90.05, "neck-angle": 2.80, "neck-roll": 0.05, "control": 0.15}
_AFTER = {"neck-angle": 2.80, "neck-roll": 0.15, "control": 0.15}
_TYPED = {
    "before": {
        "clearance-bass": ["0.50..0.55", "0.55..0.60", "0.50..0.55"],
        "clearance-treble": ["0.55..0.60", "0.55..0.60", "0.55..0.60"],
        "centreline-bridge": ["-0.1", "-0.1", "0.0"],
    },
    "after": {
        "clearance-bass": ["0.55..0.60", "0.55..0.60", "0.50..0.55"],
        "clearance-treble": ["0.55..0.60", "0.60..0.65", "0.55..0.60"],
        "centreline-bridge": ["0.7", "0.8", "0.8"],
    },
}


def _gauge_placement(checkpoint: str, value: float, body: float, time_ns: int) -> Placement:
    def part(role: Role, gauge: str, number: float) -> Part:
        return Part(role, gauge, number, f"{number:.2f}", "deg", 0.05, 0.05, 15, time_ns - 1_500_000_000, time_ns)

    value = round(value, 2)
    parts = (part(Role.NECK, "neck", round(value + body, 2)), part(Role.BODY, "body", body))
    return Placement(
        checkpoint,
        Quantity.ANGLE,
        value,
        f"{value:.2f}",
        "deg",
        0.05,
        Settled.STEADY,
        time_ns,
        "neck",
        spread=0.05,
        parts=parts,
    )


def make_instrument() -> Instrument:
    """Return the usual plan for two gauges, one limit tighter than they can prove."""
    text = new_instrument("synthetic-baritone", gauges="two")
    instrument = read_instrument(text, "synthetic-baritone.toml")
    tighter = tuple(replace(each, limit=0.1) if each.id == "neck-roll" else each for each in instrument.checkpoints)
    return replace(instrument, checkpoints=tighter)


def make_snapshot(instrument: Instrument, stage: str) -> Snapshot:
    """Return an invented snapshot: gauges a digit apart now and then, one placement dropped."""
    begun_us = BEGUN_US if stage == "before" else BEGUN_US + DAY_US
    chance = random.Random(stage)
    kept: list[KeptPlacement] = []

    def keep(placement: Placement, dropped: str | None = None) -> None:
        number = len(kept) + 1
        kept.append(KeptPlacement(number, 1, stage, begun_us + number * 17_000_000, placement, dropped))

    for point in instrument.at_stage(stage):
        time_ns = (len(kept) + 1) * 17_000_000_000
        if point.gauge is None:
            for text in _TYPED[stage][point.id]:
                keep(typed_placement(point, text, time_ns, Settled.TYPED, point.step or 0.1))
            continue
        truth = (_BEFORE if stage == "before" else _AFTER)[point.id]
        if point.id == "neck-angle" and stage == "before":
            keep(_gauge_placement(point.id, truth + 0.4, 0.6, time_ns), "a foot stood on the tape")
        for _ in range(3):
            keep(_gauge_placement(point.id, truth + chance.choice((0.0, 0.0, 0.05)), 0.6, time_ns))
    end_us = kept[-1].utc_us + 5_000_000
    return Snapshot(1 if stage == "before" else 2, stage, 1, begun_us, end_us, tuple(kept), ())


def make_series(seconds: float = 2100.0, rate_hz: float = 2.0) -> tuple[tuple[Series, ...], tuple[Mark, ...]]:
    """Return an invented clamp session: a slip of 0.2° set back later, a gap, a night, a second sitting."""
    start_us = BEGUN_US + 1_200_000_000
    noise = np.random.default_rng(7)

    def times(from_s: float, to_s: float) -> np.ndarray:
        return np.arange(from_s, to_s, 1 / rate_hz)

    night_s = 22 * 3600.0
    first, second = times(0, seconds), times(seconds + night_s, seconds + night_s + 480)
    at_s = np.concatenate([first, second])
    drifted = 0.06 * (1 - np.exp(-at_s / 720))
    slipped = np.where((at_s > 420) & (at_s < 780), 0.2, 0.0) + np.where(at_s >= 780, 0.01, 0.0)
    body = -1.37 + drifted + noise.normal(0, 0.02, at_s.size)
    neck = body + 2.83 + slipped + noise.normal(0, 0.02, at_s.size)

    def digits(values: np.ndarray) -> np.ndarray:
        return np.round(values / 0.05) * 0.05

    utc = (start_us + at_s * 1e6).astype(np.int64)
    pause = Gap(int(utc[first.size - 1]), int(utc[first.size]), "gaugelog was not running", fault=False)
    pulled = Gap(start_us + 1_500_000_000, start_us + 1_560_000_000, "the cable was pulled")
    lost = (utc > pulled.start_utc_us) & (utc < pulled.end_utc_us)
    period_s = 1 / rate_hz
    series = (
        Series(
            "neck",
            Quantity.ANGLE,
            utc[~lost],
            digits(neck)[~lost],
            (0.05,),
            Sends.STEADILY,
            None,
            period_s,
            None,
            (pulled, pause),
        ),
        Series("body", Quantity.ANGLE, utc, digits(body), (0.05,), Sends.STEADILY, None, period_s, None, (pause,)),
    )
    marks = (
        Mark(start_us + 120_000_000, MarkKind.GLUE_ON),
        Mark(start_us + 300_000_000, MarkKind.CLAMPS_ON),
        Mark(start_us + 430_000_000, MarkKind.NOTE, "heard it creak"),
        Mark(int(utc[first.size]) + 180_000_000, MarkKind.CLAMPS_OFF),
    )
    return series, marks


def make_drift(series: Sequence[Series], marks: Sequence[Mark]) -> Drift:
    """Return what the invented session did."""
    return drift(
        series,
        marks,
        pairs=(("neck", "body"),),
        start_utc_us=int(series[1].utc_us[0]),
        end_utc_us=int(series[1].utc_us[-1]) + 1,
    )


@pytest.fixture(scope="session")
def instrument() -> Instrument:
    return make_instrument()


@pytest.fixture(scope="session")
def before(instrument: Instrument) -> Snapshot:
    return make_snapshot(instrument, "before")


@pytest.fixture(scope="session")
def after(instrument: Instrument) -> Snapshot:
    return make_snapshot(instrument, "after")


def make_comparison(instrument: Instrument, before: Snapshot, after: Snapshot) -> Comparison:
    """Return the verdicts on the invented placements."""
    return compare(instrument, before, after, gauges={"neck": GaugeFacts(0.1), "body": GaugeFacts(0.1)})


@pytest.fixture(scope="session")
def comparison(instrument: Instrument, before: Snapshot, after: Snapshot) -> Comparison:
    return make_comparison(instrument, before, after)


@pytest.fixture(scope="session")
def clamped() -> tuple[tuple[Series, ...], tuple[Mark, ...]]:
    return make_series()


@pytest.fixture(scope="session")
def drifted(clamped: tuple[tuple[Series, ...], tuple[Mark, ...]]) -> Drift:
    return make_drift(*clamped)


def make_chart(series: Sequence[Series], marks: Sequence[Mark], drifted: Drift) -> DriftChart:
    """Return the invented session as a chart."""
    drawn = [*series, difference_of(series[0], series[1])]
    curves = [
        ChartSeries(each.name, each.quantity.base_unit, each.utc_us, each.value, each.difference) for each in drawn
    ]
    return DriftChart("Synthetic baritone: clamp session", curves, drifted, marks, "mm", simulated=True)


@pytest.fixture(scope="session")
def chart(clamped: tuple[tuple[Series, ...], tuple[Mark, ...]], drifted: Drift) -> DriftChart:
    return make_chart(*clamped, drifted)


def make_report(
    instrument: Instrument, comparison: Comparison, chart: DriftChart, snapshots: Sequence[Snapshot]
) -> ReportData:
    """Return the invented work as a report."""
    title = "angle gauge, one line a reading, 0.05°"
    return ReportData(
        instrument=instrument,
        recording="synthetic-baritone.gaugelog",
        version="0.0.0",
        made_utc_us=BEGUN_US + 2 * DAY_US,
        comparison=comparison,
        drift=chart.drift,
        series=chart.series,
        marks=chart.marks,
        snapshots=snapshots,
        gauges=[
            GaugeUsed(name, title, f"angle-line@sim:{name}", Quantity.ANGLE, 0.05, 0.1) for name in ("neck", "body")
        ],
        rejects={("neck", "does not match the pattern"): 3},
        gaps=[("neck", gap) for gap in chart.drift.series[0].gaps],
        simulated=True,
    )


@pytest.fixture(scope="session")
def report(
    instrument: Instrument, comparison: Comparison, chart: DriftChart, before: Snapshot, after: Snapshot
) -> ReportData:
    return make_report(instrument, comparison, chart, (before, after))
