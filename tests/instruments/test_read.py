"""Reading an instrument file: what it says, and every fault at once."""

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelog.errors import FaultyInstrumentError
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.model.instrument import ToleranceSide
from gaugelog.model.kinds import KIND_BY_SLUG, KINDS
from gaugelog.model.quantities import Quantity

NECK_ANGLE = '[[checkpoint]]\nid = "a"\nkind = "neck-angle"\nstep = 0.1\n'


def read(text):
    return read_instrument(text, "test.toml")


def one(checkpoint, head='name = "x"\n'):
    """Return the one checkpoint of a file."""
    return read(f'{head}[[checkpoint]]\nid = "a"\n{checkpoint}').checkpoints[0]


def faults(text):
    """Return the faults of a text as key -> wanted."""
    with pytest.raises(FaultyInstrumentError) as caught:
        read(text)
    return {fault.key: fault.wanted for fault in caught.value.faults}


def checkpoint_faults(checkpoint, head='name = "x"\n'):
    found = faults(f'{head}[[checkpoint]]\nid = "a"\n{checkpoint}')
    return {key.removeprefix("checkpoint[1]."): wanted for key, wanted in found.items()}


def test_lengths_are_in_the_unit_of_the_file_or_their_own():
    text = 'name = "x"\nunits = "in"\n[neck]\nscale_length = 27\nrelief = "0.15 mm"\n[bridge]\nspacer = "1/16"\n'
    instrument = read(text + "bearing_low = 0.5\n" + NECK_ANGLE)
    # 25.4 mm to the inch, exactly (international yard and pound agreement, 1959).
    assert instrument.neck.scale_length == 685.8
    assert instrument.neck.relief == 0.15
    assert (instrument.bridge.spacer, instrument.bridge.bearing_low) == (1.5875, 12.7)
    assert instrument.neck.frets is None
    assert instrument.text == text + "bearing_low = 0.5\n" + NECK_ANGLE


def test_a_checkpoint_has_sensible_defaults():
    checkpoint = one('kind = "neck-angle"\nstep = 0.1', 'name = "x"\nflat_spot = "tape"\n')
    assert checkpoint.stages == ("before", "after")
    assert (checkpoint.placements, checkpoint.unit, checkpoint.reference) == (3, "deg", "tape")
    assert checkpoint.todo.startswith("Read the neck angle: slope of the fret plane")
    assert one('kind = "heel-angle"\nstep = 0.1').stages == ("before",)
    assert one('kind = "neck-relief"\nstep = 1', 'name = "x"\nunits = "in"\n').step == 25.4


def test_a_free_angle_is_not_referenced_unless_it_says_so():
    head = 'name = "x"\nflat_spot = "tape"\n'
    assert not one('kind = "free"\nunit = "deg"\nstep = 0.1', head).referenced
    assert one('kind = "free"\nunit = "deg"\nstep = 0.1\nreference = "tape"', head).referenced
    assert one('kind = "control"\nquantity = "angle"\nstep = 0.1', head).readings_per_placement == 1


def test_a_control_is_an_angle_or_a_length():
    assert one('kind = "control"\nunit = "inch"\nstep = "1/64"').quantity is Quantity.LENGTH
    assert one('kind = "control"\nquantity = "angle"\nstep = 0.1').unit == "deg"
    assert "quantity" in checkpoint_faults('kind = "control"\nstep = 0.1')


@pytest.mark.parametrize(
    ("written", "side", "low", "high"),
    [
        ("0.2", ToleranceSide.BOTH, 0.3, 0.7),
        ("{at_most = 0.6}", ToleranceSide.AT_MOST, None, 0.6),
        ("{at_least = 0.4}", ToleranceSide.AT_LEAST, 0.4, None),
        ('{from = 0.2, to = "1.5 mm"}', ToleranceSide.BOTH, 0.2, 1.5),
    ],
)
def test_tolerances(written, side, low, high):
    tolerance = one(f'kind = "neck-relief"\nstep = 0.05\nnominal = 0.5\ntolerance = {written}').tolerance
    assert tolerance.side is side
    assert tolerance.low == (None if low is None else pytest.approx(low))
    assert tolerance.high == (None if high is None else pytest.approx(high))


