"""The pictures of a neck set against geometry worked out here, in millimetres read back from the drawing.

What the drawing shows is turned back into millimetres by three of its own marks whose places the instrument file gives:
the joint line, the saddle line and the two ends of the bridge's travel. All numbers of necks here are invented.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree

import pytest

from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.model.instrument import Bridge, Instrument, Neck, Pocket
from gaugelog.show.neck_views import Pose, WoodOff, neck_svg, side_view, top_view

BARITONE = read_instrument(new_instrument("invented baritone", gauges="two"), "invented.toml")
"""Scale 686 mm, joint line at fret 16, saddle line at 274.5, travel 15.4 to 25.2 less 1, pocket 90 by 50, 16 deep."""
IN_INCHES = read_instrument(new_instrument("invented baritone", gauges="two", units="in"), "invented.toml")
BARE = Instrument("bare", (), neck=Neck(scale_length=686.0, joint_fret=16))
AS_READ = Pose("as read", 2.8, 6.0, 0.35, (22.4, 21.4), 0.6, 0.1, 0.25)
AFTER_CUT = Pose("after the cut", 2.55, 5.9, 0.3, (21.1, 20.1), -0.2, 0.05, 0.25)
FLAT = Pose("as read", 0.5, 6.0, 0.3, (11.1, 10.9), -0.2, 0.0, 0.3)
BACKWARD = Pose("as read", -1.0, 6.0, 0.3, (5.2, 5.0))
STEEP = Pose("before", 5.0, 6.0, 0.3, (33.2, 30.2), 1.5, 0.2, 0.3)
STEEPER = Pose("after", 5.2, 5.8, 0.3, (34.0, 31.0), 2.5, 0.1, 0.3)
CUT = WoodOff(0.1, 0.4, 0.1, 0.4, "treble", 0.2, 0.05)
TWISTED_CUT = WoodOff(0.1, 0.4, 0.0, 0.3, "bass", 0.0, 0.3)
SHIM = WoodOff(-0.3, 0.0, -0.3, 0.0)
WEDGE_THROUGH = WoodOff(0.2, -0.3, 0.2, -0.3)

Point = tuple[float, float]


@dataclass(frozen=True)
class Drawing:
    """An SVG read back; `origin` is the joint line on paper, `per_mm` units a millimetre along the strings."""

    root: ElementTree.Element
    origin: Point
    per_mm: float
    per_mm_up: float = 1.0

    def lines(self, kind: str) -> list[list[Point]]:
        """Return the paths of a class in mm, (x, height)."""
        return [
            [((x - self.origin[0]) / self.per_mm, (self.origin[1] - y) / self.per_mm_up) for x, y in points]
            for points in paths(self.root, kind)
        ]


def tag(element: ElementTree.Element) -> str:
    return element.tag.rpartition("}")[2]


def paths(root: ElementTree.Element, kind: str) -> list[list[Point]]:
    """Return the points of every path whose class begins with `kind`."""
    found = [each for each in root.iter() if tag(each) == "path" and f"{each.get('class', '')} ".startswith(f"{kind} ")]
    return [[(float(x), float(y)) for x, y in re.findall(r"([\d.-]+) ([\d.-]+)", each.get("d", ""))] for each in found]


def texts(root: ElementTree.Element) -> list[str]:
    return ["\n".join(each.itertext()) for each in root.iter() if tag(each) == "text"]


def side(instrument: Instrument, poses: Sequence[Pose], wood: WoodOff | None = None) -> Drawing:
    """Return the side view in mm; the instrument needs the baritone's bridge."""
    root = ElementTree.fromstring(side_view(instrument, poses, wood))
    joint = paths(root, "joint-line")[0][0][0]
    (bar,) = paths(root, "travel")
    middle, high, low = (bar[0][0] + bar[1][0]) / 2, bar[0][1], bar[2][1]
    per_mm, per_mm_up = (middle - joint) / 274.5, (low - high) / (25.2 - 15.4)
    return Drawing(root, (joint, low + 15.4 * per_mm_up), per_mm, per_mm_up)


def top(instrument: Instrument, poses: Sequence[Pose], wood: WoodOff | None = None) -> Drawing:
    root = ElementTree.fromstring(top_view(instrument, poses, wood))
    joint = paths(root, "joint-line")[0][0][0]
    middle = paths(root, "centreline")[0][0][1]
    return Drawing(root, (joint, middle), (paths(root, "bridge")[0][0][0] - joint) / 274.5)


