"""When the hand has let go: windows made of readings and ticks alone."""

from __future__ import annotations

import itertools
from collections.abc import Iterable

import pytest

from gaugelog.capture.steady import SteadyWatch, Window
from gaugelog.model.datasheet import Datasheet, Sends, ValueRule
from gaugelog.model.placement import Role
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Flag, Heard, Reading

STEP = 0.05


def datasheet(sends: Sends = Sends.STEADILY, resolution: float = STEP) -> Datasheet:
    return Datasheet(
        "angle", "an angle gauge", Quantity.ANGLE, sends, "line", {}, ValueRule("number", "deg"), resolution
    )


def heard(time_s: float, text: str | None = None, flags: Flag = Flag.NONE) -> Heard:
    time_ns = round(time_s * 1e9)
    if text is None:
        return Heard("angle", Chunk(time_ns, b""))
    reading = Reading(time_ns, "angle", Quantity.ANGLE, float(text), text, "deg", STEP, flags)
    return Heard("angle", Chunk(time_ns, f"{text}\n".encode()), (reading,))


def first_window(watch: SteadyWatch, events: Iterable[Heard]) -> Window | None:
    for event in events:
        watch.hear(event)
        window = watch.window()
        if window is not None:
            return window
    return None


def at_ten_hertz(texts: Iterable[str], start_s: float = 0.0) -> list[Heard]:
    return [heard(start_s + 0.1 * i, text) for i, text in enumerate(texts)]


def test_a_gauge_at_rest_settles_after_the_window_and_not_before() -> None:
    window = first_window(SteadyWatch(datasheet()), at_ten_hertz(["2.80"] * 40))
    assert window is not None
    assert window.end_ns == pytest.approx(1.5e9)
    assert window.part(Role.WHOLE).text == "2.80"


def test_a_span_of_two_steps_is_rest_and_three_is_not() -> None:
    two = itertools.cycle(["2.80", "2.85", "2.90"])
    three = itertools.cycle(["2.80", "2.85", "2.95"])
    assert first_window(SteadyWatch(datasheet()), at_ten_hertz(itertools.islice(two, 40))) is not None
    assert first_window(SteadyWatch(datasheet()), at_ten_hertz(itertools.islice(three, 40))) is None


def test_the_value_is_the_median_of_the_window() -> None:
    texts = ["2.85", "2.80", "2.80", "2.90", "2.80"] * 8
    window = first_window(SteadyWatch(datasheet()), at_ten_hertz(texts))
    assert window is not None
    part = window.part(Role.WHOLE)
    assert (part.value, part.text) == (2.8, "2.80")
    assert part.spread == pytest.approx(0.10)
    assert part.n == len(window.readings)


def test_an_even_window_between_two_digits_gives_their_exact_middle() -> None:
    watch = SteadyWatch(datasheet(), window_s=0.3)
    window = first_window(watch, at_ten_hertz(["2.80", "2.85", "2.80", "2.85"]))
    assert window is not None
    assert window.part(Role.WHOLE).text == "2.825"


def test_the_same_rest_does_not_count_twice_until_the_gauge_is_lifted() -> None:
    watch = SteadyWatch(datasheet())
    window = first_window(watch, at_ten_hertz(["2.80"] * 40))
    assert window is not None
    watch.settle(window.part(Role.WHOLE).value)
    assert first_window(watch, at_ten_hertz(["2.80", "2.85", "2.90"] * 20, 10)) is None
    assert watch.awaiting_lift
    assert first_window(watch, at_ten_hertz(["9.35"] * 3 + ["2.85"] * 30, 20)) is not None


def test_a_key_stands_for_lifting() -> None:
    watch = SteadyWatch(datasheet())
    assert first_window(watch, at_ten_hertz(["2.80"] * 40)) is not None
    watch.settle(2.80)
    watch.lifted()
    assert first_window(watch, at_ten_hertz(["2.80"] * 40, 10)) is not None


@pytest.mark.parametrize("flag", [Flag.HOLD, Flag.OVER_RANGE])
def test_hold_and_over_range_never_count(flag: Flag) -> None:
    watch = SteadyWatch(datasheet())
    assert first_window(watch, [heard(0.1 * i, "2.80", flag) for i in range(60)]) is None


def test_low_battery_counts_all_the_same() -> None:
    events = [heard(0.1 * i, "2.80", Flag.LOW_BATTERY) for i in range(60)]
    assert first_window(SteadyWatch(datasheet()), events) is not None


def test_silence_of_a_steadily_sending_gauge_is_no_rest() -> None:
    events = [heard(0, "2.80"), *[heard(0.25 * i) for i in range(1, 30)]]
    assert first_window(SteadyWatch(datasheet()), events) is None


def test_silence_of_a_gauge_that_sends_on_change_is_rest() -> None:
    events = [heard(0, "9.00"), heard(0.1, "2.80"), *[heard(0.25 * i) for i in range(1, 30)]]
    window = first_window(SteadyWatch(datasheet(Sends.ON_CHANGE)), events)
    assert window is not None
    assert window.end_ns >= 1.6e9
    assert window.part(Role.WHOLE).text == "2.80"


def test_an_on_change_gauge_weighs_its_readings_by_how_long_they_stood() -> None:
    events = [heard(0, "2.80"), heard(1.3, "2.85"), heard(1.35, "2.80"), heard(1.4, "2.85"), heard(1.5)]
    window = first_window(SteadyWatch(datasheet(Sends.ON_CHANGE)), events)
    assert window is not None
    assert window.part(Role.WHOLE).text == "2.80"


def test_one_press_of_the_button_is_one_window() -> None:
    watch = SteadyWatch(datasheet(Sends.ON_BUTTON))
    watch.hear(heard(0, "2.80"))
    window = watch.window()
    assert window is not None
    watch.settle(2.80)
    watch.hear(heard(0.25))
    assert watch.window() is None
    watch.hear(heard(1, "2.80"))
    assert watch.window() is not None


def test_the_bytes_of_the_whole_window_are_kept() -> None:
    window = first_window(SteadyWatch(datasheet()), at_ten_hertz([f"9.{i}" for i in range(9)] + ["2.80"] * 40))
    assert window is not None
    kept = b"".join(chunk.data for chunk in window.raw)
    assert kept.count(b"2.80\n") == len(window.readings)


def test_progress_grows_while_it_rests_and_falls_when_it_moves() -> None:
    watch = SteadyWatch(datasheet())
    for event in at_ten_hertz(["2.80"] * 9):
        watch.hear(event)
    assert watch.progress == pytest.approx(0.8 / 1.5)
    watch.hear(heard(0.9, "7.00"))
    assert watch.progress == 0.0
