"""A snapshot and a clamp session under any order of events, against a simple model: what was acknowledged is there.

Readings are real bytes through the datasheet's decoder. The recording is a real file. A kill leaves the file and its
log exactly as they stand at that moment: the work goes on from a copy of the two. All values are invented.
"""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

import fuzz_inputs as fuzz
import pytest
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from gaugelog.datasheets.meaning import Decoding
from gaugelog.errors import GaugelogError, NothingToDoError, UnknownCheckpointError
from gaugelog.instruments.read import read_instrument
from gaugelog.model.clock import Anchor
from gaugelog.model.placement import KeptPlacement, Mark, MarkKind, Settled
from gaugelog.model.readings import Chunk, Heard, LinkChange, LinkState, Reading
from gaugelog.recorder.clamping import ClampWork
from gaugelog.recorder.snapshotting import SnapshotWork
from gaugelog.recorder.work import Work, open_work
from gaugelog.store.reader import open_recording

telling = pytest.fixture(autouse=True, scope="module")(fuzz.tell)
UTC_US, TICK_NS = 1_700_000_000_000_000, 100_000_000
PLAN = """
name = "baritone"
flat_spot = "tape mark behind the bridge"
[gauges]
angle = "angle-line@sim:"
[[checkpoint]]
id = "neck-angle"
kind = "neck-angle"
stages = ["before", "wet", "after"]
placements = 2
gauge = "angle"
[[checkpoint]]
id = "clearance-bass"
kind = "fret-to-bridge-clearance"
side = "bass"
stages = ["before", "wet", "after"]
placements = 2
step = 0.05
[[checkpoint]]
id = "block"
kind = "free"
quantity = "angle"
stages = ["before"]
placements = 2
gauge = "angle"
"""
POINTS = ("neck-angle", "clearance-bass", "block")
GOOD = {"0.30": 0.30, "0,45": 0.45, "1.25": 1.25, "0.25..0.30": 0.275, "2.85": 2.85}
BAD = ("about three", "", "3/0", "0.30..0.25", "2 kg", "9" * 100, "\x00", "..", ">0.3 deg mm")


@dataclass
class Known:
    """What was acknowledged of a placement."""

    id: int
    snapshot: int
    stage: str
    checkpoint: str
    text: str
    value: float | None
    settled: Settled
    dropped: str | None = None