def stated(root: ElementTree.Element, words: str) -> float:
    """Return the factor that the picture states: `words` with {} where it stands."""
    pattern = re.escape(words).replace(r"\{\}", r"([\d.]+)")
    found = re.search(pattern, " ".join(texts(root)))
    assert found, f"{words!r} is not in {texts(root)}"
    return float(found[1])


@pytest.mark.parametrize("pose", [AS_READ, FLAT, BACKWARD, STEEP])
def test_the_fret_plane_runs_as_the_angle_says(pose: Pose) -> None:
    drawing = side(BARITONE, [pose])
    slope = math.tan(math.radians(pose.angle_deg))
    for kind in ("fret-plane", "plane-carried-on"):
        for x, height in drawing.lines(kind)[0]:
            assert height == pytest.approx(pose.height_mm + slope * x, abs=0.01)
    assert drawing.lines("plane-carried-on")[0][1][0] == pytest.approx(274.5, abs=0.01)


def test_the_stated_factor_is_the_one_drawn() -> None:
    for poses in ([AS_READ], [FLAT], [STEEP, STEEPER]):
        drawing = side(BARITONE, poses)
        factor = stated(drawing.root, "Heights drawn {} times as large as lengths")
        assert factor == pytest.approx(drawing.per_mm_up / drawing.per_mm, rel=2e-3)
        assert factor >= 2


def test_frets_lie_where_equal_temperament_puts_them() -> None:
    """Distances for 650 mm computed from d = L(1 - 2^(-n/12)), as documented by general-purpose music libraries."""
    published = {1: 36.482, 2: 70.916, 3: 103.417, 5: 163.050, 7: 216.177, 12: 325.0, 15: 376.709, 17: 406.525}
    published |= {19: 433.089, 22: 467.6}
    instrument = replace(BARITONE, neck=replace(BARITONE.neck, scale_length=650.0))
    for drawing in (side(instrument, [AS_READ]), top(instrument, [AS_READ])):
        tops = [line[0] for line in drawing.lines("fret")]
        assert len(tops) == 23
        along = [(x - tops[0][0]) / math.cos(math.radians(2.8)) for x, _ in tops]
        assert {fret: along[fret] for fret in published} == pytest.approx(published, abs=0.03)
        assert tops[16][0] == pytest.approx(0, abs=0.02)


def test_strings_run_straight_from_nut_to_bearing_to_tail() -> None:
    drawing = side(BARITONE, [AS_READ])
    slope = math.radians(2.8)
    nut_along = -686 * (1 - 2 ** (-16 / 12))
    nut = (nut_along * math.cos(slope) - 0.5 * math.sin(slope), 6 + nut_along * math.sin(slope) + 0.5 * math.cos(slope))
    for line, bearing in zip(drawing.lines("string"), (22.4, 21.4), strict=True):
        for drawn, worked_out in zip(line, (nut, (274.5, bearing), (322.0, 8.0)), strict=True):
            assert drawn == pytest.approx(worked_out, abs=0.02)


@pytest.mark.parametrize("pair", [(22.4, 22.2), (22.4, 19.4), (33.0, 30.0), (9.0, 8.8)])
def test_bearings_are_marked_at_their_height_with_their_number(pair: tuple[float, float]) -> None:
    drawing = side(BARITONE, [replace(AS_READ, bearing_mm=pair)])
    marked = [drawing.lines(f"bearing {name}")[0] for name in ("bass", "treble")]
    for (start, end), height in zip(marked, pair, strict=True):
        assert start[1] == end[1] == pytest.approx(height, abs=0.01)
    words = texts(drawing.root)
    assert {f"bass {pair[0]:.1f}\u00a0mm", f"treble {pair[1]:.1f}\u00a0mm"} <= set(words)
    ends = [line[0][1] for line in drawing.lines("reserve")], [line[2][1] for line in drawing.lines("reserve")]
    assert ends[0] == pytest.approx([25.2, 16.4], abs=0.01)
    assert ends[1] == pytest.approx([24.2, 15.4], abs=0.01)


