"""The JSON documents: keys, units, nothing rounded, null for what is unknown."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from gaugelog.analysis.plan import plan
from gaugelog.analysis.results import Comparison, Drift
from gaugelog.datasheets.catalogue import known_datasheets
from gaugelog.model.device import Device
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import Instrument, NamedGauge, Tolerance, ToleranceSide
from gaugelog.model.placement import Snapshot
from gaugelog.model.quantities import Quantity
from gaugelog.model.readings import Chunk, Flag, Reading, Reject, RejectReason
from gaugelog.show import documents
from gaugelog.show.sanding import SandingState, reading_line
from gaugelog.show.tables import comparison_frame

PAGE = (Path(__file__).parents[2] / "docs" / "documents.md").read_text(encoding="utf-8")


def _strict(document: dict) -> dict:
    return json.loads(json.dumps(document, allow_nan=False))


def _keys(value: object) -> set[str]:
    if isinstance(value, dict):
        return set(value) | {key for each in value.values() for key in _keys(each)}
    if isinstance(value, list):
        return {key for each in value for key in _keys(each)}
    return set()


def _reading(flags: Flag = Flag.NONE) -> Reading:
    return Reading(2_500_000_000, "neck", Quantity.ANGLE, 2.85, "2.85", "deg", 0.05, flags)


def _heard() -> SimpleNamespace:
    reject = Reject(3_000_000_000, b"+ 2.\xff", RejectReason.ENCODING)
    return SimpleNamespace(
        readings=[_reading(Flag.HOLD | Flag.LOW_BATTERY)],
        rejects=[reject],
        chunks=[Chunk(2_000_000_000, b"+ 2")],
        device=Device(name="bench gauge", serial_number="A17", battery_percent=83),
    )


@pytest.fixture(scope="module")
def all_documents(instrument: Instrument, before: Snapshot, comparison: Comparison, drifted: Drift) -> dict[str, dict]:
    steps = {point.id: point.step or 0.05 for point in instrument.checkpoints}
    state = SandingState(Quantity.ANGLE, 0.05, target=90.0, within=0.2)
    state.hear(_reading())
    ports = [SimpleNamespace(path="port", description="a port", hardware="")]
    kept = before.placements[0]
    return {
        "checkpoints": documents.plan_document(plan(instrument, steps), instrument),
        "compare": documents.comparison_document(comparison),
        "drift": documents.drift_document(drifted),
        "capture": documents.snapshot_document(before, instrument),
        "gauges": documents.gauges_document(ports, known_datasheets()),
        "gauges read": documents.heard_document(_heard()),
        "decode": documents.rereading_document([(kept, None), (kept, kept.placement)]),
        "stream": reading_line(_reading(), state),
    }


def test_every_document_is_strict_json_and_every_field_is_explained(all_documents: dict[str, dict]) -> None:
    for name, document in all_documents.items():
        _, heading, section = PAGE.partition(f"## {name}\n")
        assert heading, f"docs/documents.md has no heading for {name}"
        section = section.split("\n## ")[0]
        missing = [key for key in sorted(_keys(_strict(document))) if f"`{key}`" not in section]
        assert missing == [], name


def test_a_comparison_has_the_promised_fields(all_documents: dict[str, dict], comparison: Comparison) -> None:
    rows = all_documents["compare"]["checkpoints"]
    promised = {
        "id", "kind", "unit", "before", "after", "shift", "u", "dof", "expanded_95", "limit", "resolution", "p_within",
        "verdict", "reason",
    }  # fmt: skip
    for row, source in zip(rows, comparison.checkpoints, strict=True):
        assert promised <= set(row)
        assert set(row["before"]) == set(row["after"]) == {"mean", "n", "sd"}
        assert (row["shift"], row["u"], row["p_within"]) == (source.shift, source.u, source.p_within)
    assert {row["unit"] for row in rows} == {"deg", "mm"}


def test_infinite_degrees_of_freedom_are_null(comparison: Comparison) -> None:
    row = replace(comparison.checkpoints[0], dof=float("inf"))
    document = documents.comparison_document(Comparison("before", "after", (row,)))
    assert document["checkpoints"][0]["dof"] is None


def test_a_drift_has_the_promised_fields(all_documents: dict[str, dict]) -> None:
    document = all_documents["drift"]
    assert document["start"].endswith("Z")
    assert [series["kind"] for series in document["series"]] == ["gauge", "gauge", "difference"]
    for series in document["series"]:
        assert [phase["name"] for phase in series["phases"]] == ["dry fit", "glue open", "in clamps", "after clamps"]
        assert {"name", "start", "end", "n", "mean", "change", "u"} <= set(series["phases"][0])
    assert {gap["fault"] for gap in document["series"][0]["gaps"]} == {True, False}


def test_a_snapshot_tells_dropped_placements_with_their_reason(all_documents: dict[str, dict]) -> None:
    point = next(each for each in all_documents["capture"]["checkpoints"] if each["id"] == "neck-angle")
    assert (point["wanted"], point["taken"], len(point["placements"])) == (3, 3, 4)
    assert point["placements"][0]["dropped"] == "a foot stood on the tape"
    assert [part["role"] for part in point["placements"][0]["parts"]] == ["neck", "body"]


def test_a_feeler_pair_keeps_both_ends(all_documents: dict[str, dict]) -> None:
    point = next(each for each in all_documents["capture"]["checkpoints"] if each["id"] == "clearance-bass")
    first = point["placements"][0]
    assert (first["low"], first["value"], first["high"], first["text"]) == (0.5, 0.525, 0.55, "0.50..0.55")


def test_what_a_gauge_said_is_told_with_its_bytes(all_documents: dict[str, dict]) -> None:
    document = all_documents["gauges read"]
    assert document["readings"][0]["flags"] == ["low battery", "hold"]
    assert document["readings"][0]["seconds"] == 0.5
    assert document["rejects"][0]["bytes"] == b"+ 2.\xff".hex()


def test_every_document_says_which_gauges_were_simulated(
    all_documents: dict[str, dict], instrument: Instrument, comparison: Comparison, drifted: Drift, before: Snapshot
) -> None:
    assert {name: each["simulated"] for name, each in all_documents.items() if name != "gauges"} == {
        "checkpoints": [], "compare": [], "drift": [], "capture": [], "gauges read": False, "decode": [],
        "stream": False,
    }  # fmt: skip
    sim = replace(instrument, gauges={"neck": NamedGauge("neck", parse_gauge("angle-line@sim:?value=2"))})
    steps = {point.id: point.step or 0.05 for point in instrument.checkpoints}
    assert documents.plan_document(plan(sim, steps), sim)["simulated"] == ["neck"]
    assert documents.snapshot_document(before, sim)["simulated"] == ["neck"]
    assert documents.comparison_document(comparison, ("neck",))["simulated"] == ["neck"]
    assert documents.drift_document(drifted, ("neck",))["simulated"] == ["neck"]
    assert documents.rereading_document([], ("neck",))["simulated"] == ["neck"]
    assert documents.heard_document(_heard(), True)["simulated"] is True
    state = SandingState(Quantity.ANGLE, 0.05, simulated=True)
    state.hear(_reading())
    assert reading_line(_reading(), state)["simulated"] is True


def test_a_snapshot_tells_how_far_out_of_tolerance_a_mean_is(instrument: Instrument, before: Snapshot) -> None:
    # The invented walls read 90.05 and a digit more now and then; the other two ends are put beyond them by hand.
    wall = instrument.checkpoint("pocket-wall-squareness")
    mean = sum(each.value or 0.0 for each in before.of(wall.id)) / 3

    def row(tolerance: Tolerance | None) -> dict:
        points = tuple(replace(each, tolerance=tolerance) if each is wall else each for each in instrument.checkpoints)
        document = _strict(documents.snapshot_document(before, replace(instrument, checkpoints=points)))
        return next(each for each in document["checkpoints"] if each["id"] == wall.id)

    inside = row(Tolerance(ToleranceSide.BOTH, 89.7, 90.3))
    assert (inside["tolerance"], inside["out_by"]) == ({"low": 89.7, "high": 90.3}, 0)
    over = row(Tolerance(ToleranceSide.AT_MOST, None, 89.0))
    assert over["tolerance"] == {"low": None, "high": 89.0}
    assert over["out_by"] == pytest.approx(mean - 89.0)
    assert row(Tolerance(ToleranceSide.AT_LEAST, 91.0, None))["out_by"] == pytest.approx(mean - 91.0)
    assert (row(None)["tolerance"], row(None)["out_by"]) == (None, None)


def test_a_plan_tells_what_must_be_proven_and_can_not_be(instrument: Instrument) -> None:
    points = tuple(replace(each, must_prove=True) for each in instrument.checkpoints if each.limit is not None)
    strict = replace(instrument, checkpoints=points)
    steps = {point.id: point.step or 0.05 for point in points}
    rows = documents.plan_document(plan(strict, steps), strict)["checkpoints"]
    assert {row["id"] for row in rows if not row["ready"]} == {row["id"] for row in rows if row["hopeless"]}
    assert any(row["ready"] for row in rows)
    assert not all(row["ready"] for row in rows)
    unknown = documents.plan_document(plan(strict, {}), strict)["checkpoints"]
    assert not any(row["ready"] or row["hopeless"] for row in unknown)
    lenient = documents.plan_document(plan(instrument, steps), instrument)["checkpoints"]
    assert all(row["ready"] for row in lenient)


def test_the_comparison_as_a_table_says_the_same(comparison: Comparison) -> None:
    frame = comparison_frame(comparison)
    assert list(frame["checkpoint"]) == [row.id for row in comparison.checkpoints]
    assert list(frame["before_mean"]) == [row.before.mean for row in comparison.checkpoints]
    assert set(frame["from"]) | set(frame["to"]) == {"before", "after"}
    assert not frame["simulated"].any()
    told = comparison_frame(comparison, {"neck-angle"})
    assert list(told.loc[told["simulated"], "checkpoint"]) == ["neck-angle"]
    assert {"after_n", "after_sd", "unit", "verdict", "expanded_95"} <= set(frame.columns)
