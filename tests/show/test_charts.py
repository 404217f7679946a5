"""Charts: few points, nothing lost, gaps left open, nights left out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.analysis.results import Comparison, Drift, Gap, Verdict
from gaugelog.errors import WriteFailedError
from gaugelog.model.placement import Mark, MarkKind, Snapshot
from gaugelog.show.charts import ChartSeries, DriftChart, write_chart
from gaugelog.show.comparison_chart import comparison_figure, comparison_label
from gaugelog.show.drift_chart import drift_figure, drift_label
from gaugelog.show.envelope import envelope, stretches
from gaugelog.show.palette import INK, VERDICT_COLOURS, VERDICT_SYMBOLS
from gaugelog.show.sittings import panels_of

HOUR_US = 3600 * 1_000_000


def _points(figure: object) -> int:
    return sum(len(trace.x) for trace in figure.data)  # type: ignore[attr-defined]


@given(
    st.lists(st.floats(-5, 5), min_size=1, max_size=300),
    st.integers(1, 50),
    st.integers(1, 10**9),
)
def test_every_reading_lies_in_the_envelope_of_its_span(values: list[float], spans: int, step_us: int) -> None:
    utc_us = np.arange(len(values), dtype=np.int64) * step_us
    value = np.array(values)
    drawn = envelope(utc_us, value, spans)
    assert drawn.low.size <= spans
    assert (drawn.low.min(), drawn.high.max()) == (value.min(), value.max())
    for at_us, each in zip(utc_us, value, strict=True):
        place = int(np.searchsorted(drawn.start_us, at_us, side="right")) - 1
        assert drawn.start_us[place] <= at_us <= drawn.end_us[place]
        assert drawn.low[place] <= each <= drawn.high[place]


def test_one_knock_among_a_million_readings_is_drawn(drifted: Drift) -> None:
    utc_us = np.arange(1_000_000, dtype=np.int64) * 20_000
    value = np.zeros(utc_us.size)
    value[654_321] = 0.35
    chart = DriftChart("", [ChartSeries("neck", "deg", utc_us, value)], Drift(0, ()))
    figure = drift_figure(chart)
    assert _points(figure) < 2000
    assert max(max(y for y in trace.y if y is not None) for trace in figure.data) == pytest.approx(0.35)


def test_a_session_is_drawn_with_few_points_and_its_slip(chart: DriftChart) -> None:
    figure = drift_figure(chart)
    assert _points(figure) < 5000
    difference = [trace for trace in figure.data if trace.name == "neck - body"]
    assert len(difference) == 2
    first = np.array([y for y in difference[0].y if y is not None])
    assert np.median(np.sort(first)[-20:]) == pytest.approx(0.2, abs=0.03)
    raw = [each for each in difference[0].customdata if each is not None]
    assert min(raw) > 2.7


def test_a_gap_stays_a_gap_and_is_shaded(chart: DriftChart) -> None:
    figure = drift_figure(chart)
    neck, body = (next(t for t in figure.data if t.name == name) for name in ("neck", "body"))
    assert list(neck.y).count(None) == 1
    assert list(body.y).count(None) == 0
    gap = next(gap for gap in chart.drift.series[0].gaps if gap.fault)
    place = list(neck.x).index(None)
    before, after = (np.datetime64(neck.x[place + side]) for side in (-1, 1))
    assert (after - before) / np.timedelta64(1, "s") >= (gap.end_utc_us - gap.start_utc_us) / 1e6
    shaded = [shape for shape in figure.layout.shapes if shape.type == "rect" and "111,103,93" in shape.fillcolor]
    assert len(shaded) == 2


def test_marks_are_lines_with_names_and_a_note_is_told_as_written(chart: DriftChart) -> None:
    noted = replace(chart, marks=(*chart.marks, Mark(chart.marks[0].utc_us, MarkKind.NOTE, "<b>loud</b>")))
    figure = drift_figure(noted)
    names = [each.text for each in figure.layout.annotations]
    assert {"glue on", "clamps on", "heard it creak", "clamps off"} <= set(names)
    assert "&lt;b>loud&lt;/b>" in names
    lines = [shape for shape in figure.layout.shapes if shape.name == "mark"]
    assert len(lines) == len(noted.marks) * len(noted.series)


def test_rows_of_one_unit_share_their_scale(chart: DriftChart) -> None:
    layout = drift_figure(chart).layout
    assert layout.yaxis.range == layout.yaxis3.range == layout.yaxis5.range


def test_a_night_between_two_sittings_takes_no_room() -> None:
    first = np.arange(0, HOUR_US, 1_000_000, dtype=np.int64)
    second = first[:600] + 23 * HOUR_US
    panels = panels_of([np.concatenate([first, second])], 0, int(second[-1]))
    assert [panel.end_us - panel.start_us for panel in panels] == [first[-1], second[-1] - second[0]]
    assert sum(panel.share for panel in panels) == pytest.approx(1.0)
    assert panels[0].share > panels[1].share > 0.1


def test_spot_readings_of_a_sleeping_gauge_stay_in_one_panel() -> None:
    hourly = np.arange(0, 24 * HOUR_US, HOUR_US, dtype=np.int64)
    assert len(panels_of([hourly], 0, int(hourly[-1]))) == 1
    assert len(panels_of([], 0, HOUR_US)) == 1


def test_stretches_are_cut_where_the_gaps_are() -> None:
    utc_us = np.array([0, 1, 2, 10, 11], dtype=np.int64)
    assert stretches(utc_us, [Gap(2, 10, "silent"), Gap(30, 40, "later")]) == (slice(0, 3), slice(3, 5))
    assert stretches(utc_us, []) == (slice(0, 5),)


def test_few_readings_are_drawn_as_they_are_and_lengths_in_inches() -> None:
    utc_us = np.array([0, HOUR_US, 2 * HOUR_US], dtype=np.int64)
    spots = ChartSeries("clearance-bass", "mm", utc_us, np.array([0.254, 0.508, 0.254]))
    trace = drift_figure(DriftChart("", [spots], Drift(0, ()), units="in")).data[0]
    assert list(trace.customdata) == pytest.approx([0.01, 0.02, 0.01])
    assert trace.mode == "lines+markers"


def test_a_session_without_a_reading_can_be_drawn() -> None:
    empty = ChartSeries("neck", "deg", np.empty(0, dtype=np.int64), np.empty(0))
    assert _points(drift_figure(DriftChart("", [empty], Drift(0, ())))) == 0


def test_shifts_are_told_in_limits_with_a_symbol_a_verdict(comparison: Comparison) -> None:
    figure = comparison_figure(comparison)
    drawn = {name: x for trace in figure.data for name, x in zip(trace.y, trace.x, strict=True)}
    for row in comparison.checkpoints:
        assert drawn[row.id] == pytest.approx(row.shift / row.limit)
    assert len({trace.marker.symbol for trace in figure.data}) == 3
    assert len(set(VERDICT_SYMBOLS.values())) == len(Verdict)
    assert "1 moved" in comparison_label(comparison)


def test_placements_stand_as_dots_beside_the_shift_they_make(
    comparison: Comparison, before: Snapshot, after: Snapshot
) -> None:
    older = replace(before, number=0, placements=before.placements[:1])
    unfinished = replace(after, number=2, placements=after.placements[:1], complete_utc_us=None)
    plain = comparison_figure(comparison)
    figure = comparison_figure(comparison, snapshots=(older, before, after, unfinished))
    dots = {trace.name: trace for trace in figure.data[len(plain.data) :]}
    assert set(dots) == {"placement before", "placement after"}
    for row in comparison.checkpoints:
        if row.limit is None or row.shift is None or not row.counts:
            continue
        mean = {
            name: np.mean([x for x, y in zip(trace.x, trace.y, strict=True) if x is not None and y == row.id])
            for name, trace in dots.items()
        }
        # By definition: the first stage lies around 0, the second around the shift.
        assert mean["placement before"] == pytest.approx(0.0, abs=1e-5)
        assert mean["placement after"] == pytest.approx(row.shift / row.limit, abs=1e-5)
        assert list(dots["placement before"].y[1:]).count(row.id) == row.before.n
    assert len({trace.marker.symbol for trace in dots.values()}) == 2
    assert {trace.marker.standoff[0] for trace in dots.values()} == {0}
    drawn = [
        (x, y, off) for t in [dots["placement after"]] for x, y, off in zip(t.x, t.y, t.marker.standoff, strict=True)
    ]
    assert len(set(drawn)) == len(drawn)


def _contrast(colour: str, other: str) -> float:
    """Return the contrast ratio of two colours, by WCAG 2.2 (definitions of relative luminance and contrast ratio)."""

    def luminance(text: str) -> float:
        parts = [int(text[place : place + 2], 16) / 255 for place in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(colour), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("colour", [*VERDICT_COLOURS.values(), INK, "#6f675d"])
def test_every_colour_of_text_can_be_read_on_white_and_on_the_wash(colour: str) -> None:
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1 for text.
    assert _contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert _contrast(colour, "#ffffff") >= 4.5
    assert _contrast(colour, "#f6f2ea") >= 4.5


def test_a_chart_is_written_whole_or_not_at_all(chart: DriftChart, tmp_path: Path) -> None:
    target = tmp_path / "chart.html"
    write_chart(target, chart)
    page = target.read_text(encoding="utf-8")
    assert "SIMULATED" in page
    assert drift_label(chart).split(".")[0] in page
    assert [each.name for each in tmp_path.iterdir()] == ["chart.html"]
    with pytest.raises(WriteFailedError):
        write_chart(tmp_path / "no such folder" / "chart.html", chart)
