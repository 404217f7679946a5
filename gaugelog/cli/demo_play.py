"""Playing the demo: simulated gauges into the real decoder, recorder, store and analysis, on virtual time.

Here: who does what when. Not here: the story's numbers (`demo_story`), or any part of the real work.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from gaugelog.cli import demo_story as story

if TYPE_CHECKING:
    from gaugelog.gauges.bench import BenchGauge, VirtualClock
    from gaugelog.gauges.motions import Motion
    from gaugelog.model.instrument import Checkpoint, Instrument
    from gaugelog.recorder.snapshotting import SnapshotWork
    from gaugelog.recorder.work import Work

Say = Callable[[str], None]
_NAME = "demo-baritone"
_RATE_HZ = 10.0
_CLAMP_RATE_HZ = 2.0


class Demo:
    """One run of the story: its files, its virtual clock, its chance."""

    def __init__(self, folder: Path, say: Say) -> None:
        import time

        from gaugelog.cli.options import load_instrument
        from gaugelog.errors import FileExistsAlreadyError
        from gaugelog.gauges.bench import VirtualClock
        from gaugelog.instruments.find import recording_beside
        from gaugelog.instruments.new import new_instrument

        self.say = say
        self.chance = random.Random("the neck of an invented baritone")
        self.path = folder / f"{_NAME}.toml"
        self.recording = recording_beside(self.path)
        for file in (self.path, self.recording):
            if file.exists():
                raise FileExistsAlreadyError(file)
        self.path.write_text(story.instrument_text(new_instrument(_NAME, gauges="two")), encoding="utf-8")
        self.instrument: Instrument = load_instrument(self.path)
        self.clock: VirtualClock = VirtualClock()
        self._began_utc_us = time.time_ns() // 1000 - round((story.NIGHT_S + 2 * 3600) * 1e6)

    def open(self, command: str) -> Work:
        """Open the recording for one sitting, on the virtual clock."""
        from gaugelog.model.clock import Anchor
        from gaugelog.recorder.work import open_work

        now_ns = self.clock.now_ns()
        anchor = Anchor(now_ns, self._began_utc_us + now_ns // 1000)
        return open_work(self.instrument, self.recording, command, anchor=anchor)

    def gauge(self, work: Work, name: str, motion: Motion, rate_hz: float) -> BenchGauge:
        """Return a simulated gauge under a short name of the instrument file."""
        from dataclasses import replace

        from gaugelog.gauges.bench import BenchGauge

        gauge = replace(self.instrument.gauge(name).gauge, name=name)
        return BenchGauge(gauge, work.datasheets[name], motion, rate_hz)

    async def snapshot(self, stage: str, *, again: bool = False) -> None:
        """Take the snapshot of a stage as a builder would, one placement after another; `again` begins a new one."""
        from gaugelog.recorder.snapshotting import SnapshotWork

        with self.open(f"capture {stage}") as work:
            taking = SnapshotWork(work, stage, again=again)
            while taking.current is not None:
                checkpoint = taking.current.checkpoint
                if checkpoint.gauge is None:
                    self.clock.advance(9.0)
                    taking.type_in(story.typed(checkpoint, stage, self.chance), self.clock.now_ns())
                else:
                    await self._set_down(taking, checkpoint, stage)
            count = sum(len(task.taken) for task in taking.tasks)
        self.say(f"  {stage}: {count} placements at {len(taking.tasks)} checkpoints")

    async def _set_down(self, taking: SnapshotWork, checkpoint: Checkpoint, stage: str) -> None:
        """Lift the gauges, set them down at a checkpoint, wait until they rest."""
        from gaugelog.gauges.bench import SimulatedBench
        from gaugelog.gauges.motions import LIFTED_S, RESTING_S, Hand

        tilt = story.BODY_TILT_DEG[stage]
        truths = {checkpoint.gauge: tilt + story.truth(checkpoint, stage), checkpoint.body_gauge: tilt}
        gauges = [
            self.gauge(
                taking.work,
                name,
                Hand(value, noise=0.01, scatter=story.SCATTER_DEG, swing=4.0, seed=str(self.chance.random())),
                _RATE_HZ,
            )
            for name, value in truths.items()
            if name is not None
        ]
        bench = SimulatedBench(gauges, self.clock, LIFTED_S + RESTING_S)
        async for event in bench.events():
            taking.hear(event)

    async def clamp(
        self, angle_deg: Callable[[float], float], duration_s: float, marks: tuple[tuple[float, str], ...]
    ) -> None:
        """Record one sitting of the clamp session, setting marks on the way."""
        from gaugelog.gauges.bench import SimulatedBench
        from gaugelog.model.placement import CLAMP_SITTING, MarkKind
        from gaugelog.recorder.clamping import ClampWork

        began_ns = self.clock.now_ns()
        waiting = sorted(marks)
        with self.open(CLAMP_SITTING) as work:
            session = ClampWork(work, ("neck", "body"))
            motions = story.clamp_motions(angle_deg, self.chance, self.clock.seconds)
            gauges = [
                self.gauge(work, name, motion, _CLAMP_RATE_HZ)
                for name, motion in zip(("neck", "body"), motions, strict=True)
            ]
            async for event in SimulatedBench(gauges, self.clock, duration_s).events():
                session.hear(event)
                while waiting and (self.clock.now_ns() - began_ns) / 1e9 >= waiting[0][0]:
                    session.mark(MarkKind(waiting.pop(0)[1]), self.clock.now_ns())
            session.close()
            self.say(f"  clamp: {session.readings} readings, {session.gaps} gaps")


async def play(folder: Path, say: Say) -> None:
    """Play the story into `folder` and show what came of it."""
    say("An invented neck set: a baritone, 686 mm scale, two-post bridge. All gauges are SIMULATED; their bytes go")
    say("through a real port, the real decoder, recorder and analysis, on a clock that runs ahead.\n")
    demo = Demo(folder, say)
    await demo.snapshot("before")
    tell_ready(demo)
    await demo.clamp(
        story.neck_angle_deg,
        story.FIRST_SITTING_S,
        ((story.GLUE_ON_S, "glue on"), (story.CLAMPS_ON_S, "clamps on")),
    )
    demo.clock.advance(story.NIGHT_S)
    settled = story.BEFORE["neck-angle"] + story.LEFT_DEG
    await demo.clamp(lambda _: settled, story.SECOND_SITTING_S, ((story.CLAMPS_OFF_S, "clamps off"),))
    await demo.snapshot("after")
    show_outcome(demo)


def tell_ready(demo: Demo) -> None:
    """Say whether the glue may be opened, and what bars."""
    from gaugelog.review.standing import ready_at
    from gaugelog.show.ready_words import reason_words
    from gaugelog.store.reader import open_recording

    with open_recording(demo.recording) as source:
        found = ready_at(source, demo.instrument, "before")
    bars = [reason_words(each, found, demo.instrument) for each in found.reasons if each.bars]
    demo.say(f"  may the glue be opened? {'ready' if found.ready else ' '.join(['not ready:', *bars])}")


def show_outcome(demo: Demo) -> None:
    """Print comparison and drift, write the report, say where everything is."""
    from gaugelog.cli.gathering import gather_report
    from gaugelog.review.comparing import compare_recorded
    from gaugelog.review.session import drift_of
    from gaugelog.show.report import write_report
    from gaugelog.show.terminal import comparison_view, console, drift_view
    from gaugelog.store.reader import open_recording

    screen = console()
    report = demo.recording.with_suffix(".html")
    with open_recording(demo.recording) as source:
        screen.print(comparison_view(compare_recorded(source, demo.instrument), demo.instrument.units))
        demo.say("")
        screen.print(drift_view(drift_of(source, demo.instrument), demo.instrument.units))
        write_report(report, gather_report(source, demo.instrument))
    demo.say(f"Report: {report}")
    demo.say(f"Try:    gaugelog compare --recording {demo.recording}")
    demo.say(f"        gaugelog neck --budget --recording {demo.recording}")
