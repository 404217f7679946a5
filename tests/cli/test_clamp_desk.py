"""The clamp desk without a terminal: what rings, what is said. All values invented."""

from __future__ import annotations

from pathlib import Path

import pytest

from gaugelog.cli.clamp_desk import ClampDesk
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.model.clock import Anchor
from gaugelog.model.readings import LinkChange, LinkState
from gaugelog.recorder.clamping import ClampWork
from gaugelog.recorder.work import open_work

NS = 1_000_000_000


@pytest.fixture
def desk(tmp_path: Path):
    """A desk at a session of two gauges, with a list of the rings."""
    instrument = read_instrument(new_instrument("invented", gauges="two"), "here")
    with open_work(
        instrument, tmp_path / "invented.gaugelog", "clamp", anchor=Anchor(0, 1_700_000_000_000_000)
    ) as work:
        yield ClampDesk(ClampWork(work, ("neck", "body")), quiet=False)


@pytest.fixture
def rings(desk: ClampDesk, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    rung: list[int] = []
    monkeypatch.setattr(desk.screen, "bell", lambda: rung.append(1))
    return rung


@pytest.mark.parametrize(
    ("states", "times"),
    [
        ((LinkState.OPEN, LinkState.ASLEEP), 0),
        ((LinkState.OPEN, LinkState.LOST), 1),
        ((LinkState.OPEN, LinkState.SILENT, LinkState.LOST, LinkState.OPEN, LinkState.LOST), 1),
    ],
)
def test_a_lost_gauge_rings_once_and_one_asleep_never(
    desk: ClampDesk, rings: list[int], states: tuple[LinkState, ...], times: int
) -> None:
    for second, state in enumerate(states):
        desk.hear(LinkChange(second * NS, "neck", state))
    assert len(rings) == times


def test_it_rings_every_five_seconds_until_the_alarm_is_acknowledged(desk: ClampDesk, rings: list[int]) -> None:
    desk.bell.beat(0)
    desk.hear(LinkChange(NS, "neck", LinkState.LOST))
    for half_second in range(3, 24):
        desk.bell.beat(half_second * NS // 2)
    assert len(rings) == 1 + 2
    desk.bell.acknowledge(12 * NS)
    for half_second in range(24, 60):
        desk.bell.beat(half_second * NS // 2)
    assert len(rings) == 1 + 2


def test_a_watch_that_fails_rings_and_is_said_once(
    desk: ClampDesk, rings: list[int], capsys: pytest.CaptureFixture[str]
) -> None:
    desk.session.watch_failed = "ValueError: invented"
    for second in range(30):
        desk.bell.beat(second * NS)
    assert len(rings) == 1
    assert capsys.readouterr().out.count("NOT WATCHED") == 1
    desk.hear(LinkChange(31 * NS, "neck", LinkState.LOST))
    assert len(rings) == 2, "a lost gauge still rings"
