"""A clamp session as a whole: what is told of which series."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from gaugelog.analysis.series import Series
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.model.clock import Anchor
from gaugelog.model.datasheet import Datasheet, Sends, ValueRule
from gaugelog.model.gauges import Address, GaugeName
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.kinds import SPOT
from gaugelog.model.placement import CLAMP_SITTING, Placement, Settled
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Heard, Reading
from gaugelog.review.session import NOT_RUNNING, Session, session_of
from gaugelog.store.reader import open_recording
from gaugelog.store.writer import RecordingWriter

HOUR_US = 3_600_000_000
START_US = 1_760_000_000_000_000


def test_what_weather_and_bench_could_explain_is_told_of_the_series_they_concern() -> None:
    """An invented day: the air grows damp, a depth gauge over the joint and two angle gauges are left lying."""
    instrument = read_instrument(new_instrument("invented", gauges="two", full=True), "here")
    seconds = np.arange(0.0, 7200.0, 5.0)
    times = 1_760_000_000_000_000 + np.round(seconds * 1e6).astype(np.int64)
    chance = np.random.default_rng(5)

    def series(name: str, quantity: Quantity, start: float, end: float, step: float) -> Series:
        value = np.linspace(start, end, seconds.size) + chance.normal(0.0, step / 2, seconds.size)
        return Series(name, quantity, times, np.round(value / step) * step, (step,), period_s=5.0)

    gauges = (
        series("neck", Quantity.ANGLE, 3.0, 3.4, 0.05),
        series("body", Quantity.ANGLE, 0.2, 0.5, 0.05),
        series("air", Quantity.TEMPERATURE, 20.0, 20.0, 0.5),
        series("damp", Quantity.HUMIDITY, 45.0, 60.0, 1.0),
    )
    session = Session(
        gauges, (("neck", "body"),), (), int(times[0]), int(times[-1]) + 1, {"neck - body": 0.2}, instrument
    )
    told = {each.name: each for each in session.drift().series}
    bench = told["neck - body"].bench
    assert bench is not None
    assert bench.body_change == pytest.approx(0.3, abs=0.05)
    assert bench.share == pytest.approx(0.75, abs=0.15)
    assert told["neck"].bench is None
    assert told["neck"].weather is None, "even swelling turns no neck"
    assert told["air"].explained is None


def sit(path: Path, start_us: int, **gauges: Quantity) -> None:
    """Record a minute of a clamp session, a reading a second of each gauge; invented values."""
    with RecordingWriter.open(path, anchor=Anchor(0, start_us), command=CLAMP_SITTING) as writer:
        for name, quantity in gauges.items():
            rule = ValueRule("number", quantity.base_unit)
            sheet = Datasheet("invented", "invented", quantity, Sends.STEADILY, "line", {}, rule, 0.05, rate_hz=1.0)
            writer.put_gauge(NamedGauge(name, GaugeName("invented", Address("typed", "", {}, "typed:"), name)), sheet)
            for second in range(60):
                time_ns = second * 10**9
                reading = Reading(time_ns, name, quantity, 2.5, "2.50", quantity.base_unit, 0.05)
                writer.hear(Heard(name, Chunk(time_ns, b""), (reading,)))


def test_an_earlier_sitting_brought_in_later_leaves_a_pause_and_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "invented.gaugelog"
    for start_us in (START_US, START_US - HOUR_US, START_US - 2 * HOUR_US):
        sit(path, start_us, neck=Quantity.ANGLE)
    with open_recording(path) as kept:
        session = session_of(kept, read_instrument(new_instrument("invented", gauges="two"), "here"))
    (neck,) = session.series
    assert [(gap.start_utc_us - START_US, gap.end_utc_us - START_US, gap.reason) for gap in neck.gaps] == [
        (-2 * HOUR_US + 59_000_000, -HOUR_US, NOT_RUNNING),
        (-HOUR_US + 59_000_000, 0, NOT_RUNNING),
    ]
    assert not any(gap.fault for gap in session.drift().series[0].gaps)


def test_a_pair_that_reads_two_quantities_has_no_difference_and_hinders_nothing(tmp_path: Path) -> None:
    path = tmp_path / "invented.gaugelog"
    sit(path, START_US, neck=Quantity.ANGLE, body=Quantity.LENGTH)
    with open_recording(path) as kept:
        session = session_of(kept, read_instrument(new_instrument("invented", gauges="two"), "here"))
    assert session.pairs == ()
    assert [each.name for each in session.drift().series] == ["neck", "body"]


def test_a_gauge_named_like_a_checkpoint_hides_no_spot_reading(tmp_path: Path) -> None:
    path = tmp_path / "invented.gaugelog"
    sit(path, START_US, **{"neck-angle": Quantity.ANGLE})
    with RecordingWriter.open(path, anchor=Anchor(0, START_US), command=CLAMP_SITTING) as writer:
        placement = Placement("neck-angle", Quantity.ANGLE, 9.9, "9.9", "deg", 0.1, Settled.TYPED, 30 * 10**9)
        writer.place(writer.snapshot(SPOT).id, placement)
    with open_recording(path) as kept:
        session = session_of(kept, read_instrument(new_instrument("invented", gauges="two"), "here"))
    assert {each.name: each.value[0] for each in session.series} == {"neck-angle": 2.5, "neck-angle (spot)": 9.9}
    assert len({each.name for each in session.drift().series}) == 2
