"""The live views of a snapshot and of a clamp session."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
from rich.cells import cell_len
from rich.console import Console, RenderableType

from gaugelog.analysis.slip import AlarmKind
from gaugelog.analysis.watch import Alarm
from gaugelog.capture.placing import PlacingState
from gaugelog.datasheets.catalogue import find_datasheet
from gaugelog.model.instrument import Glue, Instrument, Tolerance, ToleranceSide
from gaugelog.model.placement import Phase, Role, Snapshot
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import LinkState, Reading
from gaugelog.show.clamp_view import clamp_view
from gaugelog.show.live_parts import where_now
from gaugelog.show.snapshot_view import snapshot_view

SIZES = ((60, 24), (80, 24), (160, 45))
READING = Reading(1, "neck", Quantity.ANGLE, -3.45, "-3.45", "deg", 0.05)
RESTING = PlacingState(Role.NECK, READING, 0.6, awaiting_lift=False, body_value=None)


def _entry(text: str = "", question: str = "") -> SimpleNamespace:
    return SimpleNamespace(text=text, question=question)


def _lines(view: RenderableType, width: int) -> list[str]:
    console = Console(width=width, highlight=False, markup=False, color_system=None)
    with console.capture() as capture:
        console.print(view)
    lines = capture.get().splitlines()
    assert max(cell_len(line) for line in lines) <= width
    return lines


def _snapshot(
    instrument: Instrument, before: Snapshot, current: str | None, size: tuple[int, int], **more: object
) -> list[str]:
    tasks = []
    for place, point in enumerate(instrument.checkpoints):
        kept = [each for each in before.placements if each.placement.checkpoint == point.id and each.dropped is None]
        tasks.append((point, 3, tuple(kept[: 3 if place == 0 else 1]), "no time today" if place == 2 else None))
    options = {"placing": None, "entry": _entry(), "message": "", "units": "mm", **more}
    return _lines(
        snapshot_view(stage="before", tasks=tasks, current=current, width=size[0], height=size[1], **options),  # type: ignore[arg-type]
        size[0],
    )


@pytest.mark.parametrize("size", SIZES)
def test_a_snapshot_shows_tasks_what_to_do_and_the_reading(
    instrument: Instrument, before: Snapshot, size: tuple[int, int]
) -> None:
    lines = _snapshot(instrument, before, "neck-angle", size, placing=RESTING, message="kept")
    text = "\n".join(lines)
    assert len(lines) <= size[1]
    for words in (
        "2 of 7 checkpoints",
        "▸ neck-angle",
        "1 of 3",
        "skipped: no time",
        "resting",
        "█",
        "d drop the last",
        "kept",
    ):
        assert words in text
    assert "hands off" in text


LONG = (
    "neck: lost, the port was closed by the system because its adapter was pulled out of the hub; gaugelog tries again "
    "until it comes back, and this sentence goes on and on far beyond what two lines of a terminal could ever hold. "
    * 2
)


@pytest.mark.parametrize("size", SIZES)
def test_a_long_message_folds_over_two_lines_within_the_height(
    instrument: Instrument, before: Snapshot, size: tuple[int, int]
) -> None:
    more = {"placing": RESTING, "message": LONG, "simulated": ("neck", "body")}
    lines = _snapshot(instrument, before, "neck-angle", size, **more)
    assert len(lines) <= size[1]
    first = next(place for place, line in enumerate(lines) if line.startswith("neck: lost"))
    assert lines[first + 1].rstrip().endswith("…")
    assert len(lines[first].rstrip()) + len(lines[first + 1].rstrip()) > 1.7 * size[0]
    assert lines[first + 2].startswith("Enter take it now")
    assert "SIMULATED gauges: neck, body" in lines[1]
    clamped = _clamp(Phase.IN_CLAMPS, size, in_clamps_s=7440.0, message=LONG, simulated=("neck",)).splitlines()
    first = next(place for place, line in enumerate(clamped) if line.startswith("neck: lost"))
    assert clamped[first + 1].rstrip().endswith("…")
    assert not clamped[first + 2].strip()
    assert clamped[1].startswith("SIMULATED gauge: neck")


def test_a_message_of_two_lines_is_shown_whole(instrument: Instrument, before: Snapshot) -> None:
    words = "neck: lost, the port was closed by the system because its adapter was pulled out of the hub."
    text = " ".join(" ".join(_snapshot(instrument, before, "neck-angle", (60, 24), message=words)).split())
    assert words in text


@pytest.mark.parametrize("size", SIZES)
def test_a_checkpoint_out_of_tolerance_is_told_while_it_can_be_mended(
    instrument: Instrument, before: Snapshot, size: tuple[int, int]
) -> None:
    given = {"pocket-wall-squareness": Tolerance(ToleranceSide.AT_MOST, None, 85.0), "neck-angle": Tolerance(
        ToleranceSide.AT_LEAST, 2.0, None)}  # fmt: skip
    points = tuple(replace(each, tolerance=given.get(each.id)) for each in instrument.checkpoints)
    lines = _snapshot(replace(instrument, checkpoints=points), before, "neck-angle", size)
    assert "° over" in next(line for line in lines if "pocket-wall" in line)
    assert next(line for line in lines if "▸ neck-angle" in line).rstrip().endswith("in tolerance")
    assert sum(" over" in line or "tolerance" in line for line in lines) == 2


def test_a_typed_checkpoint_shows_what_is_being_typed(instrument: Instrument, before: Snapshot) -> None:
    text = "\n".join(_snapshot(instrument, before, "clearance-bass", (80, 24), entry=_entry("0.5..")))
    assert "> 0.5.." in text
    assert "▸ clearance-bass" in text
    assert "Why is it skipped: " in "\n".join(
        _snapshot(instrument, before, "clearance-bass", (80, 24), entry=_entry("", "Why is it skipped"))
    )


def test_a_complete_snapshot_can_be_drawn(instrument: Instrument, before: Snapshot) -> None:
    assert "snapshot before" in _snapshot(instrument, before, None, (80, 24))[0]


@pytest.mark.parametrize(
    ("role", "lift", "body_gauge", "expected"),
    [
        (Role.BODY, False, None, "Now on the body: the tape mark."),
        (Role.NECK, False, None, "Now on the neck, at this checkpoint."),
        (Role.NECK, False, "body", "Both gauges down, hands off: they are read at once."),
        (Role.WHOLE, False, None, "Set the gauge down and let go."),
        (Role.WHOLE, True, None, "Lift the gauge off, then set it down again."),
    ],
)
def test_it_says_where_the_gauge_should_be(
    instrument: Instrument, role: Role, lift: bool, body_gauge: str | None, expected: str
) -> None:
    point = replace(instrument.checkpoint("neck-angle"), reference="", body_gauge=body_gauge)
    assert where_now(point, PlacingState(role, READING, 0.0, lift, None), "the tape mark") == expected


def _gauge(name: str, value: float | None, **more: object) -> SimpleNamespace:
    latest = None if value is None else Reading(1, name, Quantity.ANGLE, value, f"{value:.2f}", "deg", 0.05)
    usual = {"readings": 9, "rejects": 0, "gaps": 0, "start": 2.80, "link": LinkState.OPEN, "silent_since_ns": None}
    return SimpleNamespace(name=name, datasheet=find_datasheet("angle-line"), latest=latest, **{**usual, **more})


def _clamp(phase: Phase, size: tuple[int, int] = (80, 24), **more: object) -> str:
    glue = more.pop("glue", Glue("a label", open_time_min=5, clamp_time_h=24))
    options: dict[str, object] = {
        "gauges": [_gauge("neck", 2.90), _gauge("body", None, link=LinkState.LOST, rejects=2, start=None)],
        "in_clamps_s": None, "glue_open_s": None, "readings": 12345, "gaps": 1, "message": "Marked.",
        "instrument": Instrument("invented", (), glue=glue), "entry": _entry(), **more,
    }  # fmt: skip
    lines = _lines(clamp_view(phase=phase, width=size[0], height=size[1], **options), size[0])  # type: ignore[arg-type]
    assert len(lines) <= size[1]
    return "\n".join(lines).replace("\u00a0", " ")


@pytest.mark.parametrize("size", SIZES)
def test_a_clamp_session_shows_gauges_against_their_start(size: tuple[int, int]) -> None:
    text = _clamp(Phase.IN_CLAMPS, size, in_clamps_s=7440.0)
    for words in (
        "in clamps",
        "2 h 04 min",
        "12 345 readings, 1 gap",
        "2.90°",
        "+0.10°",
        "lost",
        "2 lines unreadable",
        "e end",
    ):
        assert words in text, words


def test_open_time_is_counted_against_the_label() -> None:
    assert "label: 5 min, 50 s left" in _clamp(Phase.GLUE_OPEN, glue_open_s=250.0)
    assert "over by 1 min" in _clamp(Phase.GLUE_OPEN, glue_open_s=360.0)
    assert "label" not in _clamp(Phase.GLUE_OPEN, glue_open_s=360.0, glue=Glue())


def test_clamp_time_is_counted_against_the_label() -> None:
    assert "21 h 56 min left" in _clamp(Phase.IN_CLAMPS, in_clamps_s=7440.0)
    assert "reached" in _clamp(Phase.AFTER_CLAMPS, in_clamps_s=90000.0)


def _told(kind: AlarmKind, size: float, *, seen: bool = False, series: str = "neck - body") -> SimpleNamespace:
    alarm = Alarm(12 * 3600 * 10**9, 12 * 3600 * 10**9, kind, series, size, Quantity.ANGLE, " - " in series)
    return SimpleNamespace(alarm=alarm, calls=not seen and kind is not AlarmKind.NOTICE)


@pytest.mark.parametrize("size", SIZES)
def test_an_alarm_can_not_be_overlooked_and_says_how_long_the_glue_is_open(size: tuple[int, int]) -> None:
    text = _clamp(Phase.GLUE_OPEN, size, glue_open_s=120.0, alarms=[_told(AlarmKind.SLIP, 0.15)])
    whole = " ".join(text.split())
    assert "! SLIP neck − body up 0.15° at" in whole
    assert "glue open for 3 more minutes by your label" in whole
    assert "a: I have seen it" in whole
    quiet = _clamp(Phase.GLUE_OPEN, size, glue_open_s=120.0, alarms=[_told(AlarmKind.SLIP, 0.15, seen=True)])
    assert "SLIP" not in quiet
    assert "last told: slip" in quiet


def test_many_alarms_are_counted_and_a_lost_gauge_has_no_size() -> None:
    text = _clamp(Phase.IN_CLAMPS, (80, 30), alarms=[_told(AlarmKind.SLIP, 0.1)] * 4 + [_told(AlarmKind.LOST, 0.0)])
    assert "and 2 more" in text
    assert "! LOST  nothing of use heard from neck − body since" in text.replace("neck - body", "neck − body")
    assert text.index("LOST") < text.index("SLIP")


@pytest.mark.parametrize("size", SIZES)
def test_a_watch_that_failed_can_not_be_overlooked(size: tuple[int, int]) -> None:
    text = " ".join(_clamp(Phase.DRY_FIT, size, watch_failed="ValueError: invented").split())
    assert "! NOT WATCHED the watch has failed" in text
    assert "recording goes on" in text


def test_a_notice_calls_nobody() -> None:
    text = _clamp(Phase.IN_CLAMPS, alarms=[_told(AlarmKind.NOTICE, -0.05)])
    assert "I have seen it" not in text
    assert "down by a digit" in " ".join(text.split())


def test_in_the_clamps_it_says_to_leave_it_alone_until_their_time_is_over() -> None:
    assert "leave it alone" in _clamp(Phase.IN_CLAMPS, in_clamps_s=7440.0)
    assert "leave it alone" not in _clamp(Phase.IN_CLAMPS, in_clamps_s=90000.0)
    assert "leave it alone" not in _clamp(Phase.IN_CLAMPS, in_clamps_s=7440.0, glue=Glue())


def test_a_pair_of_gauges_shows_its_difference_and_a_wet_check_its_placement(instrument: Instrument) -> None:
    text = _clamp(
        Phase.GLUE_OPEN,
        (80, 30),
        gauges=[_gauge("neck", 2.95), _gauge("body", 0.10, start=0.05)],
        pairs=[("neck", "body")],
        wet=RESTING,
        wet_checkpoint=instrument.checkpoint("neck-angle"),
    )
    assert "neck − body" in text
    assert "+0.10°" in text
    assert "resting" in text
