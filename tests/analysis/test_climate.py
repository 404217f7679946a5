"""Equilibrium moisture content, and what the weather could explain of a change."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_sessions import START, at

from gaugelog.analysis.climate import climate_share, climate_untold, moisture_content
from gaugelog.analysis.results import Gap
from gaugelog.analysis.series import Series, difference_of
from gaugelog.analysis.wood_path import NotTold, WoodPath, wood_path
from gaugelog.model.datasheet import Sends
from gaugelog.model.instrument import Checkpoint, Instrument, Neck, Place, Pocket, Wood
from gaugelog.model.kinds import KIND_BY_SLUG
from gaugelog.model.quantities import Quantity

ORACLES = Path(__file__).parents[1] / "oracles"

DAY_S = 86400.0


def published() -> list[tuple[float, float, float]]:
    """The handbook's table: degF, relative humidity, equilibrium moisture content; source in the file's head."""
    lines = (ORACLES / "wood" / "equilibrium_moisture.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return [(float(row["temp_f"]), float(row["rh_percent"]), float(row["emc_percent"])) for row in rows]


def in_fahrenheit(t: float, h: float) -> float:
    """The same equation in the handbook's other set of constants (equation 4-5, degrees Fahrenheit)."""
    w = 330 + 0.452 * t + 0.00415 * t**2
    k = 0.791 + 0.000463 * t - 0.000000844 * t**2
    k1 = 6.34 + 0.000775 * t - 0.0000935 * t**2
    k2 = 1.09 + 0.0284 * t - 0.0000904 * t**2
    first = k * h / (1 - k * h)
    second = (k1 * k * h + 2 * k1 * k2 * k**2 * h**2) / (1 + k1 * k * h + k1 * k2 * k**2 * h**2)
    return 1800 / w * (first + second)


def test_the_whole_published_table():
    rows = published()
    assert len(rows) == 187
    for temp_f, humidity, wanted in rows:
        assert moisture_content((temp_f - 32) / 1.8, humidity) == pytest.approx(wanted, abs=0.06)


def test_the_misprint_would_show():
    # 110 degF at 20 %: one reprint has 3.0
    assert abs(moisture_content((110 - 32) / 1.8, 20.0) - 3.0) > 0.9


@pytest.mark.parametrize(
    ("degc", "humidity", "wanted"),
    # Source: Wood Handbook, Table 4-2, its damp end
    [(37.8, 90.0, 19.5), (21.1, 95.0, 23.9), (-1.1, 95.0, 24.3), (21.1, 50.0, 9.2)],
)
def test_the_damp_end_of_the_table(degc, humidity, wanted):
    assert moisture_content(degc, humidity) == pytest.approx(wanted, abs=0.06)


def test_both_sets_of_constants_agree():
    for temp_f in range(30, 131, 5):
        for humidity in range(5, 86, 5):
            told = moisture_content((temp_f - 32) / 1.8, float(humidity))
            assert told == pytest.approx(in_fahrenheit(temp_f, humidity / 100), abs=0.011)


@given(st.floats(-1.0, 130.0), st.floats(5.0, 94.0), st.floats(0.1, 1.0))
def test_damper_air_makes_moister_wood(degc, humidity, more):
    assert moisture_content(degc, humidity + more) > moisture_content(degc, humidity)


def test_outside_the_table_there_is_no_value():
    for degc, humidity in ((20.0, 4.9), (20.0, 95.1), (-1.2, 50.0), (132.3, 50.0), (float("nan"), 50.0)):
        assert np.isnan(moisture_content(degc, humidity))


def test_arrays_are_the_numbers_one_by_one():
    degc, humidity = np.array([15.0, 20.0, 20.0]), np.array([55.0, 2.0, 65.0])
    told = moisture_content(degc, humidity)
    assert told[[0, 2]].tolist() == [moisture_content(15.0, 55.0), moisture_content(20.0, 65.0)]
    assert np.isnan(told[1])


