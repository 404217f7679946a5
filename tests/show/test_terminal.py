"""What the commands print: no line wider than the terminal, marks beside colours, plain sentences."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from types import SimpleNamespace

import pytest
from rich.cells import cell_len
from rich.console import Console, RenderableType

from gaugelog.analysis.plan import plan
from gaugelog.analysis.results import Comparison, Drift, Verdict
from gaugelog.analysis.wet import compare_wet
from gaugelog.datasheets.catalogue import known_datasheets
from gaugelog.model.device import Device
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import Instrument, NamedGauge, Tolerance, ToleranceSide
from gaugelog.model.placement import Skip, Snapshot
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Flag, Reading, Reject, RejectReason
from gaugelog.show import terminal
from gaugelog.show.look import column_in_strip, strip
from gaugelog.show.words import outcome, tolerance_text

WIDTHS = (60, 80, 120)


def printed(view: RenderableType, width: int, *, colour: bool = False) -> str:
    console = Console(
        width=width, highlight=False, markup=False, force_terminal=colour, color_system="standard" if colour else None
    )
    with console.capture() as capture:
        console.print(view)
    return capture.get()


def _heard() -> SimpleNamespace:
    reading = Reading(1, "neck", Quantity.ANGLE, 2.85, "2.85", "deg", 0.05, Flag.LOW_BATTERY)
    reject = Reject(2, b"\x00" * 40, RejectReason.NO_MATCH, "nothing like it")
    chunk = Chunk(1, b"+  2.85 deg B\r\n" * 4)
    device = Device(name="bench gauge on the upper shelf", model="invented", serial_number="A17", battery_percent=9)
    return SimpleNamespace(readings=[reading], rejects=[reject], chunks=[chunk], device=device)


@pytest.fixture
def views(
    instrument: Instrument, before: Snapshot, after: Snapshot, comparison: Comparison, drifted: Drift
) -> dict[str, RenderableType]:
    steps = {point.id: point.step or 0.05 for point in instrument.checkpoints}
    skipped = replace(before, skips=(Skip("control", "the tape came off and it was late"),))
    return {
        "plan": terminal.plan_table(plan(instrument, steps), instrument),
        "comparison": terminal.comparison_view(comparison, "mm"),
        "comparison in inches": terminal.comparison_view(comparison, "in"),
        "wet": terminal.comparison_view(compare_wet(instrument, before, replace(after, stage="wet")), "mm"),
        "drift": terminal.drift_view(drifted),
        "snapshot": terminal.snapshot_table(skipped, instrument),
        "no ports": terminal.port_table(()),
        "ports": terminal.port_table([SimpleNamespace(path="port" * 9, description="a port", hardware="")]),
        "datasheets": terminal.datasheet_table(known_datasheets()),
        "heard": terminal.heard_view(_heard(), raw=True),
        "reread": terminal.rereading_table(
            [(before.placements[0], None), (before.placements[1], after.placements[0].placement)]
        ),
    }


@pytest.mark.parametrize("width", WIDTHS)
def test_no_line_is_wider_than_the_terminal(views: dict[str, RenderableType], width: int) -> None:
    for name, view in views.items():
        lines = printed(view, width).splitlines()
        assert any(line.strip() for line in lines), name
        assert max(cell_len(line) for line in lines) <= width, name


@pytest.mark.parametrize("width", WIDTHS)
def test_a_comparison_tells_every_checkpoint_its_verdict_and_the_way_out(comparison: Comparison, width: int) -> None:
    text = printed(terminal.comparison_view(comparison), width)
    flat = " ".join(text.split())
    for row in comparison.checkpoints:
        assert row.id in text
    for mark in ("✓ held", "✗ moved", "? not proven"):
        assert mark in text
    for row in comparison.having(Verdict.NOT_PROVEN):
        assert " ".join(row.reason.split())[1:] in flat
    assert flat.endswith(outcome(comparison))


def test_the_sample_has_all_three_verdicts(comparison: Comparison) -> None:
    counts = [len(comparison.having(verdict)) for verdict in (Verdict.HELD, Verdict.MOVED, Verdict.NOT_PROVEN)]
    assert counts == [4, 1, 1]


@pytest.mark.parametrize("width", WIDTHS)
def test_simulated_gauges_are_named_above_everything(
    comparison: Comparison, instrument: Instrument, before: Snapshot, width: int
) -> None:
    view = terminal.comparison_view(comparison)
    assert printed(terminal.simulated_above(view, ()), width) == printed(view, width)
    assert printed(terminal.simulated_above(view, ("neck",)), width).startswith("SIMULATED gauge: neck\n\nbefore →")
    gauges = {name: NamedGauge(name, parse_gauge(f"angle-line@sim:?seed={name}")) for name in ("neck", "body")}
    sim = replace(instrument, gauges=gauges)
    for each in (terminal.plan_table(plan(sim, {}), sim), terminal.snapshot_table(before, sim)):
        assert printed(each, width).splitlines()[0].rstrip() == "SIMULATED gauges: neck, body"


def test_a_snapshot_says_what_is_out_of_tolerance(instrument: Instrument, before: Snapshot) -> None:
    given = {
        "pocket-wall-squareness": Tolerance(ToleranceSide.BOTH, 89.7, 90.3),
        "neck-angle": Tolerance(ToleranceSide.AT_MOST, None, 0.8),
        "clearance-bass": Tolerance(ToleranceSide.AT_LEAST, 2.0, None),
    }
    points = tuple(replace(each, tolerance=given.get(each.id)) for each in instrument.checkpoints)
    text = printed(terminal.snapshot_table(before, replace(instrument, checkpoints=points)), 120).replace("\u00a0", " ")
    lines = {line.split()[0]: line.rstrip() for line in text.splitlines() if line.strip()}
    assert lines["pocket-wall-squareness"].endswith("in tolerance")
    assert lines["neck-angle"].endswith("° over")
    assert lines["clearance-bass"].endswith(" mm under")
    assert not lines["control"].endswith(("tolerance", "over", "under"))


@pytest.mark.parametrize(
    ("out_by", "quantity", "units", "expected"),
    [
        (None, Quantity.ANGLE, "mm", ""),
        (0.0, Quantity.ANGLE, "mm", "in tolerance"),
        (4.7, Quantity.ANGLE, "mm", "4.7° over"),
        (-0.2, Quantity.LENGTH, "mm", "0.2 mm under"),
        (0.0254, Quantity.LENGTH, "in", "0.001 in over"),
    ],
)
def test_out_of_tolerance_is_said_short(out_by: float | None, quantity: Quantity, units: str, expected: str) -> None:
    assert tolerance_text(out_by, quantity, units).replace("\u00a0", " ") == expected


@pytest.mark.parametrize("width", WIDTHS)
def test_a_plan_says_that_the_work_is_not_ready(instrument: Instrument, width: int) -> None:
    points = tuple(replace(each, must_prove=each.id == "neck-roll") for each in instrument.checkpoints)
    strict = replace(instrument, checkpoints=points)
    steps = {point.id: point.step or 0.05 for point in points}
    text = " ".join(printed(terminal.plan_table(plan(strict, steps), strict), width).split())
    assert "! neck-roll" in text
    assert text.count("must be proven") == 2
    assert "It must be proven: the work isn't ready." in text
    del steps["neck-roll"]
    text = " ".join(printed(terminal.plan_table(plan(strict, steps), strict), width).split())
    assert "can't be proven: its step isn't known. It must be proven: the work isn't ready." in text
    assert "ready" not in printed(terminal.plan_table(plan(instrument, steps), instrument), width)


def test_colour_carries_nothing_that_words_do_not(views: dict[str, RenderableType]) -> None:
    from rich.text import Text

    for name, view in views.items():
        assert Text.from_ansi(printed(view, 80, colour=True)).plain.rstrip() == printed(view, 80).rstrip(), name


def test_no_color_is_respected() -> None:
    code = (
        "from gaugelog.show.terminal import console; from rich.text import Text;"
        "c = console(); c._force_terminal = True; c.print(Text('held', style='green'))"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True,
        env={**os.environ, "NO_COLOR": "1", "TERM": "xterm-256color"},
    )  # fmt: skip
    assert run.stdout == "held\n"


def test_output_that_is_not_utf8_does_not_break() -> None:
    code = "from gaugelog.show.terminal import console; console().print('✓ held 2.85° −0.1')"
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=True, env={**os.environ, "PYTHONIOENCODING": "cp1252"}
    )
    assert b"held 2.85" in run.stdout


@pytest.mark.parametrize("width", [21, 41, 61])
def test_a_strip_puts_limits_and_shift_where_they_belong(comparison: Comparison, width: int) -> None:
    held = comparison.having(Verdict.HELD)[0]
    row = replace(held, shift=0.5 * (held.limit or 1.0), expanded_95=0.2 * (held.limit or 1.0))
    cells = strip(row, width).plain
    assert cells.index("◆") == column_in_strip(0.5, width)
    assert (cells.index("│"), cells.rindex("│")) == (column_in_strip(-1, width), column_in_strip(1, width))
    far = strip(replace(row, shift=9 * (held.limit or 1.0)), width).plain
    assert far.endswith("▶")
    assert "◆" not in far


def test_a_strip_without_a_limit_says_so(comparison: Comparison) -> None:
    assert strip(replace(comparison.checkpoints[0], limit=None), 41).plain.strip() == "no limit"


@pytest.mark.parametrize(
    ("verdicts", "expected"),
    [
        ((Verdict.HELD, Verdict.HELD), "All 2 held."),
        ((Verdict.HELD,), "It held."),
        ((), "There is no checkpoint to judge."),
        ((Verdict.HELD, Verdict.MOVED), "1 held, 1 moved: c1 went beyond the limit."),
        (
            (Verdict.HELD, Verdict.NOT_PROVEN, Verdict.NO_VERDICT),
            "1 held, 1 not proven, 1 no verdict: nothing is known to have moved, but c1 and c2 can't be called held.",
        ),
    ],
)
def test_the_outcome_is_one_plain_sentence(
    comparison: Comparison, verdicts: tuple[Verdict, ...], expected: str
) -> None:
    first = comparison.checkpoints[0]
    rows = tuple(replace(first, id=f"c{place}", verdict=verdict) for place, verdict in enumerate(verdicts))
    assert outcome(Comparison("before", "after", rows)) == expected


def test_a_row_that_held_tells_its_reason_only_where_it_rests_on_something_else(comparison: Comparison) -> None:
    held = next(row for row in comparison.checkpoints if row.verdict is Verdict.HELD)
    plain = replace(held, reason="well inside", rests_on=())
    other = replace(held, reason="well inside; read before by one gauge", rests_on=("read before by one gauge",))
    assert "Well inside" not in printed(terminal.comparison_view(Comparison("before", "after", (plain,))), 80)
    assert "read before by one gauge." in printed(terminal.comparison_view(Comparison("before", "after", (other,))), 80)
