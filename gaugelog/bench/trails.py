"""The clamp session's readings as they gather, for the picture that grows on the page.

Here: a trail a gauge, begun from what the recording holds already. Not here: the session (`work`), drawing
(`show.trail_picture`).
"""

from __future__ import annotations

from gaugelog.model.readings import SAYS_NOTHING, Heard, LinkChange, Reading
from gaugelog.recorder.clamping import ClampWork
from gaugelog.review.session import counted_readings, creep_limits
from gaugelog.show.trail import Trail
from gaugelog.show.trail_picture import Lane, trail_picture
from gaugelog.store.reader import open_recording


class Trails:
    """The trails of one clamp session."""

    def __init__(self, session: ClampWork) -> None:
        """Begin with the readings of the session's earlier sittings, where there are any."""
        self._session = session
        self._limits = creep_limits(session.instrument, tuple(session.gauges))
        self._trails = {
            name: Trail(each.datasheet.quantity, each.datasheet.resolution, each.datasheet.longest_silence_s)
            for name, each in session.gauges.items()
        }
        with open_recording(session.work.writer.path) as recording:
            for name in recording.gauges.keys() & self._trails.keys():
                self._trails[name].begin_from(*counted_readings(recording, name))

    def hear(self, event: Heard | LinkChange) -> None:
        """Take what a gauge of the session read; what says nothing of where it stands is left out."""
        trail = self._trails.get(event.gauge)
        if trail is None or isinstance(event, LinkChange):
            return
        for item in event.items:
            if isinstance(item, Reading) and not item.flags & SAYS_NOTHING:
                trail.take(self._session.utc_us_of(item.time_ns), item.value)

    def picture(self, width: float) -> str:
        """Return the picture as SVG for a page of `width` pixels, empty where nothing was heard."""
        session = self._session
        began = [(each.alarm.series.split(" - ")[0], session.utc_us_of(each.alarm.since_ns)) for each in session.alarms]
        lanes = [
            Lane(
                name,
                trail,
                session.gauges[name].start or 0.0,
                self._limits.get(name),
                tuple(since_us for series, since_us in began if series == name),
            )
            for name, trail in self._trails.items()
        ]
        end_us = session.utc_us_of(session.now_ns)
        return str(trail_picture(lanes, session.marks, end_us, width=width, units=session.instrument.units))
