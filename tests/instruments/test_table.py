"""Tables of placements, and typed values as placements."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelog.errors import FaultyTableError, UnitMismatchError, UnreadableFileError, ValueTextError
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.instruments.table import read_table, read_table_file
from gaugelog.instruments.typed_placement import typed_placement
from gaugelog.model.placement import Settled

WORK = read_instrument(new_instrument("baritone", gauges="one"), "baritone.toml")


def table(text, stage="before"):
    return read_table(text, WORK, stage, "table.csv", lambda checkpoint: 0.05, 7)


def faults(text, stage="before"):
    with pytest.raises(FaultyTableError) as caught:
        table(text, stage)
    return [(fault.key, fault.got, fault.wanted) for fault in caught.value.faults]


def test_one_row_is_one_placement():
    placements = table("checkpoint,value,unit\nneck-angle,2.85,deg\nneck-angle,2.80,\nclearance-bass,1/64,in\n")
    assert [placement.checkpoint for placement in placements] == ["neck-angle", "neck-angle", "clearance-bass"]
    # 1/64 in is 0.396875 mm: 25.4 mm to the inch, exactly.
    assert [placement.value for placement in placements] == [2.85, 2.8, 0.396875]
    assert [placement.text for placement in placements] == ["2.85", "2.80", "1/64"]
    assert [placement.unit for placement in placements] == ["deg", "deg", "in"]
    assert {placement.settled for placement in placements} == {Settled.TABLE}
    assert {placement.time_ns for placement in placements} == {7}
    assert {placement.gauge for placement in placements} == {None}


def test_the_resolution_is_the_step_or_the_gauges():
    neck, clearance = table("neck-angle,2.8\nclearance-bass,0.5")
    assert (neck.resolution, clearance.resolution) == (0.05, 0.05)
    read = read_table("neck-angle,2.8\nclearance-bass,0.5", WORK, "before", "t", lambda checkpoint: 0.25, 0)
    assert [placement.resolution for placement in read] == [0.25, 0.05]


@pytest.mark.parametrize(
    "text",
    [
        "clearance-bass,0.50..0.55\nclearance-treble,>0.30",
        "\ufeffcheckpoint,value\r\nclearance-bass,0.50..0.55\r\n\r\nclearance-treble,>0.30\r\n",
        "# don't worry\nCheckpoint;Value\nclearance-bass;0,50..0,55\n   # \"half\nclearance-treble;>0,30;mm;\n",
        "clearance-bass\t0,50..0,55\nclearance-treble\t>0,30",
        ' clearance-bass , "0,50..0,55"\nclearance-treble,>0.30,,',
        "clearance-bass,0.50..0.55\rclearance-treble,>0.30",
    ],
)
def test_tables_as_programs_write_them(text):
    pair, bound = table(text)
    assert (pair.low, pair.value, pair.high) == (0.5, pytest.approx(0.525), 0.55)
    assert (bound.low, bound.value, bound.high) == (0.3, None, None)


def test_all_faults_come_at_once_with_their_rows():
    text = (
        "checkpoint,value,unit\n"
        "neck-angle,2.85\n"
        "neck-angle\n"
        ",0.5\n"
        "\n"
        "neck-angel,2.85\n"
        "neck-angle,2.85,mm\n"
        "neck-angle,2.85 deg,arcmin\n"
        "neck-angle,almost\n"
        "neck-angle,2,85,deg\n"
        '"neck-angle,2.85\n'
    )
    found = faults(text)
    assert [key for key, _, _ in found] == [f"row {number}" for number in (3, 4, 6, 7, 8, 9, 10, 11)]
    assert found[0][1] == 'half a row: "neck-angle"'
    assert "perhaps neck-angle" in found[2][2]
    assert found[3][1:] == ('the unit "mm"', "angle in deg or arcmin or arcsec or rad")
    assert "decimal comma" in found[6][2]


def test_a_decimal_comma_between_commas_is_never_read_as_something_else():
    assert faults("neck-angle,2,85") == [("row 1", 'the unit "85"', "angle in deg or arcmin or arcsec or rad")]


def test_a_checkpoint_of_another_stage_is_refused_with_its_stages():
    [(key, got, wanted)] = faults("centreline-bridge,0.2", "wet")
    assert (key, got) == ("row 1", "centreline-bridge at the stage wet")
    assert "is read before, after" in wanted
    assert len(table("centreline-bridge,0.2", "a-year-later")) == 1


@pytest.mark.parametrize("text", ["", "\n\n", "# only words\n", "checkpoint,value\n", "\ufeff"])
def test_an_empty_table_is_a_fault(text):
    assert faults(text) == [("row 1", "nothing", "rows of checkpoint,value or checkpoint,value,unit")]


def test_a_table_in_a_file(tmp_path):
    path = tmp_path / "table.csv"
    with pytest.raises(UnreadableFileError):
        read_table_file(path, WORK, "before", lambda checkpoint: 0.05, 0)
    path.write_text("neck-angle,2.85\n", encoding="utf-8")
    assert read_table_file(path, WORK, "before", lambda checkpoint: 0.05, 0)[0].value == 2.85


IDS = st.sampled_from([checkpoint.id for checkpoint in WORK.checkpoints])
CELLS = st.one_of(
    IDS, st.text(max_size=8), st.floats().map(str), st.sampled_from(["1/2", "in", "deg", '"', "0.1..0.2"])
)
LINES = st.lists(CELLS, max_size=4).flatmap(lambda cells: st.sampled_from(",;\t").map(lambda mark: mark.join(cells)))


@given(st.lists(LINES, max_size=6).map("\n".join) | st.text(max_size=80), st.sampled_from(["before", "wet", "own"]))
def test_any_text_is_placements_or_a_list_of_faults(text, stage):
    try:
        placements = table(text, stage)
    except FaultyTableError as refused:
        keys = [fault.key for fault in refused.faults]
    else:
        known = {checkpoint.id for checkpoint in WORK.at_stage(stage)}
        assert {placement.checkpoint for placement in placements} <= known
        return
    assert all(key.startswith("row ") for key in keys)


def test_a_typed_value_is_in_the_unit_of_its_checkpoint():
    inches = read_instrument(new_instrument("baritone", units="in"), "x")
    checkpoint = inches.checkpoint("clearance-bass")
    placement = typed_placement(checkpoint, " 0.02 ", 3, Settled.TYPED, checkpoint.step)
    assert (placement.value, placement.unit, placement.text) == (0.508, "in", "0.02")
    assert (placement.settled, placement.time_ns, placement.resolution) == (Settled.TYPED, 3, 0.0508)
    assert typed_placement(checkpoint, "0.5", 3, Settled.TYPED, 0.05, "mm").value == 0.5
    assert typed_placement(checkpoint, "-1/64", 3, Settled.TYPED, 0.05).value == -0.396875


def test_a_fraction_claims_no_more_than_its_denominator():
    checkpoint = WORK.checkpoint("clearance-bass")
    steps = {
        text: typed_placement(checkpoint, text, 0, Settled.TYPED, 0.05).resolution
        for text in ("1/64", "3/32", "1/1024", "0.40", "0.016 in", "1/64..1/32")
    }
    assert steps == {
        "1/64": 25.4 / 64,
        "3/32": 25.4 / 32,
        "1/1024": 0.05,  # as fine as the checkpoint is read, no finer
        "0.40": 0.05,
        "0.016 in": 0.05,
        "1/64..1/32": 0.05,
    }


def test_a_typed_value_that_does_not_fit_is_a_declared_error():
    checkpoint = WORK.checkpoint("neck-angle")
    with pytest.raises(ValueTextError):
        typed_placement(checkpoint, "", 0, Settled.TYPED, 0.05)
    with pytest.raises(UnitMismatchError):
        typed_placement(checkpoint, "2.8", 0, Settled.TYPED, 0.05, "in")
