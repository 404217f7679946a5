"""The capture desk: a snapshot being taken, with its keys and its screen.

Here: what each key does, what is said, when the view is drawn. Not here: taking placements (`recorder.snapshotting`),
drawing (`show.snapshot_view`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelog.cli.desk import ASK_SKIP, ASK_TURN, Desk
from gaugelog.cli.entry import Command, Line

if TYPE_CHECKING:
    from rich.console import RenderableType

    from gaugelog.links.keyboard import Key
    from gaugelog.model.placement import KeptPlacement
    from gaugelog.model.readings import Heard, LinkChange
    from gaugelog.recorder.snapshotting import SnapshotWork

_BEAT_S = 0.5
_DROP_WHICH = "Drop which placement of this checkpoint, counted from 1"


class CaptureDesk(Desk):
    """Attends to gauges and keys until the snapshot is complete or the builder stops."""

    def __init__(self, snapshot: SnapshotWork, *, quiet: bool, aside: bool = False) -> None:
        super().__init__("dlrstxq ", snapshot.work.anchor.monotonic_ns, quiet=quiet, aside=aside)
        self.snapshot = snapshot
        self._listened_to: set[str] = set()

    async def attend(self) -> None:
        """Run until there is nothing left to take, q is pressed, or a piped input has ended."""
        from gaugelog.links.keyboard import keys
        from gaugelog.recorder.attend import ticks

        if self.snapshot.complete:
            return
        typing = self.attendance.each(keys(), self.press)
        beat = self.attendance.each(ticks(_BEAT_S), self._beat)
        with self.screen:
            self._announce()
            if self.snapshot.gauges_needed:
                await self.attendance.run(self._listen(), beside=(typing, beat))
            else:
                await self.attendance.run(typing, beside=(beat,))

    def _beat(self, _now_ns: int) -> None:
        """Say how the wall clock stands by now, for the record."""
        from gaugelog.recorder.work import now

        self.snapshot.work.writer.note_clock(now())

    async def _listen(self) -> None:
        """Listen to the gauges that are needed and not listened to yet."""
        from gaugelog.gauges.listen import listen

        names = self.snapshot.gauges_needed - self._listened_to
        self._listened_to |= names
        streams = self.snapshot.work.streams(names, reconnect=True)
        await self.attendance.each(listen(streams), self.hear)

    def hear(self, event: Heard | LinkChange) -> None:
        """Take what a gauge said."""
        from gaugelog.model.readings import LinkChange, LinkState

        if isinstance(event, LinkChange):
            self._now_ns = event.time_ns
            stranger = self.snapshot.work.stranger(event)
            if stranger or event.words or event.state is not LinkState.OPEN:
                self._tell_link(event, stranger)
        else:
            self._now_ns = event.chunk.time_ns
        kept = self.snapshot.hear(event)
        self._took(kept)
        has_news = kept is not None or isinstance(event, LinkChange)
        self.screen.redraw(None if has_news else self._now_ns)

    def press(self, key: Key) -> None:
        """Do what a key asks for; a checkpoint turned to may need a gauge that nobody listens to yet."""
        super().press(key)
        if self.snapshot.gauges_needed - self._listened_to:
            self.attendance.join(self._listen())

    def _line(self, line: Line) -> None:
        if line.question == ASK_SKIP:
            self._skip(line.text or "no reason given")
        elif line.question == ASK_TURN:
            self._turn_to(line.text)
        elif line.question == _DROP_WHICH:
            self._drop(line.text)
        else:
            self._took(self.snapshot.type_in(line.text, self._now_ns))

    def _command(self, command: Command) -> None:
        match command.letter:
            case "":
                self._took(self.snapshot.take_now(self._now_ns))
            case " " | "l":
                self.snapshot.lifted()
            case "d":
                dropped = self.snapshot.drop_last(command.words or "dropped by hand")
                self._say(
                    f"Dropped the last placement at {dropped.placement.checkpoint}." if dropped else "Nothing to drop."
                )
                self._announce(anyway=dropped is not None)
            case "r":
                count = self.snapshot.redo(command.words or "redone")
                self._say(f"Dropped {count}; read this checkpoint again." if count else "Nothing to redo.")
            case "s" if command.words:
                self._skip(command.words)
            case "s":
                self.entry.ask(ASK_SKIP)
            case "t":
                self._turn_to(command.words) if command.words else self.entry.ask(ASK_TURN)
            case "x":
                self._drop(command.words) if command.words else self.entry.ask(_DROP_WHICH)
            case "q":
                self.attendance.stop()

    def _turn_to(self, checkpoint_id: str) -> None:
        self.snapshot.go_to(checkpoint_id)
        self._say(f"Now {checkpoint_id}. d, x and r drop what it has.")
        self._announce()

    def _drop(self, text: str) -> None:
        place, _, reason = text.partition(" ")
        dropped = self.snapshot.drop(int(place), reason or "dropped by hand") if place.isdecimal() else None
        self._say(f"Dropped placement {place}." if dropped else f"This checkpoint has no placement {text!r}.")

    def _skip(self, reason: str) -> None:
        task = self.snapshot.skip(reason)
        if task is not None:
            self._say(f"Skipped {task.checkpoint.id}: {reason}.")
        self._after()

    def _took(self, kept: KeptPlacement | None) -> None:
        if kept is None:
            return
        from gaugelog.show.numbers import placement_text
        from gaugelog.show.words import NOISIER

        self.screen.bell()
        task = next(task for task in self.snapshot.tasks if task.checkpoint.id == kept.placement.checkpoint)
        count = f"{len(task.taken)} of {task.wanted}"
        text = placement_text(kept.placement, self.snapshot.work.instrument.units)
        noisy = f". {NOISIER}" if self.snapshot.noisier(task) else ""
        self._say(f"{kept.placement.checkpoint} {count}: {text}{noisy}")
        self._after()

    def _after(self) -> None:
        if self.snapshot.complete:
            self.attendance.stop()
        else:
            self._announce()

    def _announce(self, *, anyway: bool = False) -> None:
        """Where there is no live view, say in a line what is wanted next, once a checkpoint unless `anyway`."""
        task = self.snapshot.current
        if not self.screen.is_live and task is not None and (anyway or not task.taken):
            self.screen.say(f"{task.checkpoint.id}: {task.checkpoint.todo}")

    def _draw(self, width: int, height: int) -> RenderableType:
        from gaugelog.show.snapshot_view import snapshot_view
        from gaugelog.show.words import simulated_gauges

        snapshot = self.snapshot
        return snapshot_view(
            stage=snapshot.stage,
            tasks=[(task.checkpoint, task.wanted, tuple(task.taken), task.skipped) for task in snapshot.tasks],
            current=snapshot.current.checkpoint.id if snapshot.current else None,
            placing=snapshot.placing_state,
            units=snapshot.work.instrument.units,
            flat_spot=snapshot.work.instrument.flat_spot,
            simulated=simulated_gauges(snapshot.work.instrument),
            entry=self.entry,
            message=self.message,
            width=width,
            height=height,
        )