# -- which wood a reading sees, and what the weather could do to it (invented instrument and weather)


def checkpoint(slug: str, **more: object) -> Checkpoint:
    kind = KIND_BY_SLUG[slug]
    told = {"id": slug, "kind": kind, "quantity": kind.quantity or Quantity.LENGTH, "unit": "mm", "todo": "", **more}
    return Checkpoint(**told)


END_RISE = checkpoint("fretboard-end-rise", gauge="depth", place=Place(direction=(0.0, 0.0, 1.0)))
ON_BENCH = checkpoint("fret-to-bridge-clearance", id="height", gauge="dial", body_gauge="dial-2")

BARITONE = Instrument(
    "an invented baritone",
    (END_RISE, ON_BENCH),
    neck=Neck(plane_height=6.0),
    pocket=Pocket(start=0.0, length=90.0, depth=16.0, body_thickness=44.5),
    wood=Wood("Walnut, black", "Maple, sugar", "radial", "tangential"),
)


def series(name: str, values, quantity: Quantity = Quantity.LENGTH, hours: float = 24.0, **more: object) -> Series:
    value = np.asarray(values, dtype=float)
    return Series(name, quantity, at(np.linspace(0, hours * 3600, value.size)), value, (0.01,), **more)


def weather(degc, humidity, **more: object) -> tuple[Series, Series]:
    return (
        series("temperature", degc, Quantity.TEMPERATURE, **more),
        series("humidity", humidity, Quantity.HUMIDITY, **more),
    )


def ramp(first: float, last: float) -> tuple[Series, Series]:
    """Air of 20 degC whose humidity goes evenly from one value to another, logged every ten minutes."""
    return weather(np.full(145, 20.0), np.linspace(first, last, 145))


DEPTH = series("depth", np.linspace(4.2, 4.3, 2000))


def test_over_the_body_top_neck_wood_lifts_and_pocket_wood_lowers():
    assert wood_path(BARITONE, DEPTH) == WoodPath(16.0, -16.0)
    raised = replace(BARITONE, neck=Neck(underside_height=1.5))
    assert wood_path(raised, DEPTH) == WoodPath(17.5, -16.0)


def test_two_gauges_on_the_bench_differ_by_what_one_on_the_body_sees():
    dial, other = series("dial", [10.0, 10.1, 10.2]), series("dial-2", [0.0, 0.0, 0.1])
    neck, body = wood_path(BARITONE, dial), wood_path(BARITONE, other)
    assert (neck, body) == (WoodPath(22.0, 28.5), WoodPath(0.0, 44.5))
    both = wood_path(BARITONE, difference_of(dial, other))
    assert both == WoodPath(neck.neck_mm - body.neck_mm, neck.body_mm - body.body_mm)
    assert wood_path(BARITONE, replace(dial, name="height")) == both


def test_a_free_length_over_the_pocket_is_read_up_or_down():
    up = checkpoint("free", gauge="rod", place=Place((45.0, 0.0, 8.0), (0.0, 0.0, 1.0)))
    rod = series("rod", [1.0, 1.1])
    assert wood_path(replace(BARITONE, checkpoints=(up,)), rod) == WoodPath(24.0, -16.0)
    down = replace(up, place=Place((45.0, 0.0, 8.0), (0.0, 0.0, -1.0)))
    assert wood_path(replace(BARITONE, checkpoints=(down,)), rod) == WoodPath(-24.0, 16.0)
    for place, why in (
        (Place((45.0, 0.0, 8.0), (0.0, 1.0, 0.0)), NotTold.NO_HEIGHT),
        (Place((45.0, 0.0, 8.0)), NotTold.NO_HEIGHT),
        (Place((-300.0, 0.0, 8.0), (0.0, 0.0, 1.0)), NotTold.GEOMETRY),
        (Place((45.0, 0.0, -16.0), (0.0, 0.0, 1.0)), NotTold.GEOMETRY),
    ):
        assert wood_path(replace(BARITONE, checkpoints=(replace(up, place=place),)), rod) is why


