"""The stream view: state, band, passes, figures."""

from __future__ import annotations

from itertools import pairwise

import pytest
from rich.cells import cell_len
from rich.console import Console

from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Flag, LinkChange, LinkState, Reading
from gaugelog.show.bignumber import big_lines
from gaugelog.show.sanding import SandingState, reading_line
from gaugelog.show.sanding_view import sanding_view

SIZES = ((40, 10), (60, 15), (80, 24), (120, 30), (160, 45))


class Bench:
    """A gauge that says what it is told, ten times a second."""

    def __init__(self, **options: object) -> None:
        self.state = SandingState(Quantity.ANGLE, 0.05, gauge="block", **options)  # type: ignore[arg-type]
        self.time_ns = 0

    def says(self, value: float, flags: Flag = Flag.NONE) -> Reading:
        self.time_ns += 100_000_000
        reading = Reading(self.time_ns, "block", Quantity.ANGLE, value, f"{value:.2f}", "deg", 0.05, flags)
        self.state.hear(reading)
        return reading


@pytest.fixture
def bench() -> Bench:
    return Bench(target=90.0, within=0.2)


def _lines(state: SandingState, width: int, height: int) -> list[str]:
    console = Console(width=width, height=height, highlight=False, markup=False, color_system=None)
    with console.capture() as capture:
        console.print(sanding_view(state, width, height))
    return capture.get().splitlines()


def test_the_bell_rings_once_on_entering_the_band_and_does_not_chatter(bench: Bench) -> None:
    rung = []
    for value in (89.0, 89.75, 89.80, 89.75, 89.80, 89.75, 89.85, 90.20, 90.25, 90.30, 90.15):
        bench.says(value)
        rung.append(bench.state.entered_band())
    # Hand-made: in at 89.80; one digit outside is still in; out at 90.30; in again at 90.15.
    assert [place for place, ring in enumerate(rung) if ring] == [2, 10]


def test_a_reading_on_hold_neither_enters_the_band_nor_ends_a_pass(bench: Bench) -> None:
    bench.says(90.0, Flag.HOLD)
    assert not bench.state.entered_band()
    assert bench.state.mark_pass() is None
    assert bench.state.take_zero() is None


def test_passes_tell_what_each_one_took_off(bench: Bench) -> None:
    assert bench.state.mark_pass() is None
    for value in (89.0, 89.25, 89.35):
        assert bench.state.mark_pass() if bench.says(value) else False
    changes = [each.change for each in bench.state.passes]
    assert changes[0] is None
    assert changes[1:] == pytest.approx([0.25, 0.10])


def test_from_a_zero_values_and_passes_begin_anew() -> None:
    bench = Bench(target=1.0, within=0.1)
    first = bench.says(12.3)
    bench.state.mark_pass()
    assert bench.state.take_zero() == first
    assert (bench.state.value, bench.state.passes) == (0.0, [])
    bench.says(13.25)
    assert bench.state.off == pytest.approx(-0.05)
    assert bench.state.entered_band()


def test_silence_is_told_from_two_seconds_on_unless_it_is_normal(bench: Bench) -> None:
    bench.says(89.0)
    bench.state.tick(bench.time_ns + 1_000_000_000)
    assert bench.state.silent_s == 0
    bench.state.tick(bench.time_ns + 5_000_000_000)
    assert bench.state.silent_s == pytest.approx(5.0)
    bench.state.silence_is_normal = True
    assert bench.state.silent_s == 0


def test_one_reading_as_a_line_of_json(bench: Bench) -> None:
    bench.says(89.0)
    line = reading_line(bench.says(89.85), bench.state)
    assert line["seconds"] == pytest.approx(0.1)
    assert line["off"] == pytest.approx(-0.15)
    assert (line["in_band"], line["zero"], line["text"], line["passes"]) == (True, None, "89.85", 0)


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_view_fits_the_terminal_and_says_how_far_off(bench: Bench, width: int, height: int) -> None:
    empty = _lines(bench.state, width, height)
    for value in (89.0, 89.3, 89.45, 89.6, 89.65):
        bench.says(value)
        bench.state.mark_pass()
    for lines in (empty, _lines(bench.state, width, height)):
        assert len(lines) < height
        assert max(cell_len(line) for line in lines) <= width
    text = "\n".join(lines)
    assert "↑ 0.35° below 90.00°" in text
    assert "z zero here" in text
    if height >= 16:
        pointer, scale = next((a, b) for a, b in pairwise(lines) if "╋" in b)
        assert pointer.index("▼") < scale.index("┣") < scale.index("╋") < scale.index("┫")


