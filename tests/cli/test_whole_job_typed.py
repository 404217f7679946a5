"""The whole job without a gauge: new, tables, compare; and what goes wrong on the way. All values invented."""

from __future__ import annotations

from pathlib import Path

import pytest

BEFORE = {
    "neck-angle": ["2.8", "2.8", "2.8"],
    "clearance-bass": ["0.50..0.55", "0.50..0.55", "0.55..0.60"],
    "clearance-treble": ["0.55..0.60", "0.50..0.55", "0.55..0.60"],
    "centreline-bridge": ["-0.1", "-0.1", "0.0"],
}


def plan_ids(run) -> list[str]:
    return [row["id"] for row in run("checkpoints", "--json").document["checkpoints"]]


def snapshot(run, table, stage: str, values: dict[str, list[str]]):
    """Take a stage from a table: the values given, and a plain one for what the plan reads besides."""
    rows = run("checkpoints", "--json").document["checkpoints"]
    full = {
        row["id"]: values.get(row["id"], BEFORE.get(row["id"], ["90.0" if "squareness" in row["kind"] else "1.0"] * 3))
        for row in rows
        if stage in row["stages"]
    }
    return run("capture", stage, "--from", table(f"{stage}.csv", full), "--json")


@pytest.fixture
def begun(run, table):
    """A folder with an instrument file for typed values and its snapshot before."""
    assert run("new", "baritone", "--gauges", "none").status == 0
    assert snapshot(run, table, "before", {}).status == 0
    return run


def verdicts(run) -> dict[str, str]:
    return {row["id"]: row["verdict"] for row in run("compare", "--json").document["checkpoints"]}


def test_everything_as_before_is_held_and_ends_with_0(begun, table) -> None:
    snapshot(begun, table, "after", {})
    assert begun("compare").status == 0
    assert set(verdicts(begun).values()) == {"held"}


def test_one_checkpoint_that_moved_ends_with_1(begun, table) -> None:
    snapshot(begun, table, "after", {"centreline-bridge": ["0.9", "0.9", "1.0"]})
    assert begun("compare").status == 1
    assert verdicts(begun)["centreline-bridge"] == "moved"
    row = next(r for r in begun("compare", "--json").document["checkpoints"] if r["id"] == "centreline-bridge")
    assert row["shift"] == pytest.approx(1.0, abs=1e-9)
    assert row["before"]["n"] == row["after"]["n"] == 3
    assert row["p_within"] < 0.05


def test_what_is_between_is_not_proven_and_ends_with_3(begun, table) -> None:
    snapshot(begun, table, "after", {"centreline-bridge": ["0.4", "0.3", "0.5"]})
    assert begun("compare").status == 3
    row = next(r for r in begun("compare", "--json").document["checkpoints"] if r["id"] == "centreline-bridge")
    assert row["verdict"] == "not proven"
    assert row["reason"]


def test_a_checkpoint_left_unread_has_no_verdict(begun, table) -> None:
    rows = {"clearance-bass": BEFORE["clearance-bass"]}
    begun("capture", "after", "--from", table("part.csv", rows))
    assert begun("compare").status == 3
    assert verdicts(begun)["clearance-bass"] == "held"
    assert verdicts(begun)["clearance-treble"] == "no verdict"


def test_more_placements_settle_what_was_not_proven(begun, table) -> None:
    snapshot(begun, table, "after", {"centreline-bridge": ["0.2", "0.4", "0.3"]})
    before = verdicts(begun)["centreline-bridge"]
    more = table("more.csv", {"centreline-bridge": ["0.3"] * 8})
    assert begun("capture", "after", "--from", more).status == 2
    assert begun("capture", "after", "--from", more, "--more", "8").status == 0
    row = next(r for r in begun("compare", "--json").document["checkpoints"] if r["id"] == "centreline-bridge")
    assert row["after"]["n"] == 11
    assert (before, row["verdict"]) == ("not proven", "held")


def test_again_begins_a_new_snapshot_and_the_last_complete_one_counts(begun, table) -> None:
    snapshot(begun, table, "after", {"centreline-bridge": ["0.9", "0.9", "1.0"]})
    assert verdicts(begun)["centreline-bridge"] == "moved"
    rows = {k: v for k, v in BEFORE.items() if k in plan_ids(begun)}
    begun("capture", "after", "--again", "--from", table("half.csv", {"centreline-bridge": rows["centreline-bridge"]}))
    assert verdicts(begun)["centreline-bridge"] == "moved"


