"""Looking at one recording in every way there is: a whole invented neck set on simulated gauges."""

from __future__ import annotations

import csv
import io
from datetime import datetime
from pathlib import Path

import pytest

NAMES = ["neck", "body"]


def table(printed: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(printed)))


def test_every_view_and_document_names_the_simulated_gauges(run, recording: Path) -> None:
    for command in (["compare"], ["drift"], ["checkpoints"], ["neck"], ["ready"]):
        assert run(*command).out.splitlines()[0].rstrip() == "SIMULATED gauges: neck, body", command
        assert run(*command, "--json").document["simulated"] == NAMES, command


def test_bytes_read_again_name_the_simulated_gauges(run, recording: Path) -> None:
    assert run("decode", "neck", "--look").out.splitlines()[0].rstrip() == "SIMULATED gauges: neck, body"
    assert run("decode", "neck", "--look", "--json").document["simulated"] == NAMES


def test_a_simulated_gauge_is_said_to_be_one(run) -> None:
    read = ["gauges", "read", "angle-line@sim:?seed=4&rate=50", "--count", "2"]
    assert run(*read).out.startswith("SIMULATED gauge: ")
    assert run(*read, "--json").document["simulated"] is True


def test_exported_rows_say_whether_a_simulated_gauge_read_them(run, recording: Path) -> None:
    placements = table(run("export", "placements").out)
    assert {row["gauge"] for row in placements if row["simulated"] == "True"} == {"neck"}
    assert {row["gauge"] for row in placements if row["simulated"] == "False"} == {""}
    assert {row["simulated"] for row in table(run("export", "readings").out)} == {"True"}
    rows = {row["checkpoint"]: row["simulated"] for row in table(run("export", "comparison").out)}
    assert (rows["neck-angle"], rows["clearance-bass"]) == ("True", "False")


def test_any_two_stages_can_be_exported_and_reported(run, recording: Path) -> None:
    stages = ("--from-stage", "after", "--to-stage", "before")
    there, back = (table(run("export", "comparison", *more).out) for more in ((), stages))
    assert {(row["from"], row["to"]) for row in back} == {("after", "before")}
    by_name = {row["checkpoint"]: float(row["shift"]) for row in back if row["shift"]}
    for row in there:
        if row["shift"]:
            assert by_name[row["checkpoint"]] == pytest.approx(-float(row["shift"]), abs=1e-12)
    assert run("report", *stages).status == 0
    page = recording.with_suffix(".html").read_text(encoding="utf-8")
    assert "What held, what moved: after to before" in page
    assert run("report", "--to-stage", "strung").status == 2
    assert run("export", "comparison", "--to-stage", "strung").status == 2


def test_the_chart_is_written_beside_the_recording_and_replaced(run, recording: Path) -> None:
    chart = recording.with_name(f"{recording.stem}-drift.html")
    for _ in range(2):
        assert f"Chart: {chart.name}" in run("drift", "--recording", recording.name).out
        assert "SIMULATED" in chart.read_text(encoding="utf-8")
    chart.unlink()
    assert "Chart" not in run("drift", "--no-chart").out
    run("drift", "--json")
    assert not chart.exists()
    assert run("drift", "--json", "--chart", "mine.html").status == 0
    assert Path("mine.html").is_file()
    assert run("drift", "--no-chart", "--chart", "mine.html").status == 2


def test_a_file_of_somebody_else_is_not_replaced_by_the_chart(run, recording: Path) -> None:
    page = recording.with_name(f"{recording.stem}-drift.html")
    page.write_text("<p>my own page</p>", encoding="utf-8")
    ran = run("drift")
    assert ran.status == 0
    assert "none of gaugelog's" in ran.out
    assert page.read_text(encoding="utf-8") == "<p>my own page</p>"


def test_an_instrument_file_that_is_named_is_the_one_that_counts(run, recording: Path) -> None:
    plan = recording.with_suffix(".toml")
    looser = recording.with_name("looser.toml")
    looser.write_text(plan.read_text(encoding="utf-8").replace("limit = 0.5", "limit = 0.9"), encoding="utf-8")
    files = ("--instrument", looser.name, "--recording", recording.name)

    def limit(*more: str) -> float:
        rows = run("compare", "--json", *more).document["checkpoints"]
        return next(row["limit"] for row in rows if row["id"] == "centreline-bridge")

    assert (limit("--recording", recording.name), limit(*files)) == (0.5, 0.9)
    exported = {row["checkpoint"]: row["limit"] for row in table(run("export", "comparison", *files).out)}
    assert float(exported["centreline-bridge"]) == 0.9


def test_the_demos_story_comes_out_of_its_bytes(run, recording: Path) -> None:
    # the invented truth stands in gaugelog/cli/demo_story.py: a turn of 0.15° and 0.08 mm sideways are
    # 0.08 + 274.5 tan 0.15° = 0.80 mm at the bridge; a slip of 0.20° two minutes after the clamps, later taken back
    compared = run("compare", "--json")
    rows = {row["id"]: row for row in compared.document["checkpoints"]}
    assert compared.status == 1
    assert [name for name, row in rows.items() if row["verdict"] == "moved"] == ["centreline-bridge"]
    assert [name for name, row in rows.items() if row["verdict"] == "not proven"] == ["neck-roll"]
    assert sum(row["verdict"] == "held" for row in rows.values()) == 4
    assert abs(rows["centreline-bridge"]["shift"] - 0.80) < 2 * rows["centreline-bridge"]["expanded_95"]
    series = {each["name"]: each for each in run("drift", "--json").document["series"]}
    phases = {phase["name"]: phase for phase in series["neck - body"]["phases"]}
    assert phases["in clamps"]["farthest"] == pytest.approx(0.20, abs=0.03)
    assert abs(phases["in clamps"]["change"] - 0.01) < 3 * phases["in clamps"]["u"]
    slipped, clamped = (phases["in clamps"][key] for key in ("farthest_at", "start"))
    minutes = (datetime.fromisoformat(slipped) - datetime.fromisoformat(clamped)).total_seconds() / 60
    assert 2 <= minutes <= 8
