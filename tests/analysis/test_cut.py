"""Wood to take off: the cheapest cut against a brute-force search and a library's linear programme."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from gaugelog.analysis.cut import Pocket, Taken, Wanted, least_shim, least_wood, rounded

POCKET = Pocket(start=0.0, length=80.0, width=56.0, spare=4.0)
BRIDGE = 266.0


def test_lowering_the_bridge_takes_wood_at_the_tail_end_only() -> None:
    taken = least_wood(POCKET, [Wanted(BRIDGE, 1.5, 1.5)])
    assert taken is not None
    assert taken.body_edge == pytest.approx(0.0)
    assert taken.tail == pytest.approx(1.5 * 80 / 266)


def test_raising_it_takes_wood_at_the_body_edge_only() -> None:
    taken = least_wood(POCKET, [Wanted(BRIDGE, -1.5, -1.5)])
    assert taken is not None
    assert taken.tail == pytest.approx(0.0)
    assert taken.body_edge == pytest.approx(1.5 * 80 / (266 - 80))


def test_nothing_wanted_takes_nothing() -> None:
    assert least_wood(POCKET, [Wanted(BRIDGE, -0.5, 0.5)]) == Taken(0.0, 0.0)


def test_what_needs_more_wood_than_there_is_has_no_cut_and_a_shim_says_how_much_to_add() -> None:
    thin = Pocket(0.0, 80.0, 56.0, spare=0.2)
    wanted = [Wanted(BRIDGE, 1.5, 1.5)]
    assert least_wood(thin, wanted) is None
    shim = least_shim(thin, wanted)
    assert shim is not None
    assert shim.needs_shim
    fall = thin.fall_at(BRIDGE)
    assert fall[0] * shim.body_edge + fall[1] * shim.tail == pytest.approx(1.5)


@settings(max_examples=200)
@given(
    bridge=st.tuples(st.floats(-4, 4), st.floats(0, 2)),
    joint=st.tuples(st.floats(-1, 1), st.floats(0.1, 3)),
    spare=st.floats(0.5, 6),
    start=st.floats(-10, 10),
)
def test_the_least_wood_is_that_of_a_linear_programme(
    bridge: tuple[float, float], joint: tuple[float, float], spare: float, start: float
) -> None:
    """Oracle: scipy.optimize.linprog (HiGHS)."""
    pocket = Pocket(start, 80.0, 56.0, spare)
    wanted = [Wanted(BRIDGE, bridge[0], bridge[0] + bridge[1]), Wanted(0.0, joint[0], joint[0] + joint[1])]
    rows = np.array([pocket.fall_at(each.x) for each in wanted])
    limits = [each.high for each in wanted], [each.low for each in wanted]
    found = linprog(
        [1, 1], np.vstack([rows, -rows]), [*limits[0], *(-low for low in limits[1])], bounds=[(0, spare)] * 2
    )
    taken = least_wood(pocket, wanted)
    if found.status == 0 and taken is not None:
        assert taken.body_edge + taken.tail == pytest.approx(found.fun, abs=1e-5)
    elif found.status == 0:
        slack = min(bridge[1], joint[1])
        assert slack < 1e-6, "the programme found a cut that was missed"
    else:
        assert taken is None or found.status == 2


def test_the_least_wood_is_what_a_search_over_all_cuts_finds() -> None:
    wanted = [Wanted(BRIDGE, 0.8, 1.0), Wanted(0.0, 0.3, 2.0)]
    taken = least_wood(POCKET, wanted)
    assert taken is not None
    edge, tail = np.meshgrid(np.linspace(0, 4, 801), np.linspace(0, 4, 801))
    allowed = np.ones_like(edge, dtype=bool)
    for each in wanted:
        fall = POCKET.fall_at(each.x)[0] * edge + POCKET.fall_at(each.x)[1] * tail
        allowed &= (fall >= each.low) & (fall <= each.high)
    assert taken.body_edge + taken.tail <= float((edge + tail)[allowed].min()) + 1e-9
    assert taken.body_edge + taken.tail == pytest.approx(float((edge + tail)[allowed].min()), abs=0.01)


def test_a_cut_is_rounded_to_what_a_hand_does() -> None:
    assert rounded(Taken(0.04, 0.451), 0.1) == Taken(0.0, pytest.approx(0.5))