@pytest.mark.parametrize(
    "written", ["{at_most = 1, at_least = 0}", "{from = 1}", "{}", "{from = 2, to = 1}", '"x"', "0"]
)
def test_a_tolerance_that_says_nothing_is_a_fault(written):
    assert checkpoint_faults(f'kind = "neck-relief"\nstep = 0.05\nnominal = 0.5\ntolerance = {written}')


def test_a_two_sided_tolerance_needs_a_nominal_value():
    assert "nominal" in checkpoint_faults('kind = "neck-angle"\nstep = 0.1\ntolerance = 0.2')


def test_a_fahrenheit_tolerance_is_a_difference():
    # 9 °F of difference are 5 K (NIST SP 811, appendix B.9).
    tolerance = one('kind = "temperature"\nunit = "degF"\nstep = 1\nnominal = 68\ntolerance = 9').tolerance
    assert (tolerance.low, tolerance.high) == (pytest.approx(15), pytest.approx(25))


def test_points_are_in_the_unit_of_the_file_and_directions_of_length_one():
    place = one(
        'kind = "neck-relief"\nstep = 1\npoint = [1, -2, 0]\ndirection = [0, 3, 4]', 'name = "x"\nunits = "in"\n'
    ).place
    assert place.point_mm == (25.4, -50.8, 0.0)
    assert place.direction == pytest.approx((0, 0.6, 0.8))
    assert "direction" in checkpoint_faults('kind = "neck-relief"\nstep = 1\ndirection = [0, 0, 0]')


@pytest.mark.parametrize("kind", [kind.slug for kind in KINDS if kind.parts_alone])
def test_parts_alone_have_neither_limit_nor_a_stage_after_the_glue(kind):
    found = checkpoint_faults(f'kind = "{kind}"\nstep = 0.1\nlimit = 0.2\nstages = ["before", "after"]')
    assert "before the glue only" in found["limit"]
    assert "closed the joint" in found["stages"]
    assert "stages" in checkpoint_faults(f'kind = "{kind}"\nstep = 0.1\nstages = ["wet"]')


def test_the_weather_has_no_movement_limit():
    assert "weather" in checkpoint_faults('kind = "temperature"\nstep = 1\nlimit = 2')["limit"]


@pytest.mark.parametrize("kind", [kind.slug for kind in KINDS])
def test_kinds_with_sides_ask_for_one_and_others_refuse_it(kind):
    quantity = 'unit = "mm"\n' if KIND_BY_SLUG[kind].quantity is None else ""
    without, with_side = (
        f'kind = "{kind}"\nstep = 0.1\n{quantity}',
        f'kind = "{kind}"\nstep = 0.1\n{quantity}side = "bass"',
    )
    if KIND_BY_SLUG[kind].sides:
        assert "side" in checkpoint_faults(without)
        assert one(with_side).side == "bass"
    elif kind == "free":
        assert one(with_side).side == "bass"
    else:
        assert "side" in checkpoint_faults(with_side)
        assert one(without).side == ""


def test_gauges_by_short_name_or_with_identity():
    gauges = '[gauges]\nneck = "angle-line@serial:A?baud=9600"\nbody = {gauge = "angle-line@sim:", identity = "7"}\n'
    instrument = read(
        f'name = "x"\n{gauges}[[checkpoint]]\nid = "a"\nkind = "neck-angle"\ngauge = "neck"\nbody_gauge = "body"'
    )
    assert instrument.gauge("neck").gauge.address.options == {"baud": "9600"}
    assert instrument.gauge("body").identity == "7"
    assert instrument.gauge("neck").gauge.name == "neck"
    assert instrument.checkpoints[0].body_gauge == "body"


