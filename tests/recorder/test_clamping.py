"""A clamp session: marks, gaps, spot readings, a wet check, a second sitting. All values invented."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

from gaugelog.errors import UnknownCheckpointError, ValueTextError
from gaugelog.gauges.motions import LIFTED_S, RESTING_S, Hand, Still
from gaugelog.model.clock import Anchor
from gaugelog.model.device import Device
from gaugelog.model.placement import MarkKind, Phase
from gaugelog.model.readings import Chunk, Heard, LinkChange, LinkState, Reject, RejectReason
from gaugelog.recorder.clamping import ClampWork
from gaugelog.recorder.snapshotting import SnapshotWork
from gaugelog.store.reader import open_recording

NS = 1_000_000_000
SLEEPY = Path(__file__).parents[1].joinpath("gauges", "sleepy.toml").read_text(encoding="utf-8")


def silence(shop, session: ClampWork, seconds: float) -> None:
    """Let time pass by ticks of the link alone."""
    for _ in range(round(seconds * 2)):
        shop.clock.advance(0.5)
        session.hear(Heard("angle", Chunk(shop.clock.now_ns(), b""), ()))


def test_marks_set_and_set_back_begin_the_phases(shop) -> None:
    with shop.open("clamp") as work:
        session = ClampWork(work, ("angle",))
        phases = [session.phase]
        shop.clock.advance(600)
        for kind in (MarkKind.GLUE_ON, MarkKind.CLAMPS_ON, MarkKind.CLAMPS_OFF):
            session.mark(kind, shop.clock.now_ns(), ago_s=120.0 if kind is MarkKind.CLAMPS_ON else 0.0)
            phases.append(session.phase)
            shop.clock.advance(300)
        session.beat(Anchor(shop.clock.now_ns(), work.anchor.utc_us_of(shop.clock.now_ns())))
        assert phases == [Phase.DRY_FIT, Phase.GLUE_OPEN, Phase.IN_CLAMPS, Phase.AFTER_CLAMPS]
        assert session.seconds_since(MarkKind.CLAMPS_ON) == pytest.approx(720)
        assert session.seconds_since(MarkKind.NOTE) is None
    with open_recording(shop.recording) as recording:
        seconds = {mark.kind: (mark.utc_us - work.anchor.utc_us) / 1e6 for mark in recording.marks()}
    assert seconds == {MarkKind.GLUE_ON: 600, MarkKind.CLAMPS_ON: 780, MarkKind.CLAMPS_OFF: 1200}


def test_all_that_is_heard_is_counted_and_kept(shop) -> None:
    with shop.open("clamp") as work:
        session = ClampWork(work, ("angle",))
        shop.play(session.hear, work, Still(2.0), 4.0)
        shop.play(session.hear, work, Still(2.5), 1.0)
        state = session.gauges["angle"]
        assert (session.readings, state.rejects, session.gaps) == (50, 0, 0)
        assert (state.start, state.change) == (pytest.approx(2.0), pytest.approx(0.5))
        now_ns = shop.clock.now_ns()
        damaged = Reject(now_ns, b"+ 2.x5", RejectReason.NO_MATCH)
        session.hear(Heard("angle", Chunk(now_ns, b"+ 2.x5\r\n"), (damaged,)))
        assert (session.readings, state.rejects) == (50, 1)
    with open_recording(shop.recording) as recording:
        assert len(recording.readings("angle")) == 50
        assert [(count.gauge, count.count) for count in recording.rejects()] == [("angle", 1)]


def test_a_silent_gauge_has_a_gap_and_its_end_is_when_it_spoke_again(shop) -> None:
    with shop.open("clamp") as work:
        session = ClampWork(work, ("angle",))
        shop.play(session.hear, work, Still(2.0), 2.0)
        silence(shop, session, 30)
        assert session.gauges["angle"].silent_since_ns is not None
        shop.play(session.hear, work, Still(2.0), 2.0)
        assert session.gaps == 1
        assert session.gauges["angle"].silent_since_ns is None
    with open_recording(shop.recording) as recording:
        (gap,) = recording.gaps()
    assert gap.fault
    assert (gap.end_utc_us - gap.start_utc_us) / 1e6 == pytest.approx(30.1, abs=0.2)


def test_a_lost_link_has_a_gap_with_its_reason(shop) -> None:
    with shop.open("clamp") as work:
        session = ClampWork(work, ("angle",))
        shop.play(session.hear, work, Still(2.0), 2.0)
        session.hear(LinkChange(shop.clock.now_ns(), "angle", LinkState.LOST, "the port is gone"))
        shop.clock.advance(5)
        shop.play(session.hear, work, Still(2.0), 2.0)
        assert session.gaps == 1
    with open_recording(shop.recording) as recording:
        (gap,) = recording.gaps()
        kinds = [event.kind for event in recording.events()]
    assert (gap.reason, gap.fault) == ("the port is gone", True)
    assert "link lost" in kinds


def test_a_silence_until_the_end_is_a_gap_too(shop) -> None:
    with shop.open("clamp") as work:
        session = ClampWork(work, ("angle",))
        shop.play(session.hear, work, Still(2.0), 2.0)
        silence(shop, session, 10)
        session.close()
        assert session.gaps == 1
    with open_recording(shop.recording) as recording:
        assert len(recording.gaps()) == 1


def test_a_gauge_that_switches_itself_off_has_no_fault(shop) -> None:
    shop.use_datasheet("sleepy", SLEEPY)
    with shop.open("clamp") as work:
        session = ClampWork(work, ("angle",))
        assert work.datasheets["angle"].longest_silence_s == 2.0
        shop.play(session.hear, work, Still(2.0), 2.0)
        session.hear(LinkChange(shop.clock.now_ns(), "angle", LinkState.ASLEEP))
        silence(shop, session, 300)
        shop.play(session.hear, work, Still(2.0), 2.0)
        assert session.gaps == 0
        silence(shop, session, 300)
        shop.play(session.hear, work, Still(2.0), 2.0)
        assert session.gaps == 1, "it had not been still for long enough to be asleep"
    with open_recording(shop.recording) as recording:
        assert [gap.fault for gap in recording.gaps()] == [False, True]


def alarms_of(session: ClampWork) -> list[str]:
    return [each.alarm.kind.value for each in session.alarms]


def test_a_watch_that_fails_never_stops_the_recording(shop, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> tuple[()]:
        raise ZeroDivisionError("invented")

    with shop.open("clamp") as work:
        session = ClampWork(work, ("angle",))
        shop.play(session.hear, work, Still(2.0), 2.0)
        monkeypatch.setattr(session, "watch", SimpleNamespace(hear=fail, tick=fail, mark=fail, lost=fail, back=fail))
        shop.play(session.hear, work, Still(2.0), 2.0)
        session.mark(MarkKind.CLAMPS_ON, shop.clock.now_ns())
        session.hear(LinkChange(shop.clock.now_ns(), "angle", LinkState.LOST))
        silence(shop, session, 5)
        assert session.watch_failed == "ZeroDivisionError: invented"
    with open_recording(shop.recording) as recording:
        assert len(recording.readings("angle")) == 40
        assert len(recording.marks()) == 1
        failed = [event.words for event in recording.events() if event.kind == "watch failed"]
    assert failed == ["ZeroDivisionError: invented"], "told once"


def test_a_lost_gauge_is_told_once_however_often_its_silent_link_is_opened_again(shop) -> None:
    with shop.open("clamp") as work:
        session = ClampWork(work, ("angle",))
        shop.play(session.hear, work, Still(2.0), 2.0)
        for _ in range(3):
            silence(shop, session, 12)
            session.hear(LinkChange(shop.clock.now_ns(), "angle", LinkState.SILENT))
            session.hear(LinkChange(shop.clock.now_ns(), "angle", LinkState.LOST, "nothing came"))
            session.hear(LinkChange(shop.clock.now_ns(), "angle", LinkState.OPEN))
        assert alarms_of(session) == ["lost"]
        shop.play(session.hear, work, Still(2.0), 2.0)
        silence(shop, session, 5)
        assert alarms_of(session) == ["lost", "lost"], "it spoke again, and fell silent again"


def test_a_gauge_that_could_sleep_but_did_not_is_told_as_lost(shop) -> None:
    shop.use_datasheet("sleepy", SLEEPY)
    with shop.open("clamp") as work:
        session = ClampWork(work, ("angle",))
        shop.play(session.hear, work, Still(2.0), 2.0)
        session.hear(LinkChange(shop.clock.now_ns(), "angle", LinkState.ASLEEP))
        assert alarms_of(session) == []
        shop.play(session.hear, work, Still(2.0), 2.0)
        session.hear(LinkChange(shop.clock.now_ns(), "angle", LinkState.SILENT))
        assert alarms_of(session) == ["lost"]


def test_spot_readings_are_kept_with_their_moment(shop) -> None:
    with shop.open("clamp") as work:
        session = ClampWork(work, ())
        for minutes, text in ((0, "0.50..0.55"), (10, "0.55..0.60")):
            kept = session.spot("clearance-bass", text, minutes * 60 * NS)
            assert kept.utc_us == work.anchor.utc_us_of(minutes * 60 * NS)
        with pytest.raises(UnknownCheckpointError):
            session.spot("clearance-bas", "0.5", 0)
        with pytest.raises(ValueTextError):
            session.spot("clearance-bass", "half", 0)
    with open_recording(shop.recording) as recording:
        assert [kept.placement.text for kept in recording.snapshot("spot").placements] == ["0.50..0.55", "0.55..0.60"]


def test_a_wet_check_runs_beside_the_session(shop) -> None:
    with shop.open("clamp") as work:
        session = ClampWork(work, ("angle",))
        wet = SnapshotWork(work, "wet", again=True)

        def hear(event) -> None:
            session.hear(event)
            wet.hear(event)

        shop.set_down(hear, work, -1.4, 1.4)
        wet.type_in("0.50..0.55", shop.clock.now_ns())
        assert wet.complete
        assert session.readings == round(2 * (LIFTED_S + RESTING_S) * 10)
    with open_recording(shop.recording) as recording:
        assert len(recording.snapshot("wet").placements) == 2
        assert len(recording.readings("angle")) == session.readings


def test_a_second_sitting_goes_on_in_the_same_recording(shop) -> None:
    with shop.open("clamp") as work:
        session = ClampWork(work, ("angle",))
        session.mark(MarkKind.GLUE_ON, shop.clock.now_ns())
        shop.play(session.hear, work, Still(2.0), 2.0)
    shop.clock.advance(3600)
    with shop.open("clamp") as work:
        session = ClampWork(work, ("angle",))
        assert session.phase is Phase.GLUE_OPEN
        session.mark(MarkKind.CLAMPS_ON, shop.clock.now_ns())
        shop.play(session.hear, work, Hand(2.0), 2.0)
    with open_recording(shop.recording) as recording:
        assert len(recording.sittings()) == 2
        assert len(recording.readings("angle")) == 40
        assert [mark.kind for mark in recording.marks()] == [MarkKind.GLUE_ON, MarkKind.CLAMPS_ON]


def test_a_gauge_that_says_it_is_another_than_named_is_told(shop) -> None:
    shop.path.write_text(
        shop.path.read_text(encoding="utf-8").replace(
            'angle = "angle-line@sim:"', 'angle = {gauge = "angle-line@sim:", identity = "A17"}'
        ),
        encoding="utf-8",
    )
    with shop.open("clamp") as work:
        told = [
            work.stranger(LinkChange(0, "angle", LinkState.OPEN, device=device))
            for device in (Device(serial_number="A17"), Device(serial_number="B7"), Device(), None)
        ]
    assert told == ["", "angle says that its number is B7; the instrument file names A17", "", ""]