def test_the_interval_is_as_wide_as_given() -> None:
    drawing = side(BARITONE, [AS_READ])
    (tip, high, low), *_ = drawing.lines("band")
    assert tip == pytest.approx((0, 6.0), abs=0.01)
    assert high[1] - low[1] == pytest.approx(0.7, abs=0.01)
    assert (high[1] + low[1]) / 2 == pytest.approx(6 + 274.5 * math.tan(math.radians(2.8)), abs=0.01)
    assert drawing.lines("band") != []
    assert side(BARITONE, [replace(AS_READ, band_mm=None)]).lines("band") == []


def test_a_second_pose_is_dashed_and_named() -> None:
    root = ElementTree.fromstring(side_view(BARITONE, [AS_READ, AFTER_CUT]))
    planes = [each for each in root.iter() if each.get("class") == "fret-plane"]
    assert [each.get("stroke-dasharray") is not None for each in planes] == [False, True]
    assert [words for words in texts(root) if words.endswith("°")] == ["as read 2.80°", "after the cut 2.55°"]


def test_pocket_and_floors_are_where_the_file_says() -> None:
    drawing = side(BARITONE, [AS_READ])
    places = drawing.lines("body-top")[0]
    assert places[:3] == [pytest.approx(place, abs=0.02) for place in ((0, -16), (90, -16), (90, 0))]
    assert drawing.lines("least-floor")[0][0][1] == pytest.approx(12 - 44.5, abs=0.02)


def test_the_fretboard_reaches_down_to_where_the_file_says_its_underside_is() -> None:
    neck = replace(BARITONE.neck, underside_height=1.5)
    _, _, end, nut = side(replace(BARITONE, neck=neck), [AS_READ]).lines("fretboard")[0]
    at_joint = nut[1] + (end[1] - nut[1]) * -nut[0] / (end[0] - nut[0])
    assert at_joint == pytest.approx(1.5, abs=0.02)
    _, _, end, nut = side(BARITONE, [AS_READ]).lines("fretboard")[0]
    assert nut[1] + (end[1] - nut[1]) * -nut[0] / (end[0] - nut[0]) == pytest.approx(0.0, abs=0.02)


def test_wood_to_take_off_hangs_under_the_floor_by_the_stated_factor() -> None:
    drawing = side(BARITONE, [AS_READ], CUT)
    factor = stated(drawing.root, "Hatched: wood to take off, drawn {} times as thick")
    floor_start, floor_end, tail, edge = paths(drawing.root, "wood-off")[0]
    assert (tail[1] - floor_end[1]) / drawing.per_mm / factor == pytest.approx(0.4, abs=0.001)
    assert (edge[1] - floor_start[1]) / drawing.per_mm / factor == pytest.approx(0.1, abs=0.001)
    assert {"0.1\u00a0mm off\nbody edge", "0.4\u00a0mm off\ntail end"} <= set(texts(drawing.root))


def test_a_shim_lies_on_the_floor_and_a_wedge_may_be_both() -> None:
    drawing = side(BARITONE, [AS_READ], SHIM)
    on_floor = paths(drawing.root, "shim")[0]
    assert on_floor[3][1] < on_floor[0][1]
    assert on_floor[2][1] == on_floor[1][1]
    assert "shim 0.3\u00a0mm\nbody edge" in texts(drawing.root)
    both = side(BARITONE, [AS_READ], WEDGE_THROUGH)
    turn_mm = both.lines("wood-off")[0][1][0]
    assert turn_mm == pytest.approx(90 * 0.2 / 0.5, abs=0.05)
    assert both.lines("shim")[0][0][0] == pytest.approx(turn_mm)
    assert paths(side(BARITONE, [AS_READ], WoodOff(0, 0, 0, 0)).root, "hatch") == paths(
        side(BARITONE, [AS_READ]).root, "hatch"
    )


def test_both_sides_are_named_where_they_differ() -> None:
    drawing = side(BARITONE, [AS_READ], TWISTED_CUT)
    assert len(drawing.lines("wood-off")) == 2
    assert "bass 0.4\u00a0mm off\ntreble 0.3\u00a0mm off\ntail end" in texts(drawing.root)