def test_worked_example_of_a_damp_day():
    # worked by hand: at 20 degC the handbook's equation gives 9.2711 % at 50 % and 10.9998 % at 60 %;
    # neck 16 x 0.00353, body -16 x 0.00190, times 1.7287
    temperature, humidity = weather([20.0] * 4000, np.repeat([50.0, 60.0], 2000))
    told = climate_share(BARITONE, DEPTH, 0.1, 0.01, temperature, humidity)
    assert told.moisture_from == pytest.approx(9.2711, abs=1e-4)
    assert told.moisture_to == pytest.approx(10.9998, abs=1e-4)
    assert told.explained == pytest.approx((16 * 0.00353 - 16 * 0.00190) * 1.7287, abs=1e-5)
    assert told.share == pytest.approx(told.explained / 0.1, rel=1e-12)
    # the neck's wood may be ahead of the body's, or behind it
    assert told.upper_bound is False
    assert told.highest == pytest.approx(16 * 0.00353 * 1.7287, abs=1e-5)
    assert told.lowest == pytest.approx(-16 * 0.00190 * 1.7287, abs=1e-5)


def test_over_the_bench_all_wood_works_one_way_and_equilibrium_is_the_most():
    dial = replace(DEPTH, name="dial")
    for first, last in ((45.0, 55.0), (55.0, 45.0)):
        told = climate_share(BARITONE, dial, 0.2, 0.01, *ramp(first, last))
        assert told.upper_bound is True
        assert told.explained in (pytest.approx(told.lowest), pytest.approx(told.highest))


