"""Taking a snapshot, checkpoint by checkpoint.

Here: which checkpoint is next, keeping each placement at once, dropping, redoing, skipping, going on later. It has
neither clock nor screen: whoever drives it hands in what was heard and typed, and draws what it says of itself.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from gaugelog.analysis.uncertainty import noisier_than
from gaugelog.capture.placing import Placing, PlacingState
from gaugelog.instruments.typed_placement import typed_placement
from gaugelog.model.instrument import Checkpoint
from gaugelog.model.placement import KeptPlacement, Placement, Settled, Snapshot
from gaugelog.model.readings import Heard, LinkChange, LinkState
from gaugelog.recorder.work import Work, step_of


def _gauges_of(checkpoint: Checkpoint) -> tuple[str, ...]:
    return tuple(name for name in (checkpoint.gauge, checkpoint.body_gauge) if name is not None)


@dataclass(slots=True)
class Task:
    """One checkpoint of the snapshot: how many placements are wanted, which are there, why it was skipped."""

    checkpoint: Checkpoint
    wanted: int
    taken: list[KeptPlacement] = field(default_factory=list)
    skipped: str | None = None

    @property
    def missing(self) -> int:
        """Placements still to take; none where the checkpoint was skipped."""
        return 0 if self.skipped is not None else max(0, self.wanted - len(self.taken))

    @property
    def values(self) -> list[float]:
        """The values taken so far in the base unit, bounds left out."""
        return [kept.placement.value for kept in self.taken if kept.placement.value is not None]

    @property
    def spread(self) -> float | None:
        """Largest less smallest value so far, None below two."""
        values = self.values
        return max(values) - min(values) if len(values) > 1 else None


class SnapshotWork:
    """A snapshot being taken. `current` is the task whose turn it is, None once nothing is missing."""

    def __init__(
        self, work: Work, stage: str, *, again: bool = False, more: int = 0, only: tuple[str, ...] = ()
    ) -> None:
        """Begin or go on with the snapshot of a stage.

        Args:
            work: the open work.
            stage: before, wet, after, or a name of the builder's.
            again: begin a new snapshot of the stage; older ones stay.
            more: reopen the last snapshot for this many more placements at each checkpoint.
            only: checkpoint ids to walk through; empty for all of the stage.

        Raises:
            UnknownCheckpointError: `only` names a checkpoint that is not in the instrument file.
        """
        chosen = [work.instrument.checkpoint(checkpoint_id) for checkpoint_id in only]
        checkpoints = chosen or list(work.instrument.at_stage(stage))
        self.work = work
        self.stage = stage
        self.snapshot: Snapshot = work.writer.snapshot(stage, again=again, reopen=more > 0)
        self.tasks = [self._task(checkpoint, more) for checkpoint in checkpoints]
        walked = {checkpoint.id for checkpoint in checkpoints}
        left_out = [checkpoint for checkpoint in work.instrument.at_stage(stage) if checkpoint.id not in walked]
        self._left_out = [self._task(checkpoint, 0) for checkpoint in left_out]
        self.current: Task | None = None
        self.placing: Placing | None = None
        for task in self.tasks if only else ():
            self._take_back_skip(task)
        self._move_on()

    def _task(self, checkpoint: Checkpoint, more: int) -> Task:
        taken = [
            kept
            for kept in self.snapshot.placements
            if kept.dropped is None and kept.placement.checkpoint == checkpoint.id
        ]
        skipped = next((skip.reason for skip in self.snapshot.skips if skip.checkpoint == checkpoint.id), None)
        wanted = len(taken) + more if more else checkpoint.wanted_at(self.stage)
        return Task(checkpoint, wanted, taken, None if more else skipped)

    @property
    def gauges_needed(self) -> set[str]:
        """Short names of the gauges to listen to for the unfinished checkpoints."""
        return {
            name
            for task in self.tasks
            if task.missing
            for name in _gauges_of(task.checkpoint)
            if self.work.speaks(name)
        }

    @property
    def placing_state(self) -> PlacingState | None:
        """How the placement at the current checkpoint stands; None where it is typed."""
        return self.placing.state if self.placing is not None else None

    @property
    def complete(self) -> bool:
        """Whether nothing is missing at the checkpoints that are walked through."""
        return all(task.missing == 0 for task in self.tasks)

    @property
    def missing(self) -> int:
        """Placements still missing in the whole snapshot."""
        return sum(task.missing for task in (*self.tasks, *self._left_out))

    def go_to(self, checkpoint_id: str) -> None:
        """Turn to a checkpoint of this snapshot; a skip of it is taken back.

        Raises:
            UnknownCheckpointError: it is not in the instrument file.
            ValueError: it is not read at this stage.
        """
        checkpoint = self.work.instrument.checkpoint(checkpoint_id)
        task = next((task for task in self.tasks if task.checkpoint.id == checkpoint.id), None)
        if task is None:
            raise ValueError(f"{checkpoint_id} is not read in this snapshot")
        self._take_back_skip(task)
        self._turn_to(task)

    def _take_back_skip(self, task: Task) -> None:
        if task.skipped is not None:
            task.skipped = None
            self.work.writer.unskip(self.snapshot.id, task.checkpoint.id)

    def _turn_to(self, task: Task | None) -> None:
        """Make it this task's turn; a gauge that rests where the last one left it says nothing here."""
        self.current = task
        self.placing = None
        gauges = _gauges_of(task.checkpoint) if task is not None else ()
        if task is not None and gauges and all(self.work.speaks(name) for name in gauges):
            self.placing = Placing(task.checkpoint, self.work.datasheets)
            self.placing.await_lift()

    def _move_on(self) -> None:
        """Turn to the first checkpoint with something missing; complete the snapshot where the whole stage has none."""
        if self.current is not None and self.current.missing:
            return
        self._turn_to(next((task for task in self.tasks if task.missing), None))
        if not self.missing and self.snapshot.complete_utc_us is None and any(t.taken for t in self.tasks):
            self.work.writer.complete(self.snapshot.id)

    def hear(self, event: Heard | LinkChange) -> KeptPlacement | None:
        """Take what a gauge said; return the placement it completed, already kept."""
        if isinstance(event, LinkChange):
            if self.placing is not None and event.state in (LinkState.LOST, LinkState.ASLEEP):
                self.placing.lifted()
            return None
        placement = self.placing.hear(event) if self.placing is not None else None
        return self.keep(placement) if placement is not None else None

    def keep(self, placement: Placement) -> KeptPlacement:
        """Keep a placement at the current or, by its id, another checkpoint of this snapshot.

        One number typed where the plan names a gauge without a plug is that gauge's; a pair or a bound is a feeler's.
        """
        gauge = self.work.instrument.checkpoint(placement.checkpoint).gauge
        one_number = not placement.parts and placement.low is None and placement.high is None
        if gauge is not None and one_number and not self.work.speaks(gauge):
            placement = replace(placement, gauge=gauge)
        kept = self.work.writer.place(self.snapshot.id, placement)
        for task in self.tasks:
            if task.checkpoint.id == placement.checkpoint:
                self._take_back_skip(task)
                task.taken.append(kept)
        self._move_on()
        return kept

    def noisier(self, task: Task) -> bool:
        """Return whether a task's placements scatter clearly more than the checks of its gauges explain."""
        study = self.work.study_at(task.checkpoint)
        if study is None or not task.taken:
            return False
        return noisier_than(task.values, study, max(kept.placement.resolution for kept in task.taken))

    def surplus(self, placements: Sequence[Placement]) -> tuple[tuple[Task, int], ...]:
        """Return the tasks, begun already, to which these would add more placements than are missing, and how many.

        A table that is given twice would count every value twice; a task that has none yet takes any number.
        """
        counts = Counter(placement.checkpoint for placement in placements)
        return tuple(
            (task, counts[task.checkpoint.id])
            for task in self.tasks
            if task.taken and counts[task.checkpoint.id] > task.missing
        )

    def type_in(self, text: str, time_ns: int) -> KeptPlacement:
        """Keep a typed value at the current checkpoint.

        Raises:
            ValueTextError, UnitMismatchError: nothing was kept.
            ValueError: no checkpoint is waiting.
        """
        if self.current is None:
            raise ValueError("no checkpoint is waiting for a value")
        checkpoint = self.current.checkpoint
        step = step_of(checkpoint, self.work.datasheets)
        return self.keep(typed_placement(checkpoint, text, time_ns, Settled.TYPED, step))

    def take_now(self, time_ns: int) -> KeptPlacement | None:
        """Take what the gauge shows now, steady or not."""
        placement = self.placing.take_now(time_ns) if self.placing is not None else None
        return self.keep(placement) if placement is not None else None

    def lifted(self) -> None:
        """Say by a key that the gauge was lifted since the last placement."""
        if self.placing is not None:
            self.placing.lifted()

    def drop_last(self, reason: str) -> KeptPlacement | None:
        """Drop the placement taken last in this snapshot and turn to its checkpoint; None if there is none."""
        taken = [(kept.id, task, kept) for task in self.tasks for kept in task.taken]
        if not taken:
            return None
        _, task, kept = max(taken, key=lambda item: item[0])
        self.work.writer.drop(kept.id, reason)
        task.taken.remove(kept)
        self._turn_to(task)
        return kept

    def drop(self, place: int, reason: str) -> KeptPlacement | None:
        """Drop one placement of the current checkpoint, counted from 1; None if there is none of that number."""
        task = self.current
        if task is None or not 1 <= place <= len(task.taken):
            return None
        kept = task.taken.pop(place - 1)
        self.work.writer.drop(kept.id, reason)
        return kept

    def redo(self, reason: str) -> int:
        """Drop every placement of the current checkpoint (the last one read, if none waits); return how many."""
        task = self.current if self.current is not None and self.current.taken else self.latest
        if task is None:
            return 0
        for kept in task.taken:
            self.work.writer.drop(kept.id, reason)
        count = len(task.taken)
        task.taken.clear()
        self._turn_to(task)
        return count

    @property
    def latest(self) -> Task | None:
        """The task with the newest placement, None before the first."""
        read = [task for task in self.tasks if task.taken]
        return max(read, key=lambda task: task.taken[-1].id, default=None)

    def skip(self, reason: str) -> Task | None:
        """Skip the current checkpoint with a reason; return its task, None if none waits."""
        task = self.current
        if task is not None:
            task.skipped = reason
            self.work.writer.skip(self.snapshot.id, task.checkpoint.id, reason)
            self._move_on()
        return task