def test_hatching_stays_inside_its_outline() -> None:
    drawing = side(BARITONE, [AS_READ], CUT)
    floor_start, floor_end, tail, edge = paths(drawing.root, "wood-off")[0]
    inside = [
        strokes
        for strokes in paths(drawing.root, "hatch")
        if min(x for x, _ in strokes) >= floor_start[0] - 0.02 and max(x for x, _ in strokes) <= floor_end[0] + 0.02
    ]
    assert len(inside) == 1
    for x, y in inside[0]:
        share = (x - edge[0]) / (tail[0] - edge[0])
        assert floor_start[1] - 0.02 <= y <= edge[1] + share * (tail[1] - edge[1]) + 0.02


def test_from_above_the_centreline_goes_where_the_offset_says() -> None:
    drawing = top(BARITONE, [AS_READ])
    factor = stated(drawing.root, "Offsets of the centreline drawn {} times as large as widths")
    wide = stated(drawing.root, "Widths drawn {} times as large as lengths") * drawing.per_mm
    nut, saddle = paths(drawing.root, "carried-on")[0]
    middle = drawing.origin[1]
    assert (saddle[1] - middle) / wide / factor == pytest.approx(0.6, abs=0.002)
    nut_mm = (nut[0] - drawing.origin[0]) / drawing.per_mm
    assert (nut[1] - middle) / wide / factor == pytest.approx(0.1 + 0.5 * nut_mm / 274.5, abs=0.002)
    _, high, low = paths(drawing.root, "band")[0]
    assert abs(high[1] - low[1]) / wide / factor == pytest.approx(0.5, abs=0.002)


def test_from_above_strings_posts_and_pocket_are_as_wide_as_given() -> None:
    drawing = top(BARITONE, [replace(AS_READ, offset_mm=None, offset_at_joint_mm=0.0)])
    wide = stated(drawing.root, "Widths drawn {} times as large as lengths") * drawing.per_mm
    bass, treble = (paths(drawing.root, f"string {name}")[0] for name in ("bass", "treble"))
    assert [(treble[n][1] - bass[n][1]) / wide for n in (0, 1, 2)] == pytest.approx([36, 52, 52], abs=0.02)
    pocket = drawing.lines("pocket")[0]
    assert [pocket[0][0], pocket[1][0]] == pytest.approx([0, 90], abs=0.02)
    walls = paths(drawing.root, "pocket")[0]
    assert (walls[2][1] - walls[1][1]) / wide == pytest.approx(50, abs=0.02)
    at_joint = paths(drawing.root, "fret")[16]
    assert (at_joint[1][1] - at_joint[0][1]) / wide == pytest.approx(52, abs=0.02)
    last = paths(drawing.root, "fret")[22]
    assert (last[1][1] - last[0][1]) / wide == pytest.approx(53.9, abs=0.02)
    assert len([each for each in drawing.root.iter() if each.get("class") == "post"]) == 2


def test_cheek_wood_is_taken_outward_from_its_cheek() -> None:
    drawing = top(BARITONE, [AS_READ], CUT)
    factor = stated(drawing.root, "Hatched: wood off the treble cheek, drawn {} times as thick")
    wall_start, wall_end, tail, edge = paths(drawing.root, "wood-off")[0]
    assert wall_start[1] == max(y for _, y in paths(drawing.root, "pocket")[0])
    assert (edge[1] - wall_start[1]) / drawing.per_mm / factor == pytest.approx(0.2, abs=0.002)
    assert (tail[1] - wall_end[1]) / drawing.per_mm / factor == pytest.approx(0.05, abs=0.002)
    assert paths(top(BARITONE, [AS_READ], SHIM).root, "wood-off") == []


def test_left_handed_is_the_mirror_image_from_above_and_the_same_from_the_side() -> None:
    left_handed = replace(BARITONE, handedness="left")
    right, left = top(BARITONE, [AS_READ, AFTER_CUT], CUT), top(left_handed, [AS_READ, AFTER_CUT], CUT)
    for kind in ("string bass", "string treble", "carried-on", "wood-off", "band", "bridge"):
        for one, other in zip(paths(right.root, kind), paths(left.root, kind), strict=True):
            for (x, y), (mirrored_x, mirrored_y) in zip(one, other, strict=True):
                assert mirrored_x == pytest.approx(x, abs=0.011)
                assert y + mirrored_y == pytest.approx(2 * right.origin[1], abs=0.021)
    below = paths(left.root, "string bass")[0][1][1] - left.origin[1]
    assert below > 0 > paths(right.root, "string bass")[0][1][1] - right.origin[1]
    assert side_view(left_handed, [AS_READ]) == side_view(BARITONE, [AS_READ])