def test_inches_and_fractions(run, table) -> None:
    run("new", "baritone", "--gauges", "none", "--units", "in")
    values = {"clearance-bass": ["1/64", "1/64", "1/64"], "clearance-treble": ["0.016", "0.4 mm", "1/64 in"]}
    taken = run("capture", "before", "--from", table("in.csv", values), "--json").document
    kept = {row["id"]: [each["value"] for each in row["placements"]] for row in taken["checkpoints"]}
    assert kept["clearance-bass"] == pytest.approx([25.4 / 64] * 3)
    assert kept["clearance-treble"] == pytest.approx([0.016 * 25.4, 0.4, 25.4 / 64])


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ("checkpoint,value\nclearance-bas,0.5\n", "clearance-bass"),
        ("checkpoint,value\nclearance-bass\n", "clearance-bass"),
        ("checkpoint,value\nclearance-bass,half\n", "half"),
        ("checkpoint,value,unit\nclearance-bass,0.5,deg\n", "deg"),
        ("", "table"),
    ],
)
def test_a_table_with_faults_is_refused_whole(run, tmp_path: Path, rows: str, told: str) -> None:
    run("new", "baritone", "--gauges", "none")
    (tmp_path / "bad.csv").write_text(rows, encoding="utf-8")
    ran = run("capture", "before", "--from", "bad.csv")
    assert ran.status == 2
    assert told in ran.err
    assert "Traceback" not in ran.err
    assert not (tmp_path / "baritone.gaugelog").exists()


def test_what_is_missing_is_told(run, tmp_path: Path) -> None:
    assert run("compare").status == 2
    assert run("checkpoints").status == 2
    run("new", "baritone", "--gauges", "none")
    ran = run("compare")
    assert ran.status == 2
    assert "capture before" in ran.err
    assert run("new", "baritone").status == 2
    assert run("capture", "before", "--from", "nowhere.csv").status == 2
    assert run("capture").status == 2
    assert run("capture", "before", "--at", "clearance-bas").status == 2


def test_faults_of_the_instrument_file_are_listed_together(run, tmp_path: Path) -> None:
    run("new", "baritone", "--gauges", "none")
    path = tmp_path / "baritone.toml"
    text = path.read_text(encoding="utf-8").replace("scale_length = 686", 'scale_length = "long"')
    path.write_text(text.replace('handedness = "right"', 'handedness = "middle"'), encoding="utf-8")
    ran = run("checkpoints")
    assert ran.status == 2
    assert "neck.scale_length" in ran.err
    assert "handedness" in ran.err


def test_export_and_report(begun, table, tmp_path: Path) -> None:
    snapshot(begun, table, "after", {})
    for what in ("placements", "comparison"):
        assert begun("export", what, "-o", f"{what}.csv").status == 0
        assert begun("export", what, "-o", f"{what}.parquet").status == 0
        assert begun("export", what).out.count("\n") > 5
    assert begun("export", "placements", "-o", "placements.csv").status == 2
    assert begun("report").status == 0
    assert "held" in (tmp_path / "baritone.html").read_text(encoding="utf-8")
    assert begun("drift").status == 2


def test_a_proper_copy_opens_like_the_first(begun, tmp_path: Path) -> None:
    assert begun("copy", "copy.gaugelog").status == 0
    assert begun("export", "placements", "--recording", "copy.gaugelog").status == 0
    assert begun("copy", "copy.gaugelog").status == 2


def test_a_table_given_twice_is_refused_and_nothing_of_it_taken(run, table) -> None:
    run("new", "baritone", "--gauges", "none")
    part = table("part.csv", {"clearance-bass": ["0.5", "0.5", "0.55"]})
    assert run("capture", "before", "--from", part).status == 0
    ran = run("capture", "before", "--from", part)
    assert ran.status == 2
    assert "--more" in ran.err
    row = run("export", "placements").out
    assert row.count("clearance-bass") == 3


def test_a_fresh_checkpoint_takes_more_rows_than_are_wanted(run, table) -> None:
    run("new", "baritone", "--gauges", "none")
    assert run("capture", "before", "--from", table("five.csv", {"clearance-bass": ["0.5"] * 5})).status == 0
    assert run("export", "placements").out.count("clearance-bass") == 5


def test_a_limit_written_in_afterwards_counts_and_the_change_is_told(begun, table, tmp_path: Path) -> None:
    snapshot(begun, table, "after", {"centreline-bridge": ["0.9", "0.9", "1.0"]})
    path = tmp_path / "baritone.toml"
    text = path.read_text(encoding="utf-8")
    assert "limit = 0.5" in text
    path.write_text(text.replace("limit = 0.5", "limit = 2.5"), encoding="utf-8")
    ran = begun("compare", "--json")
    assert ran.status == 0
    assert "changed" in ran.err
    path.write_text("no instrument any more", encoding="utf-8")
    assert begun("compare").status == 1
    path.unlink()
    assert begun("compare").status == 1


def test_a_stage_is_not_compared_with_itself(begun) -> None:
    ran = begun("compare", "before", "before")
    assert ran.status == 2
    assert "different stages" in ran.err
    assert begun("report", "--to-stage", "before").status == 2