@given(st.floats(35.0, 65.0), st.floats(35.0, 65.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_wood_that_lags_stays_between_lowest_and_highest(first, last, neck_lag, body_lag):
    # each wood goes its own part of the way to equilibrium (first-order lag towards the air's moisture, step by step)
    steps = np.linspace(first, last, 50)
    told = climate_share(BARITONE, DEPTH, 0.1, 0.01, *weather(np.full(50, 20.0), steps))
    air = moisture_content(np.full(50, 20.0), steps)
    moved = []
    for lag in (neck_lag, body_lag):
        moisture = told.moisture_from
        for each in np.clip(air, min(told.moisture_from, told.moisture_to), max(told.moisture_from, told.moisture_to)):
            moisture += lag * (each - moisture)
        moved.append(moisture - told.moisture_from)
    reading = 16 * 0.00353 * moved[0] - 16 * 0.00190 * moved[1]
    assert told.lowest - 1e-9 <= reading <= told.highest + 1e-9


def test_unchanged_weather_explains_nothing():
    told = climate_share(BARITONE, DEPTH, 0.1, 0.01, *weather([20.0] * 500, [50.0] * 500))
    assert (told.explained, told.share) == (0.0, 0.0)


def test_drier_air_works_the_other_way():
    damp = climate_share(BARITONE, DEPTH, 0.1, 0.01, *ramp(45.0, 55.0))
    dry = climate_share(BARITONE, DEPTH, 0.1, 0.01, *ramp(55.0, 45.0))
    assert dry.explained == pytest.approx(-damp.explained, rel=1e-12)
    assert dry.share < 0 < damp.share


def test_a_change_within_its_uncertainty_has_no_share():
    logged = ramp(45.0, 55.0)
    assert climate_share(BARITONE, DEPTH, 0.019, 0.01, *logged).share is None
    assert climate_share(BARITONE, DEPTH, -0.021, 0.01, *logged).share < 0
    assert climate_share(BARITONE, DEPTH, 0.0, 0.0, *logged).share is None


def test_a_swing_that_came_back_is_no_upper_bound():
    dial, hours = replace(DEPTH, name="dial"), np.linspace(0, 24, 1441)
    warm = np.full(hours.size, 20.0)
    swing = 50 + 15 * np.exp(-(((hours - 12) / 3) ** 2))
    told = climate_share(BARITONE, dial, 0.1, 0.01, *weather(warm, swing))
    assert told.explained == pytest.approx(0.0, abs=1e-3)
    assert told.upper_bound is False
    # worked by hand: at the swing's height, 65 %, the handbook's equation gives 11.9963 %, at 50 % 9.2711 %
    assert told.highest == pytest.approx((22 * 0.00353 + 28.5 * 0.00190) * (11.9963 - 9.2711), rel=0.01)
    noise = np.random.default_rng(5).normal(50, 0.5, hours.size)
    assert climate_share(BARITONE, dial, 0.1, 0.01, *weather(warm, noise)).upper_bound is True


def test_a_swing_out_of_the_tables_has_no_range():
    for far in (97.0, 90.0, 10.0):
        damp = np.repeat([50.0, far, 55.0], 500)
        told = climate_share(BARITONE, replace(DEPTH, name="dial"), 0.1, 0.01, *weather(np.full(1500, 20.0), damp))
        assert told.upper_bound is False
        assert (told.lowest, told.highest) == (None, None)
        assert told.moisture_to > told.moisture_from


def test_a_held_value_does_not_stand_through_a_gap():
    temperature, humidity = weather([20.0, 20.0], [45.0, 55.0])  # read at both ends
    hours = np.array([0, 2]) * 3600 * 1_000_000
    held = replace(humidity, utc_us=START + hours, sends=Sends.ON_CHANGE)
    assert climate_share(BARITONE, DEPTH, 0.1, 0.01, temperature, held) is not None
    lost = replace(held, gaps=(Gap(START + int(hours[1]) + 1, int(DEPTH.utc_us[-1]) + 1, "link lost"),))
    assert climate_untold(BARITONE, DEPTH, temperature, lost) is NotTold.WEATHER_ELSEWHERE


def test_weather_typed_or_sent_on_change_counts():
    typed = weather([20.0, 20.0, 20.0], [45.0, 50.0, 55.0], sends=Sends.WHEN_TYPED)
    told = climate_share(BARITONE, replace(DEPTH, name="dial"), 0.1, 0.01, *typed)
    assert told.upper_bound is True
    # worked by hand: 8.4852 % at 45 %, 10.1013 % at 55 %, by the handbook's equation
    assert told.explained == pytest.approx((22 * 0.00353 + 28.5 * 0.00190) * (10.1013 - 8.4852), abs=1e-5)
    moments = START + np.array([-60, 8 * 3600, 16 * 3600]) * 1_000_000
    early = (replace(each, utc_us=moments, sends=Sends.ON_CHANGE) for each in typed)
    assert climate_share(BARITONE, replace(DEPTH, name="dial"), 0.1, 0.01, *early) == told


def test_weather_read_at_both_ends_only_may_have_swung_between():
    told = climate_share(BARITONE, replace(DEPTH, name="dial"), 0.1, 0.01, *weather([20.0, 20.0], [45.0, 55.0]))
    assert told.explained == pytest.approx((22 * 0.00353 + 28.5 * 0.00190) * (10.1013 - 8.4852), abs=1e-5)
    assert told.upper_bound is False
    assert (told.lowest, told.highest) == (None, None)


def test_a_wild_value_of_the_weather_that_was_flagged_does_not_count():
    temperature, humidity = weather([20.0] * 4000, np.repeat([50.0, 60.0], 2000))
    value, flags = humidity.value.copy(), np.zeros(4000, dtype=int)
    value[5], value[9] = np.nan, 2000.0
    flags[9] = 4  # over range
    wild = replace(humidity, value=value, flags=flags)
    clean = climate_share(BARITONE, DEPTH, 0.1, 0.01, temperature, humidity)
    assert climate_share(BARITONE, DEPTH, 0.1, 0.01, temperature, wild) == clean


LOGGED = ramp(45.0, 55.0)


@pytest.mark.parametrize(
    ("instrument", "told_of", "logged", "why"),
    [
        (BARITONE, DEPTH, (None, LOGGED[1]), NotTold.NO_WEATHER),
        (BARITONE, DEPTH, (LOGGED[0], None), NotTold.NO_WEATHER),
        (BARITONE, DEPTH, weather([20.0] * 9, [50.0] * 9, hours=12.0), NotTold.WEATHER_ELSEWHERE),
        (BARITONE, DEPTH, weather([], []), NotTold.WEATHER_ELSEWHERE),
        (BARITONE, DEPTH, weather([20.0, 20.0], [50.0, 97.0]), NotTold.WEATHER_RANGE),
        (BARITONE, DEPTH, weather([20.0, 20.0], [50.0, 25.0]), NotTold.MOISTURE_RANGE),
        (BARITONE, replace(DEPTH, utc_us=DEPTH.utc_us[:1], value=DEPTH.value[:1]), LOGGED, NotTold.TOO_SHORT),
        (BARITONE, replace(DEPTH, quantity=Quantity.ANGLE), LOGGED, NotTold.ANGLE),
        (BARITONE, replace(DEPTH, quantity=Quantity.HUMIDITY), LOGGED, NotTold.NO_HEIGHT),
        (BARITONE, replace(DEPTH, name="caliper"), LOGGED, NotTold.NO_HEIGHT),
        (
            replace(BARITONE, checkpoints=(END_RISE, checkpoint("saddle-height", gauge="depth"))),
            DEPTH,
            LOGGED,
            NotTold.SEVERAL,
        ),
        (
            replace(BARITONE, checkpoints=(checkpoint("saddle-height", gauge="depth"),)),
            DEPTH,
            LOGGED,
            NotTold.NO_HEIGHT,
        ),
        (replace(BARITONE, pocket=Pocket(body_thickness=44.5)), DEPTH, LOGGED, NotTold.GEOMETRY),
        (replace(BARITONE, pocket=Pocket(depth=16.0)), replace(DEPTH, name="dial"), LOGGED, NotTold.GEOMETRY),
        (replace(BARITONE, pocket=Pocket(depth=16.0)), replace(DEPTH, name="dial-2"), LOGGED, NotTold.GEOMETRY),
        (replace(BARITONE, neck=Neck()), replace(DEPTH, name="dial"), LOGGED, NotTold.GEOMETRY),
        (replace(BARITONE, wood=replace(BARITONE.wood, neck="moon wood")), DEPTH, LOGGED, NotTold.WOOD),
        (replace(BARITONE, wood=replace(BARITONE.wood, body_grain="")), DEPTH, LOGGED, NotTold.WOOD),
    ],
)
def test_what_is_not_known_is_not_told_and_the_reason_is(instrument, told_of, logged, why):
    assert climate_untold(instrument, told_of, *logged) is why
    assert climate_share(instrument, told_of, 0.1, 0.01, *logged) is None


def test_the_body_alone_needs_no_wood_of_the_neck():
    unnamed = replace(BARITONE, wood=replace(BARITONE.wood, neck="", neck_grain=""))
    told = climate_share(unnamed, replace(DEPTH, name="dial-2"), 0.3, 0.01, *LOGGED)
    # worked by hand: 44.5 mm of walnut, radial
    assert told.explained == pytest.approx(44.5 * 0.00190 * (told.moisture_to - told.moisture_from), rel=1e-12)
    assert climate_untold(unnamed, replace(DEPTH, name="dial-2"), *LOGGED) is None


@pytest.mark.parametrize(
    ("change", "u", "logged"),
    [
        (float("nan"), 0.01, LOGGED),
        (0.1, -0.01, LOGGED),
        (0.1, float("inf"), LOGGED),
        (0.1, 0.01, (LOGGED[1], LOGGED[0])),
    ],
)
def test_wrong_arguments(change, u, logged):
    with pytest.raises(ValueError):
        climate_share(BARITONE, DEPTH, change, u, *logged)