OPEN = {
    "everything": BARE,
    "pocket": replace(BARITONE, pocket=Pocket()),
    "thickness": replace(BARITONE, pocket=replace(BARITONE.pocket, body_thickness=None, least_floor=None)),
    "tail anchor": replace(BARITONE, bridge=replace(BARITONE.bridge, tail_anchor_x=None, tail_anchor_z=None)),
    "travel": replace(BARITONE, bridge=replace(BARITONE.bridge, bearing_low=None, bearing_high=None)),
    "bridge": replace(BARITONE, bridge=Bridge()),
    "widths": replace(
        BARITONE,
        neck=replace(BARITONE.neck, edge_width_at_joint=None, edge_width_at_last_fret=None, string_spread_at_nut=None),
    ),
    "overhang": replace(BARITONE, neck=replace(BARITONE.neck, overhang=None, frets=None, nut_height=None)),
}


@pytest.mark.parametrize("missing", OPEN)
def test_what_the_file_leaves_open_is_left_out(missing: str) -> None:
    instrument = OPEN[missing]
    for poses in ([AS_READ, AFTER_CUT], [Pose("as read", 2.8, 6.0)]):
        from_side = ElementTree.fromstring(side_view(instrument, poses, CUT))
        from_above = ElementTree.fromstring(top_view(instrument, poses, CUT))
        for root in (from_side, from_above):
            assert len(paths(root, "fret")) >= 17
            assert "nan" not in ElementTree.tostring(root, "unicode").lower()
        assert bool(paths(from_side, "travel")) == (missing not in ("everything", "travel", "bridge"))
        assert bool(paths(from_side, "wood-off")) == (missing not in ("everything", "pocket"))
        assert bool(paths(from_side, "string")) == (poses[0].bearing_mm is not None)
        assert bool(paths(from_above, "pocket")) == (missing not in ("everything", "pocket"))


def test_an_undrilled_bridge_stands_behind_the_scale() -> None:
    root = ElementTree.fromstring(top_view(BARE, [Pose("as read", 0.0, 6.0)]))
    frets = [points[0][0] for points in paths(root, "fret")]
    bridge = paths(root, "bridge")[0][0][0]
    # Twice the nut to the 12th fret is the scale length.
    assert bridge - frets[0] == pytest.approx(2 * (frets[12] - frets[0]), abs=0.03)


def test_without_scale_length_or_pose_there_is_no_picture() -> None:
    no_scale = replace(BARITONE, neck=replace(BARITONE.neck, scale_length=None))
    for view in (side_view, top_view):
        assert view(no_scale, [AS_READ]) == ""
        assert view(BARITONE, []) == ""
    assert neck_svg(no_scale, [AS_READ]) == ""


def test_names_and_labels_are_escaped() -> None:
    rude = replace(BARITONE, name='a <script> & "b"')
    pose = replace(AS_READ, label="<b>&amp")
    for text in (side_view(rude, [pose]), top_view(rude, [pose, pose]), neck_svg(rude, [pose], title="<i> & co")):
        root = ElementTree.fromstring(text)
        assert (root.get("aria-label") or "").startswith('a <script> & "b" from')
        assert not [each for each in root.iter() if tag(each) in ("script", "b", "i")]
    assert "<i> & co" in texts(ElementTree.fromstring(neck_svg(rude, [pose], title="<i> & co")))


def test_words_say_what_is_shown_with_numbers() -> None:
    root = ElementTree.fromstring(side_view(BARITONE, [AS_READ], CUT))
    assert root.get("role") == "img"
    said = (root.get("aria-label") or "").replace("\u00a0", " ")
    at_saddle = 6 + 274.5 * math.tan(math.radians(2.8))
    assert f"6.0 mm at the joint line and {at_saddle:.1f} mm at the saddle line" in said
    assert "neck angle 2.80°" in said
    assert "22.4 mm (bass) and 21.4 mm (treble)" in said
    assert "from 15.4 mm to 25.2 mm, of which 1 mm at either end is reserve" in said
    assert "0.1 mm off at the body edge, 0.4 mm off at the tail end" in said
    above = (ElementTree.fromstring(top_view(BARITONE, [AS_READ])).get("aria-label") or "").replace("\u00a0", " ")
    assert "passes the bridge 0.6 mm to treble, give or take 0.2 mm (95 %)" in above


