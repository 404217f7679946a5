"""Telling alarms at a desk: the bell, the words, the builder's own command, and "I have seen it".

Here: what happens when something is told, live or in a rehearsal. Not here: when (`recorder.clamping`), the screen
(`show.clamp_view`).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from gaugelog.cli.desk import Desk
    from gaugelog.recorder.clamping import ClampSession, KeptAlarm

_RING_AGAIN_NS = 5 * 10**9


class AlarmBell:
    """Rings when an alarm is told, and every five seconds until it is acknowledged."""

    def __init__(self, desk: Desk, session: ClampSession, command: str = "") -> None:
        """Take the desk to ring at, the session that tells, and the builder's own command, if there is one."""
        self.desk, self.session, self._command = desk, session, command
        self._rung_ns: int | None = None
        self._failure_told = False

    def tell(self, told: Iterable[KeptAlarm]) -> None:
        """Ring for what was told, print it where there is no screen, and run the command."""
        from gaugelog.show.alarm_words import alarm_head

        for each in told:
            words = f"{alarm_head(each.alarm.kind)}: {self._words(each)}"
            if not self.desk.screen.is_live:
                self.desk.screen.say(words)
            if each.calls:
                self._ring()
                if self._command:
                    self.desk.attendance.join(self._run(each, words))

    def beat(self, now_ns: int) -> None:
        """Ring again where an alarm still calls: every five seconds by `now_ns`, counted from the beat after it."""
        self._tell_failure()
        if self._rung_ns is None:
            self._rung_ns = now_ns
        elif self.session.calling and now_ns - self._rung_ns >= _RING_AGAIN_NS:
            self._ring()
            self._rung_ns = now_ns

    def acknowledge(self, now_ns: int) -> None:
        """Say that the builder has seen what was told."""
        count = self.session.acknowledge(now_ns)
        self.desk.say("Nothing called." if not count else "Seen: it is kept with its time. It goes on watching.")

    def _ring(self) -> None:
        self._rung_ns = None
        self.desk.screen.bell()

    def _tell_failure(self) -> None:
        """Say once that the watch has failed."""
        from gaugelog.show.alarm_words import watch_failed_words

        if self.session.watch_failed and not self._failure_told:
            self._failure_told = True
            self.desk.say(f"NOT WATCHED: {watch_failed_words(self.session.watch_failed)}.")
            self._ring()

    def _words(self, told: KeptAlarm) -> str:
        from gaugelog.model.placement import MarkKind
        from gaugelog.show.alarm_words import MENDABLE, alarm_words, time_left_words

        session = self.session
        words = alarm_words(told.alarm, session.instrument, session.utc_us_of(told.alarm.since_ns))
        open_s = session.seconds_since(MarkKind.GLUE_ON)
        left = time_left_words(session.phase, open_s, session.instrument.glue) if told.alarm.kind in MENDABLE else ""
        return f"{words}, {left}" if left else words

    async def _run(self, told: KeptAlarm, words: str) -> None:
        from gaugelog.recorder.alarm_command import run_alarm_command

        alarm = told.alarm
        wrong = await run_alarm_command(
            self._command,
            {
                "GAUGELOG_KIND": alarm.kind.value,
                "GAUGELOG_GAUGE": alarm.series,
                "GAUGELOG_SIZE": f"{alarm.size:.6g}",
                "GAUGELOG_UNIT": alarm.quantity.base_unit,
                "GAUGELOG_WORDS": words,
            },
        )
        if wrong:
            self.desk.say(f"{wrong}.")


def shown(session: ClampSession) -> dict[str, Any]:
    """Return what the view of a clamp session shows of it."""
    from gaugelog.model.placement import MarkKind

    return {
        "gauges": list(session.gauges.values()),
        "phase": session.phase,
        "in_clamps_s": session.seconds_since(MarkKind.CLAMPS_ON),
        "glue_open_s": session.seconds_since(MarkKind.GLUE_ON),
        "readings": session.readings,
        "gaps": session.gaps,
        "instrument": session.instrument,
        "alarms": session.alarms,
        "utc_us_of": session.utc_us_of,
        "watch_failed": session.watch_failed,
    }