@pytest.mark.parametrize(
    ("keys", "key"),
    [
        ('kind = "neck-angle"\ngauge = "anlge"', "gauge"),
        ('kind = "neck-angle"', "step"),
        ('kind = "neck-angle"\ngauge = "angle"\nstep = 0.1', "step"),
        ('kind = "neck-angle"\ngauge = "angle"\nbody_gauge = "angle"', "body_gauge"),
        ('kind = "neck-angle"\nstep = 0.1\nbody_gauge = "angle"', "gauge"),
        ('kind = "neck-relief"\ngauge = "angle"\nbody_gauge = "other"', "body_gauge"),
        ('kind = "neck-relief"\nstep = 0.1\nreference = "tape"', "reference"),
        ('kind = "neck-angle"\nstep = 0.1\nmust_prove = true', "limit"),
        ('kind = "neck-angle"\nstep = 0.1\nlimit = 0', "limit"),
        ('kind = "neck-angle"\nstep = 0.1\nlimit = "0.2 mm"', "limit"),
        ('kind = "neck-angle"\nstep = 0.1\nunit = "mm"', "unit"),
        ('kind = "neck-angle"\nstep = 0.1\nquantity = "length"', "quantity"),
        ('kind = "neck-angel"\nstep = 0.1\nlimit = "0.2 deg"', "kind"),
        ('kind = "zzz"\nstep = 0.1', "kind"),
        ("step = 0.1", "kind"),
        ('kind = "neck-angle"\nstep = 0.1\nstages = []', "stages"),
        ('kind = "neck-angle"\nstep = 0.1\nstages = ["Before the glue"]', "stages"),
        ('kind = "neck-angle"\nstep = 0.1\nstages = ["before", "before"]', "stages"),
        ('kind = "neck-angle"\nstep = 0.1\nplacements = 0', "placements"),
        ('kind = "neck-angle"\nstep = 0.1\nlimits = 0.2', "limits"),
    ],
)
def test_a_faulty_checkpoint_names_its_key(keys, key):
    gauges = 'name = "x"\n[gauges]\nangle = "angle-line@typed:"\nother = "angle-line@sim:"\n'
    assert list(checkpoint_faults(keys, gauges)) == [key]


def test_the_nearest_name_is_offered():
    gauges = 'name = "x"\n[gauges]\nangle = "angle-line@typed:"\n'
    assert "perhaps angle" in checkpoint_faults('kind = "neck-angle"\ngauge = "anlge"', gauges)["gauge"]
    assert "perhaps neck-angle" in checkpoint_faults('kind = "neck-angel"\nunit = "deg"\nstep = 0.1')["kind"]
    assert "perhaps limit" in checkpoint_faults('kind = "neck-angle"\nstep = 0.1\nlimits = 0.2')["limits"]


@pytest.mark.parametrize(
    ("tables", "key"),
    [
        ("[neck]\nfrets = 14\njoint_fret = 16", "neck.joint_fret"),
        ("[bridge]\nbearing_low = 20\nbearing_high = 15", "bridge.bearing_low"),
        ("[bridge]\nbearing_low = 15\nbearing_high = 20\ntravel_reserve = 2.5", "bridge.travel_reserve"),
        ("[neck]\nfretboard_radius = 20\n[bridge]\nstring_spread = 52", "neck.fretboard_radius"),
        ("[pocket]\nlength = 90\n[bridge]\nposition = 80", "pocket.length"),
        ("[neck]\nscale_length = 686\njoint_fret = 16\n[pocket]\nlength = 280", "pocket.length"),
        ("[pocket]\ndepth = 45\nbody_thickness = 44", "pocket.depth"),
        ("[pocket]\ndepth = 34\nbody_thickness = 44\nleast_floor = 12", "pocket.least_floor"),
        ("[bridge]\nposition = 274\ntail_anchor_x = 200", "bridge.tail_anchor_x"),
        ("[neck]\nscale_length = -686", "neck.scale_length"),
        ("[neck]\nplane_height = 0", "neck.plane_height"),
        ("[bridge]\nposition = -1", "bridge.position"),
        ("[movement_limits]\nyaw = 0", "movement_limits.yaw"),
        ("[wood]\nneck_grain = 'wild'", "wood.neck_grain"),
        ("[glue]\nopen_time_min = 0", "glue.open_time_min"),
        ("[gauges]\nangle = 'nothing'", "gauges.angle"),
        ("[gauges]\nangle = {identity = 'x'}", "gauges.angle.gauge"),
        ("[gauges]\nangle = {gauge = 'a@sim:', id = 'x'}", "gauges.angle.id"),
        ("[gauges]\n'two words' = 'a@sim:'", "gauges.two words"),
        ("[tail]\nx = 1", "tail"),
    ],
)
def test_what_can_not_be_is_a_fault_at_its_key(tables, key):
    assert list(faults(f'name = "x"\n{tables}\n{NECK_ANGLE}')) == [key]