def test_inches_where_the_file_is_in_inches() -> None:
    words = " ".join(texts(ElementTree.fromstring(side_view(IN_INCHES, [AS_READ], CUT)))).replace("\u00a0", " ")
    assert "bass 0.882 in" in words  # 22.4 / 25.4
    assert "0.016 in off" in words  # 0.4 / 25.4
    assert " mm" not in words


def test_the_file_has_both_views_and_says_when_it_is_simulated() -> None:
    text = neck_svg(BARITONE, [AS_READ, AFTER_CUT], CUT, title="an invented set", simulated=True)
    assert text.startswith('<?xml version="1.0" encoding="UTF-8"?>\n<svg xmlns="http://www.w3.org/2000/svg"')
    root = ElementTree.fromstring(text)
    assert paths(root, "travel")
    assert paths(root, "centreline")
    assert any(words.startswith("SIMULATED") for words in texts(root))
    assert "an invented set" in texts(root)
    assert not any(words.startswith("SIMULATED") for words in texts(ElementTree.fromstring(neck_svg(BARITONE, [FLAT]))))
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")


_BOXES = """() => [...document.querySelectorAll('svg')].map(svg => ({
    frame: svg.getBoundingClientRect().toJSON(),
    words: [...svg.querySelectorAll('text')].map(each => ({
        what: each.textContent, lines: 1 + each.querySelectorAll('tspan').length,
        size: parseFloat(getComputedStyle(each).fontSize), box: each.getBoundingClientRect().toJSON()
    }))}))"""

CROWDED = [
    (BARITONE, [AS_READ, AFTER_CUT], CUT),
    (IN_INCHES, [AS_READ, AFTER_CUT], TWISTED_CUT),
    (BARITONE, [FLAT], SHIM),
    (BARITONE, [BACKWARD, replace(BACKWARD, label="after", bearing_mm=(4.3, 4.1))], WEDGE_THROUGH),
    (BARITONE, [STEEP, STEEPER], TWISTED_CUT),
    (replace(BARITONE, handedness="left"), [AS_READ, replace(AS_READ, label="after")], CUT),
    *((instrument, [AS_READ, AFTER_CUT], CUT) for instrument in OPEN.values()),
]


@pytest.mark.parametrize("width", [380, 900])
def test_no_words_collide_or_leave_the_picture(browser: Any, width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 900})
    for instrument, poses, wood in CROWDED:
        views = side_view(instrument, poses, wood) + top_view(instrument, poses, wood)
        page.set_content(f'<!doctype html><meta charset="utf-8"><body style="margin:16px">{views}')
        for view in page.evaluate(_BOXES):
            frame, words = view["frame"], sorted(view["words"], key=lambda each: each["box"]["top"])
            for each in words:
                box = each["box"]
                assert frame["left"] - 1 <= box["left"], each["what"]
                assert box["right"] <= frame["right"] + 1, each["what"]
                assert frame["top"] - 1 <= box["top"], each["what"]
                assert box["bottom"] <= frame["bottom"] + 1, each["what"]
                assert each["size"] * frame["width"] / 960 > 9, "legible"
            for number, each in enumerate(words):
                for other in words[number + 1 :]:
                    assert not _overlap(each, other), (each["what"], other["what"])
    page.close()


def _overlap(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Tell whether the boxes overlap by more than the room above capitals and below descenders of one line."""
    room = 0.15 * one["box"]["height"] / one["lines"]
    beside = min(one["box"]["right"], other["box"]["right"]) - max(one["box"]["left"], other["box"]["left"])
    above = min(one["box"]["bottom"], other["box"]["bottom"]) - max(one["box"]["top"], other["box"]["top"])
    return beside > 0 and above > room


def test_a_crowd_of_words_is_set_apart_in_order() -> None:
    from gaugelog.show.neck_drawing import apart

    placed = apart([100.0, 101.0, 103.0, 104.0], 0.0, 300.0, 33.0)
    assert all(after - before >= 33 for before, after in pairwise(placed))
    assert sum(placed) / 4 == pytest.approx(102.0)
    assert apart([100.0, 101.0], 0.0, 110.0, 33.0) == pytest.approx([77.0, 110.0])
    assert apart([], 0.0, 1.0) == []