@pytest.mark.parametrize("state", ["empty", "off", "on hold", "lost", "length"])
def test_the_view_never_has_more_rows_than_the_terminal(state: str) -> None:
    bench = Bench(target=90.0, within=0.2, simulated=True)
    if state == "length":
        bench.state = SandingState(Quantity.LENGTH, 0.001, 123.456, 0.25, gauge="depth at the heel")
    for value in (89.0, 89.3, 89.45, 89.6, 89.65, 89.7, 89.9) if state != "empty" else ():
        bench.says(value)
        bench.state.mark_pass()
    if state == "on hold":
        bench.says(89.9, Flag.HOLD)
    if state == "lost":
        bench.state.link_changed(LinkChange(bench.time_ns, "block", LinkState.LOST, "the cable was pulled"))
    for height in range(5, 31):
        for width in (20, 21, 24, 30, 35, 36, 37, 39, 40, 41, 50, 60, 80, 120, 200):
            lines = _lines(bench.state, width, height)
            assert len(lines) <= height, (width, height)
            assert max(cell_len(line) for line in lines) <= width, (width, height)


def test_the_number_grows_with_the_terminal_and_the_keys_come_before_air(bench: Bench) -> None:
    bench.says(89.65)
    said = {height: _lines(bench.state, 80, height) for height in (5, 8, 12, 20)}
    assert "89.65°" in "\n".join(said[5])
    assert all("z zero here" in lines[-1] for lines in said.values())
    filled = [sum("█" in line for line in lines) for lines in said.values()]
    assert filled == sorted(filled)
    assert filled[-1] > 5


def test_a_simulated_gauge_is_said_to_be_one(bench: Bench) -> None:
    bench.says(89.65)
    assert "SIMULATED" not in "\n".join(_lines(bench.state, 80, 24))
    bench.state.simulated = True
    assert "block   SIMULATED   target" in _lines(bench.state, 80, 24)[0]


def test_after_a_zero_the_target_counts_from_it(bench: Bench) -> None:
    bench.says(12.0)
    bench.state.take_zero()
    line = reading_line(bench.says(102.0), bench.state)
    assert (line["value"], line["from_zero"], line["target"], line["off"]) == (102.0, 90.0, 90.0, 0.0)
    assert line["in_band"] is True
    assert "from zero" in _lines(bench.state, 80, 24)[0]


def test_the_view_tells_the_way_on_either_side_and_in_the_band(bench: Bench) -> None:
    said = {}
    for value in (90.4, 90.1, 90.0):
        bench.says(value)
        said[value] = "\n".join(_lines(bench.state, 80, 24))
    assert "↓ 0.40° above 90.00°" in said[90.4]
    assert "in the band, 0.10° above 90.00°" in said[90.1]
    assert "● on 90.00°" in said[90.0]


def test_the_view_tells_what_is_wrong_with_the_gauge(bench: Bench) -> None:
    bench.says(89.0, Flag.HOLD | Flag.LOW_BATTERY)
    text = "\n".join(_lines(bench.state, 80, 24))
    assert "low battery" in text
    assert "on hold: this reading doesn't count" in text
    bench.state.link_changed(LinkChange(bench.time_ns, "block", LinkState.LOST, "unplugged"))
    assert "lost, unplugged" in "\n".join(_lines(bench.state, 80, 24))


def test_a_band_without_a_target_is_refused() -> None:
    with pytest.raises(ValueError, match="target"):
        SandingState(Quantity.ANGLE, 0.05, within=0.2)
    with pytest.raises(ValueError, match="resolution"):
        SandingState(Quantity.ANGLE, 0.0)


@pytest.mark.parametrize("text", ["0", "\u22120.123°", "456.789", "+12.05"])
def test_figures_are_as_large_as_fits(text: str) -> None:
    previous = 0
    for width, height in SIZES:
        lines = big_lines(text, width, min(height, 13))
        assert max(map(len, lines)) <= width
        assert len(lines) <= height
        assert len(lines) >= previous
        previous = len(lines)


def test_figures_can_be_told_apart_at_every_size() -> None:
    for rows in range(4, 14):
        drawn = {figure: tuple(big_lines(figure, 80, rows)) for figure in "0123456789-+."}
        assert len(set(drawn.values())) == len(drawn)


def test_where_there_is_no_room_the_plain_text_stays() -> None:
    assert big_lines("89.65°", 80, 3) == ["89.65°"]
    assert big_lines("89.65°", 10, 9) == ["89.65°"]
    assert big_lines("", 10, 9) == [""]
