"""How finely the lengths of an instrument file were read, as their digits tell (common practice, no source)."""

from __future__ import annotations

import pytest

from gaugelog.analysis.neck_setting import FILE_KEYS
from gaugelog.errors import FaultyInstrumentError
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.instruments.written_steps import written_steps

SIXTY_FOURTH_MM = 25.4 / 64


def step(value: str, units: str = "mm") -> float | None:
    return written_steps(f'units = "{units}"\n[neck]\nnut_height = {value}\n').get("neck.nut_height")


@pytest.mark.parametrize(
    ("value", "step_mm"),
    [
        ("6.0", 0.1),
        ("6.00", 0.01),
        ("-1.25", 0.01),
        ("686", 0.5),
        ("0", 0.5),
        ("1_000.5", 0.1),
        ("1e-3", 0.001),
        ("1.5e2", 0.5),
        ('"6,05"', 0.01),
        ('"6.0 mm"', 0.1),
        ('"686 mm"', 0.5),
        ('"27.45 cm"', 0.1),
        ('"27.4 cm"', 0.5),
        ('"0.686 m"', 0.5),
        ('"1/16 in"', SIXTY_FOURTH_MM),
        ('"1/16"', SIXTY_FOURTH_MM),
        ('"1 1/8 in"', SIXTY_FOURTH_MM),
        ('"0.236 in"', 0.0254),
        ('"27 in"', SIXTY_FOURTH_MM),
        ('"1.1 in"', SIXTY_FOURTH_MM),
        ('"2 ft"', SIXTY_FOURTH_MM),
    ],
)
def test_a_decimal_is_read_to_its_last_digit_and_nothing_more_coarsely_than_by_a_rule(
    value: str, step_mm: float
) -> None:
    assert step(value) == pytest.approx(step_mm)


@pytest.mark.parametrize(
    ("value", "step_mm"),
    [
        ("0.250", 0.0254),
        ("27", SIXTY_FOURTH_MM),
        ("27.0", SIXTY_FOURTH_MM),
        ("0.25", 0.254),
        ('"1.60 mm"', 0.01),
        ('"16 mm"', 0.5),
        ('"3/32"', SIXTY_FOURTH_MM),
    ],
)
def test_a_file_in_inches(value: str, step_mm: float) -> None:
    assert step(value, "in") == pytest.approx(step_mm)


@pytest.mark.parametrize(
    "value", ["true", '"about six"', '""', '"6.0 kg"', '"1/0 in"', "[6.0]", "{a = 6.0}", "nan", "inf", "2026-01-01"]
)
def test_what_is_no_length_tells_nothing(value: str) -> None:
    assert step(value) is None


def test_only_neck_pocket_and_bridge_are_asked() -> None:
    text = "neck = 3.0\n[bridge]\nspacer = 1.60\n[pocket]\ndepth = 16.0\n[action]\nbass = 2.2\n[own]\nthing = 1.0\n"
    assert written_steps(text) == pytest.approx({"bridge.spacer": 0.01, "pocket.depth": 0.1})
    assert written_steps("") == {}


def test_every_length_that_enters_a_neck_setting_is_a_key_of_the_file() -> None:
    tables: dict[str, list[str]] = {}
    for key in FILE_KEYS:
        table, _, name = key.partition(".")
        tables.setdefault(table, []).append(name)
    rising = {key: 10.0 + place for place, key in enumerate(FILE_KEYS)}
    rising |= {"neck.fretboard_radius": 400.0, "bridge.tail_anchor_x": 500.0, "bridge.bearing_high": 99.0}
    lines = ['name = "invented"']
    for table, names in tables.items():
        lines += [f"[{table}]", *(f"{name} = {rising[f'{table}.{name}']:.1f}" for name in names)]
    lines += ["[[checkpoint]]", 'id = "end"', 'kind = "fretboard-end-rise"', "limit = 0.5", "step = 0.1"]
    text = "\n".join(lines)
    instrument = read_instrument(text, "here")
    assert written_steps(text) == pytest.approx(dict.fromkeys(FILE_KEYS, 0.1))
    for key in FILE_KEYS:
        table, _, name = key.partition(".")
        assert getattr(getattr(instrument, table), name) == rising[key]
    with pytest.raises(FaultyInstrumentError):
        read_instrument(text.replace("[neck]", "[neck]\nthickness_of_nothing = 1.0"), "here")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_new_file_tells_a_step_for_every_length_that_it_holds(units: str) -> None:
    text = new_instrument("invented", units=units, full=True)
    instrument, steps = read_instrument(text, "here"), written_steps(text)
    held = {key for key in FILE_KEYS if getattr(getattr(instrument, key.split(".")[0]), key.split(".")[1]) is not None}
    assert held <= set(steps)
    assert all(0 < each <= 0.5 for each in steps.values())
    assert steps["bridge.spacer"] == pytest.approx({"mm": 0.1, "in": 0.0254}[units])
