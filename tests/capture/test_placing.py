"""One placement: whole, body then neck, or both at once."""

from __future__ import annotations

import pytest

from gaugelog.capture.placing import Placing
from gaugelog.model.datasheet import Datasheet, Sends, ValueRule
from gaugelog.model.instrument import Checkpoint
from gaugelog.model.kinds import KIND_BY_SLUG
from gaugelog.model.placement import Placement, Role, Settled
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Heard, Reading


def datasheet(quantity: Quantity, resolution: float, sends: Sends = Sends.STEADILY) -> Datasheet:
    rule = ValueRule("number", quantity.base_unit)
    return Datasheet("any", "any gauge", quantity, sends, "line", {}, rule, resolution)


ANGLE = datasheet(Quantity.ANGLE, 0.05)
NECK_ANGLE = Checkpoint(
    "neck-angle", KIND_BY_SLUG["neck-angle"], Quantity.ANGLE, "deg", "body, then neck", gauge="angle", reference="flat"
)
CLEARANCE = Checkpoint(
    "clearance-bass", KIND_BY_SLUG["fret-to-bridge-clearance"], Quantity.LENGTH, "mm", "close it", gauge="caliper"
)


class Bench:
    """Sends readings at ten a second to one placing and keeps what comes of it."""

    def __init__(self, placing: Placing) -> None:
        self.placing = placing
        self.time_s = 0.0
        self.placements: list[Placement] = []

    def show(self, texts: dict[str, str], seconds: float) -> None:
        for _ in range(round(seconds * 10)):
            self.time_s += 0.1
            time_ns = round(self.time_s * 1e9)
            for gauge, text in texts.items():
                quantity = Quantity.LENGTH if gauge == "caliper" else Quantity.ANGLE
                step = 0.01 if gauge == "caliper" else 0.05
                reading = Reading(time_ns, gauge, quantity, float(text), text, quantity.base_unit, step)
                placement = self.placing.hear(Heard(gauge, Chunk(time_ns, f"{text}\n".encode()), (reading,)))
                if placement is not None:
                    self.placements.append(placement)


def test_with_one_gauge_a_placement_is_body_then_neck_and_both_are_kept() -> None:
    bench = Bench(Placing(NECK_ANGLE, {"angle": ANGLE}))
    assert bench.placing.state.role is Role.BODY
    bench.show({"angle": "0.35"}, 2)
    assert bench.placing.state.role is Role.NECK
    assert bench.placing.state.body_value == 0.35
    assert bench.placing.state.awaiting_lift
    bench.show({"angle": "25.00"}, 0.5)
    bench.show({"angle": "3.20"}, 2)
    (placement,) = bench.placements
    assert (placement.value, placement.text) == (2.85, "2.85")
    assert [(part.role, part.text) for part in placement.parts] == [(Role.NECK, "3.20"), (Role.BODY, "0.35")]
    assert placement.settled is Settled.STEADY


def test_the_gauge_left_on_the_body_is_not_taken_for_the_neck() -> None:
    bench = Bench(Placing(NECK_ANGLE, {"angle": ANGLE}))
    bench.show({"angle": "0.35"}, 30)
    assert bench.placements == []


def test_with_two_gauges_both_are_read_at_once() -> None:
    import dataclasses

    both = dataclasses.replace(NECK_ANGLE, body_gauge="level")
    bench = Bench(Placing(both, {"angle": ANGLE, "level": ANGLE}))
    bench.show({"angle": "3.20", "level": "9.00"}, 1)
    bench.show({"angle": "3.20", "level": "0.40"}, 1)
    assert bench.placements == []
    bench.show({"angle": "3.20", "level": "0.40"}, 1)
    (placement,) = bench.placements
    assert placement.value == 2.8
    assert {part.role: part.gauge for part in placement.parts} == {Role.NECK: "angle", Role.BODY: "level"}


def test_one_press_of_a_button_is_one_placement() -> None:
    bench = Bench(Placing(CLEARANCE, {"caliper": datasheet(Quantity.LENGTH, 0.01, Sends.ON_BUTTON)}))
    bench.show({"caliper": "0.42"}, 0.1)
    bench.show({"caliper": "0.42"}, 0.1)
    assert [placement.settled for placement in bench.placements] == [Settled.BUTTON] * 2


def test_a_key_takes_what_the_gauge_shows() -> None:
    bench = Bench(Placing(CLEARANCE, {"caliper": datasheet(Quantity.LENGTH, 0.01)}))
    bench.show({"caliper": "0.42"}, 0.2)
    placement = bench.placing.take_now(round(bench.time_s * 1e9))
    assert placement is not None
    assert (placement.value, placement.settled) == (0.42, Settled.BY_HAND)


def test_a_typed_checkpoint_has_no_gauge_to_place() -> None:
    import dataclasses

    with pytest.raises(ValueError, match="typed"):
        Placing(dataclasses.replace(CLEARANCE, gauge=None), {})