def test_all_faults_come_at_once():
    found = faults(
        'units = "ft"\n[neck]\nfrets = 14\njoint_fret = 16\nscale = 686\n'
        '[[checkpoint]]\nid = "a b"\nkind = "neck-angle"\n' + NECK_ANGLE + NECK_ANGLE
    )
    assert set(found) == {
        "name", "units", "neck.joint_fret", "neck.scale", "checkpoint[1].id", "checkpoint[1].step", "checkpoint[3].id",
    }  # fmt: skip


def test_a_file_without_a_checkpoint_is_none():
    assert list(faults('name = "x"')) == ["checkpoint"]


@pytest.mark.parametrize(
    ("text", "line"),
    [('name = "x"\nunits == "mm"\n', "line 2"), ('a = 1\nb = """\n\n', "line 3"), ("a = 1\na = 2", "line 2")],
)
def test_what_is_no_toml_is_one_fault_with_its_line(text, line):
    assert list(faults(text)) == [line]


@pytest.mark.parametrize("text", ["a = " + "[" * 5000, "a = " + "9" * 5000])
def test_monsters_are_refused(text):
    assert len(faults(text)) == 1


def literals():
    scalars = st.one_of(
        st.booleans().map(lambda value: "true" if value else "false"),
        st.integers().map(str),
        st.floats().map(lambda value: "nan" if math.isnan(value) else repr(value)),
        st.text("abc -.\u00e9", max_size=12).map(lambda text: json.dumps(text, ensure_ascii=False)),
        st.sampled_from(['"3/32 in"', "1979-05-27", "07:32:00", "0x" + "f" * 5000, "1e999", '"bass"', '"deg"', '"mm"']),
    )
    return st.recursive(
        scalars,
        lambda inner: (
            st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]")
            | st.lists(inner, min_size=1, max_size=2).map(
                lambda items: "{" + ", ".join(f"k{i} = {item}" for i, item in enumerate(items)) + "}"
            )
        ),
        max_leaves=4,
    )


FULL = new_instrument("baritone", gauges="two", full=True).splitlines()
KEY_LINES = [number for number, line in enumerate(FULL) if "=" in line and not line.startswith("#")]


@settings(max_examples=150)
@given(st.dictionaries(st.sampled_from(KEY_LINES), literals(), min_size=1, max_size=4))
def test_a_good_file_with_any_values_put_in_is_read_or_refused(changes):
    lines = list(FULL)
    for number, literal in changes.items():
        lines[number] = f"{lines[number].partition('=')[0]}= {literal}"
    try:
        instrument = read("\n".join(lines))
    except FaultyInstrumentError:
        return
    assert len(instrument.checkpoints) == len([line for line in lines if line == "[[checkpoint]]"])


@given(st.text(max_size=60) | st.text('[]{}=".#\n ab1', max_size=60))
def test_any_text_is_an_instrument_or_a_list_of_faults(text):
    with pytest.raises(FaultyInstrumentError):
        read(text)


def test_a_contradiction_is_told_in_the_unit_of_the_file() -> None:
    for units, low, high, told in (
        ("mm", "12.7", "6.35", ("12.7 mm", "6.35 mm")),
        ("in", "0.5", "0.25", ("0.5 in", "0.25 in")),
    ):
        text = f'name = "x"\nunits = "{units}"\n[bridge]\nbearing_low = {low}\nbearing_high = {high}\n' + NECK_ANGLE
        with pytest.raises(FaultyInstrumentError) as raised:
            read_instrument(text, "x.toml")
        (fault,) = [each for each in raised.value.faults if each.key == "bridge.bearing_low"]
        assert (fault.got, told[1] in fault.wanted) == (told[0], True)
