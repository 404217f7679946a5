"""From an instrument file and typed readings to a neck setting: other hand, other unit, the same neck."""

from __future__ import annotations

import functools
import math
import re

import pytest

from gaugelog.analysis.neck_setting import FILE_KEYS, NeckSetting, Origin, neck_setting
from gaugelog.analysis.stage_means import stage_means
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.instruments.written_steps import written_steps
from gaugelog.model.instrument import Instrument
from gaugelog.model.placement import KeptPlacement, Placement, Settled, Snapshot

READ = {
    "neck-angle": (2.8, 2.9, 2.8),
    "neck-roll": (0.1, 0.0, 0.1),
    "clearance-bass": (0.45, 0.50, 0.45),
    "clearance-treble": (0.55, 0.55, 0.50),
    "edge-height-bass": (3.8, 3.9, 3.9),
    "edge-height-treble": (3.9, 4.0, 4.0),
    "end-rise": (4.2, 4.2, 4.3),
    "centreline-bridge": (0.2, 0.3, 0.2),
    "centreline-pickup": (0.2, 0.1, 0.2),
    "post-to-edge-bass": (7.9, 7.9, 8.0),
    "post-to-edge-treble": (7.5, 7.4, 7.5),
    "string-to-edge-bass": (3.0, 3.1, 3.0),
    "string-to-edge-treble": (3.4, 3.3, 3.4),
    "neck-relief": (0.15, 0.15, 0.15),
}
"""Invented readings of the invented neck of a new file, mm and degrees."""
ROUNDED_PLACES = 0.01
"""What a checkpoint's place, rounded to a thousandth of an inch, may move a figure besides."""


def snapshot(instrument: Instrument) -> Snapshot:
    placements = []
    for name, values in READ.items():
        checkpoint = instrument.checkpoint(name)
        for value in values:
            place = len(placements) + 1
            step = checkpoint.step or 0.1
            taken = Placement(name, checkpoint.quantity, value, f"{value}", checkpoint.unit, step, Settled.TYPED, place)
            placements.append(KeptPlacement(place, 1, "before", place, taken))
    return Snapshot(1, "before", 1, 0, None, tuple(placements))


def setting_of(text: str) -> NeckSetting:
    instrument = read_instrument(text, "here")
    return neck_setting(instrument, stage_means(instrument, snapshot(instrument)), written_steps(text), stage="before")


@functools.cache
def new_text(units: str = "mm") -> str:
    return new_instrument("invented", gauges="none", full=True, units=units)


def test_the_readings_of_the_example_agree_and_leave_the_bridge_its_room() -> None:
    """A plane of 2.8 degrees through 6 mm passes 19.43 mm over the saddle line, by the tangent."""
    found = setting_of(new_text())
    assert found.misfits == ()
    assert found.untold == ()
    assert found.missing == {}
    assert found.p is not None
    assert found.p > 0.05
    plane = [found.figures[f"plane_at_saddle.{side}"] for side in ("bass", "treble")]
    assert sum(each.value for each in plane) / 2 == pytest.approx(19.43, abs=2 * plane[0].u)
    assert found.figures["neck_angle"].value == pytest.approx(2.8, abs=2 * found.figures["neck_angle"].u)
    assert found.figures["travel.margin_low"].value > 1.0
    assert found.figures["travel.margin_high"].value > 1.0
    assert found.figures["break_angle"].value > 8.0


def test_a_left_handed_file_gives_the_same_numbers() -> None:
    """No sign is mirrored: the axes form a left-handed frame, bass stays minus y."""
    right = new_text()
    left = right.replace('handedness = "right"', 'handedness = "left"')
    assert read_instrument(left, "here").handedness == "left"
    mirrored, found = setting_of(left), setting_of(right)
    assert mirrored.figures == found.figures
    assert mirrored.budget == found.budget
    assert mirrored.unknowns == found.unknowns


def test_a_file_in_inches_gives_the_same_figures_within_its_rounding() -> None:
    """Every length rounded to its written digit moves a figure by at most √3 of that length's share of u."""
    inches, millimetres = setting_of(new_text("in")), setting_of(new_text())
    assert set(inches.figures) == set(millimetres.figures)
    from_file = [each.name for each in inches.inputs if each.origin is Origin.FILE]
    for name, estimate in inches.figures.items():
        shares = inches.budget[name]
        rounding = math.sqrt(3) * sum(abs(shares.get(key, 0.0)) for key in from_file)
        assert abs(estimate.value - millimetres.figures[name].value) <= rounding + ROUNDED_PLACES, name


def test_the_same_lengths_written_in_inches_to_ten_places_give_the_same_figures() -> None:
    def in_inches(match: re.Match[str]) -> str:
        return f'{match[1]} = "{float(match[2]) / 25.4:.10f} in"'

    names = [key.partition(".")[2] for key in FILE_KEYS]
    text = re.sub(rf"^({'|'.join(names)}) = ([\d.]+)", in_inches, new_text(), flags=re.MULTILINE)
    given = len(re.findall(r'^\w+ = "[\d.]+ in"', text, flags=re.MULTILINE))
    assert given == len(FILE_KEYS) - 1, "all but the underside's height, which touches"
    instrument = read_instrument(text, "here")
    means = stage_means(instrument, snapshot(instrument))
    found, expected = neck_setting(instrument, means, written_steps(new_text())), setting_of(new_text())
    assert set(found.figures) == set(expected.figures)
    for name, estimate in expected.figures.items():
        assert found.figures[name].value == pytest.approx(estimate.value, abs=1e-6), name
        assert found.figures[name].u == pytest.approx(estimate.u, rel=1e-6), name