class Bench(RuleBasedStateMachine):
    """The bench, a hand at it, and the model of what the recording must hold."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.instrument = read_instrument(PLAN, "a test")
        self.now_ns = 10**9
        self.sittings = self.turns = 0
        self.known: dict[int, Known] = {}
        self.every_id: list[int] = []
        self.skips: dict[tuple[int, str], str] = {}
        self.marks: list[Mark] = []
        self.heard: list[tuple[int, float]] = []
        self.safe = 0
        self.shown: float | None = None
        self.body: float | None = None
        self.work: Work | None = None
        self.taking: SnapshotWork | None = None
        self.clamping: ClampWork | None = None

    @property
    def file(self) -> Path:
        return self.folder / "baritone.gaugelog"

    @initialize(stage=st.sampled_from(("before", "after")))
    def begin(self, stage: str) -> None:
        self._open()
        self._begin_snapshot(stage)

    def _open(self) -> None:
        self.now_ns += 10**9
        anchor = Anchor(self.now_ns, UTC_US + self.now_ns // 1000)
        self.work = open_work(self.instrument, self.file, "capture", (), anchor)
        self.sittings += 1
        self.decoding = Decoding(self.work.datasheets["angle"], "angle")

    def _begin_snapshot(self, stage: str, *, again: bool = False, more: int = 0) -> None:
        assert self.work is not None
        self.body = None
        try:
            self.taking = SnapshotWork(self.work, stage, again=again, more=more)
        except NothingToDoError:
            self.taking = SnapshotWork(self.work, stage, again=True)
        self.safe = len(self.heard)

    def _learn(self, kept: KeptPlacement | None) -> None:
        """Take what was acknowledged into the model; its number is a new one."""
        if kept is None:
            return
        placement = kept.placement
        assert kept.id not in self.every_id
        assert not self.every_id or kept.id > self.every_id[-1]
        self.every_id.append(kept.id)
        self.known[kept.id] = Known(
            kept.id, kept.snapshot, kept.stage, placement.checkpoint, placement.text, placement.value, placement.settled
        )
        self.skips.pop((kept.snapshot, placement.checkpoint), None)
        self.safe = len(self.heard)
        fuzz.count("placements acknowledged", placement.settled.value)

    def _hear(self, data: bytes) -> None:
        """Let the gauge send bytes; whatever placement comes of it must read what the gauge shows."""
        self.now_ns += TICK_NS
        event = self.decoding.feed(Chunk(self.now_ns, data))
        readings = [item for item in event.items if isinstance(item, Reading)]
        if readings:
            self.shown = readings[-1].value
        turn = (
            self.taking.current.checkpoint.id if self.taking is not None and self.taking.current is not None else None
        )
        self._deliver(event, turn)

    def _deliver(self, event: Heard | LinkChange, turn: str | None) -> None:
        if self.clamping is not None:
            before = len(self.heard)
            if isinstance(event, Heard):
                anchor = self.clamping.work.anchor
                self.heard += [(anchor.utc_us_of(i.time_ns), i.value) for i in event.items if isinstance(i, Reading)]
            self.clamping.hear(event)
            assert len(self.heard) >= before
        if self.taking is None:
            return
        self._look_at(self.taking.hear(event), turn)

    def _look_at(self, kept: KeptPlacement | None, turn: str | None) -> None:
        """A placement from a gauge is at the checkpoint whose turn it was, and has the value that was shown."""
        assert self.taking is not None
        if kept is not None:
            assert kept.placement.checkpoint == turn
            assert self.shown is not None
            expected = self.shown - self.body if turn == "neck-angle" and self.body is not None else self.shown
            assert kept.placement.value == pytest.approx(expected, abs=1e-9)
            assert kept.placement.parts
            assert all(part.raw for part in kept.placement.parts)
            self._learn(kept)
        state = self.taking.placing_state
        self.body = state.body_value if state is not None else None

    @rule(whole=st.integers(-80, 80), steps=st.integers(3, 25))
    def rest(self, whole: int, steps: int) -> None:
        """The gauge rests at a value; two values differ by a degree or by nothing."""
        for _ in range(steps):
            self._hear(b"%s%6.2f deg\r\n" % (b"-" if whole < 0 else b"+", abs(whole)))

    @rule(wholes=st.lists(st.integers(-80, 80), min_size=1, max_size=4))
    def set_down(self, wholes: list[int]) -> None:
        """Lift the gauge and set it down, once or several times, long enough to be read."""
        for whole in wholes:
            self.swing()
            self.rest(whole, 18)

    @precondition(lambda self: self.taking is not None and self.taking.current is not None)
    @rule(points=st.permutations(POINTS), wholes=st.lists(st.integers(-80, 80), min_size=2, max_size=5))
    def read_at(self, points: list[str], wholes: list[int]) -> None:
        """Turn to a checkpoint and read it."""
        self.turn(points[0])
        self.set_down(wholes)

    @rule()
    def swing(self) -> None:
        for place in range(8):
            self._hear(b"+%6.2f deg\r\n" % (100 + 7 * (place % 3)))

    @rule(data=st.binary(min_size=1, max_size=30))
    def noise(self, data: bytes) -> None:
        """Bytes that are no reading; what they leave of a line is ended."""
        self._hear(data)
        self._hear(b"\r\n")

    @rule(count=st.integers(1, 30))
    def silence(self, count: int) -> None:
        for _ in range(count):
            self._hear(b"")

    @rule(state=st.sampled_from((LinkState.LOST, LinkState.OPEN, LinkState.ASLEEP, LinkState.SILENT)))
    def link(self, state: LinkState) -> None:
        self.now_ns += TICK_NS
        self._deliver(LinkChange(self.now_ns, "angle", state), None)
        self.decoding = Decoding(self.decoding._datasheet, "angle")

    @precondition(lambda self: self.taking is not None)
    @rule()
    def take(self) -> None:
        taking = self._taking()
        turn = taking.current.checkpoint.id if taking.current is not None else None
        kept = taking.take_now(self.now_ns)
        if kept is not None and taking.placing is not None:
            assert kept.placement.settled is Settled.BY_HAND
        self._look_at(kept, turn)

    def _taking(self) -> SnapshotWork:
        assert self.taking is not None
        return self.taking

    @precondition(lambda self: self.taking is not None)
    @rule()
    def lifted(self) -> None:
        self._taking().lifted()

    @precondition(lambda self: self.taking is not None and self.taking.current is not None)
    @rule(text=st.sampled_from(sorted(GOOD)))
    def type_good(self, text: str) -> None:
        kept = self._taking().type_in(text, self.now_ns)
        assert kept.placement.value == pytest.approx(GOOD[text])
        assert kept.placement.settled is Settled.TYPED
        self._learn(kept)
        self.body = None if self._taking().placing_state is None else self._taking().placing_state.body_value  # type: ignore[union-attr]

    @precondition(lambda self: self.taking is not None and self.taking.current is not None)
    @rule(text=st.sampled_from(BAD))
    def type_bad(self, text: str) -> None:
        with pytest.raises(GaugelogError):
            self._taking().type_in(text, self.now_ns)
        fuzz.count("refused", "a value that is none")

    def _dropped(self, kept: KeptPlacement | None, reason: str) -> None:
        if kept is not None:
            assert self.known[kept.id].dropped is None
            self.known[kept.id].dropped = reason
            self.safe = len(self.heard)
            fuzz.count("acknowledged", "dropped")

    @precondition(lambda self: self.taking is not None)
    @rule(reason=st.text(min_size=1, max_size=8).filter(lambda text: text.isprintable()))
    def drop_last(self, reason: str) -> None:
        counts = [k for k in self.known.values() if k.snapshot == self._taking().snapshot.id and k.dropped is None]
        kept = self._taking().drop_last(reason)
        assert (kept.id if kept is not None else None) == (max(k.id for k in counts) if counts else None)
        self._dropped(kept, reason)
        self.body = None if kept is not None else self.body

    @precondition(lambda self: self.taking is not None)
    @rule(place=st.integers(-1, 3))
    def drop(self, place: int) -> None:
        self._dropped(self._taking().drop(place, "this one"), "this one")

    def _redone_next(self) -> set[int]:
        """Return what a redo drops: what is read where it is the turn, else where it was read last."""
        taking = self._taking()
        mine = [k for k in self.known.values() if k.snapshot == taking.snapshot.id and k.dropped is None]
        turn = taking.current.checkpoint.id if taking.current is not None else None
        if not any(k.checkpoint == turn for k in mine):
            turn = max(mine, key=lambda k: k.id).checkpoint if mine else None
        return {k.id for k in mine if k.checkpoint == turn}

    @precondition(lambda self: self.taking is not None)
    @rule()
    def redo(self) -> None:
        before = {k.id for k in self.known.values() if k.dropped is None}
        expected = self._redone_next()
        count = self._taking().redo("bumped")
        left = {kept.id for task in self._taking().tasks for kept in task.taken}
        mine = {i for i in before if self.known[i].snapshot == self._taking().snapshot.id}
        assert len(mine - left) == count
        assert mine - left == expected
        for number in mine - left:
            self.known[number].dropped = "bumped"
        self.safe = len(self.heard) if count else self.safe
        self.body = None if count else self.body

    @precondition(lambda self: self.taking is not None)
    @rule()
    def skip(self) -> None:
        task = self._taking().skip("no flat spot yet")
        if task is not None:
            self.skips[self._taking().snapshot.id, task.checkpoint.id] = "no flat spot yet"
            self.safe = len(self.heard)
            self.body = None

    @precondition(lambda self: self.taking is not None)
    @rule(point=st.sampled_from((*POINTS, "nowhere")))
    def turn(self, point: str) -> None:
        taking = self._taking()
        if point == "nowhere" or all(task.checkpoint.id != point for task in taking.tasks):
            with pytest.raises(UnknownCheckpointError if point == "nowhere" else ValueError):
                taking.go_to(point)
            return
        taking.go_to(point)
        self.skips.pop((taking.snapshot.id, point), None)
        self.body = None
        assert taking.current is not None
        assert taking.current.checkpoint.id == point

    @rule(stage=st.sampled_from(("before", "after", "wet")), how=st.sampled_from(("on", "again", "more")))
    def begin_snapshot(self, stage: str, how: str) -> None:
        """Begin another snapshot, go on with one, or add to it; beside a clamp session only a wet check."""
        stage = "wet" if self.clamping is not None else stage
        self._begin_snapshot(stage, again=how == "again", more=2 if how == "more" else 0)
        assert self.taking is not None
        if how == "more":
            for number, point in list(self.skips):
                assert number != self.taking.snapshot.id or any(t.checkpoint.id == point for t in self.taking.tasks)

    @precondition(lambda self: self.clamping is None)
    @rule()
    def begin_clamping(self) -> None:
        assert self.work is not None
        self.work.next_sitting("clamp", self.now_ns)
        self.sittings += 1
        self.taking = None
        self.clamping = ClampWork(self.work, ("angle",))

    @precondition(lambda self: self.clamping is not None)
    @rule()
    def end_clamping(self) -> None:
        assert self.work is not None
        assert self.clamping is not None
        self.clamping.close()
        self.work.next_sitting("capture", self.now_ns)
        self.sittings += 1
        self.safe = len(self.heard)
        self.clamping = self.taking = None

    @precondition(lambda self: self.clamping is not None)
    @rule(kind=st.sampled_from(list(MarkKind)), ago_s=st.sampled_from((0.0, 0.0, 5.0, 3600.0)))
    def mark(self, kind: MarkKind, ago_s: float) -> None:
        assert self.clamping is not None
        self.now_ns += 1000
        self.marks.append(self.clamping.mark(kind, self.now_ns, ago_s=ago_s, words=f"words {len(self.marks)}"))
        self.safe = len(self.heard)
        fuzz.count("acknowledged", "marks")

    @precondition(lambda self: self.clamping is not None)
    @rule(text=st.sampled_from(sorted(GOOD)))
    def spot(self, text: str) -> None:
        assert self.clamping is not None
        kept = self.clamping.spot("clearance-bass", text, self.now_ns)
        assert kept.placement.value == pytest.approx(GOOD[text])
        self._learn(kept)

    @rule(stage=st.sampled_from(("before", "after")))
    def close_and_reopen(self, stage: str) -> None:
        self._end()
        self.safe = len(self.heard)
        self._must_be_whole()
        self._open()
        self._begin_snapshot(stage)

    def _end(self) -> None:
        assert self.work is not None
        if self.clamping is not None:
            self.clamping.close()
        self.work.writer.finish()
        self.clamping = self.taking = self.work = None

    @rule(stage=st.sampled_from(("before", "after")))
    def kill(self, stage: str) -> None:
        """What the program had on the disk at this moment is all that goes on."""
        old, self.folder = self.folder, Path(tempfile.mkdtemp())
        for suffix in ("", "-wal"):
            source = old / f"baritone.gaugelog{suffix}"
            if source.exists():
                shutil.copy(source, self.folder / source.name)
        self._end()
        shutil.rmtree(old)
        stored = self._stored()
        assert stored == self.heard[: len(stored)]
        assert len(stored) >= self.safe
        newest_us = UTC_US + self.now_ns // 1000
        assert all(utc_us > newest_us - 1_100_000 for utc_us, _ in self.heard[len(stored) :])
        fuzz.count("kills", "in all")
        fuzz.count("readings lost in kills, none older than a second", "in all")
        fuzz.COUNTS["readings lost in kills, none older than a second", "in all"] += len(self.heard) - len(stored) - 1
        self.heard = list(stored)
        self.safe = len(self.heard)
        self._must_be_whole()
        self._open()
        self._begin_snapshot(stage)

    def _stored(self) -> list[tuple[int, float]]:
        recording = open_recording(self.file)
        if "angle" not in recording.gauges:
            return []
        series = recording.series("angle", command="clamp")
        return list(zip(series.utc_us.tolist(), series.value.tolist(), strict=True))

    def _must_be_whole(self) -> None:
        recording = open_recording(self.file)
        recording.check()
        assert self._stored() == self.heard
        assert len(recording.sittings()) == self.sittings

    @invariant()
    def the_file_holds_what_was_acknowledged(self) -> None:
        if self.work is None:
            return
        recording = open_recording(self.file)
        snapshots = recording.snapshots()
        found = {
            kept.id: Known(
                kept.id, kept.snapshot, kept.stage, kept.placement.checkpoint, kept.placement.text,
                kept.placement.value, kept.placement.settled, kept.dropped,
            )
            for snapshot in snapshots
            for kept in snapshot.placements
        }  # fmt: skip
        assert found == self.known
        order = [kept.id for snapshot in snapshots for kept in snapshot.placements if snapshot.stage != "spot"]
        for snapshot in snapshots:
            mine = [kept.id for kept in snapshot.placements]
            assert mine == sorted(mine)
        assert len(order) == len(set(order))
        assert {(s.id, skip.checkpoint): skip.reason for s in snapshots for skip in s.skips} == self.skips
        assert sorted(recording.marks(), key=repr) == sorted(self.marks, key=repr)
        self._reader_and_writer_agree(snapshots)

    def _reader_and_writer_agree(self, snapshots: tuple) -> None:
        if self.taking is None:
            return
        mine = next(snapshot for snapshot in snapshots if snapshot.id == self.taking.snapshot.id)
        for task in self.taking.tasks:
            counts = [
                k.placement
                for k in mine.placements
                if k.dropped is None and k.placement.checkpoint == task.checkpoint.id
            ]
            assert counts == [kept.placement for kept in task.taken]
        if self.taking.missing == 0 and any(task.taken for task in self.taking.tasks):
            assert mine.complete_utc_us is not None or self.taking.current is not None

    def teardown(self) -> None:
        if self.work is not None:
            self._end()
            self._must_be_whole()
            fuzz.count("orders of events", "tried to the end")
        shutil.rmtree(self.folder, ignore_errors=True)


@pytest.mark.timeout(0 if fuzz.TIMES > 1 else 120)
def test_in_any_order_what_was_acknowledged_is_in_the_file() -> None:
    from hypothesis import settings

    run_state_machine_as_test(Bench, settings=settings(fuzz.few(12), stateful_step_count=40))
