"""The live watch over the gauges of a clamp session.

Here: which series are watched, when a difference speaks for its gauges, marks, lost gauges. Not here: the detector of
one series (`slip`), bringing two gauges together (`pairing`), bell and words. Time comes from readings and ticks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from gaugelog.analysis.pairing import LivePair
from gaugelog.analysis.slip import AlarmKind, SlipDetector, Told
from gaugelog.analysis.slip_settings import USUAL, USUAL_RATE_HZ, SlipSettings
from gaugelog.model.datasheet import Sends
from gaugelog.model.quantities import Quantity

SPOT_PERIOD_S = 5.0
BENCH_S = 3.0
_GRID_S = 0.1
_GRID_NS = round(_GRID_S * 1e9)
_NOT_WATCHED = (Quantity.TEMPERATURE, Quantity.HUMIDITY)


@dataclass(frozen=True, slots=True)
class WatchedGauge:
    """What the watch has to know of a gauge: `step` in its base unit, how it sends, the silence that is none yet."""

    step: float
    quantity: Quantity
    sends: Sends = Sends.STEADILY
    period_s: float | None = None
    longest_silence_s: float | None = None


@dataclass(frozen=True, slots=True)
class Alarm:
    """Something told: at `time_ns`, of what began at about `since_ns`.

    `size` is how far from the reference, signed, in the base unit of `quantity` (0.0 for a lost gauge). `series` is the
    gauge's name, or "neck - body"; where `of_difference` is False it may be the neck or the gauge that moved.
    """

    time_ns: int
    since_ns: int
    kind: AlarmKind
    series: str
    size: float
    quantity: Quantity
    of_difference: bool


@dataclass(slots=True)
class _Series:
    """A series under watch: one gauge, or a difference."""

    name: str
    quantity: Quantity
    detector: SlipDetector | None
    difference: bool = False

    def hear(self, now_ns: int, time_ns: int, value: float) -> Alarm | None:
        if self.detector is None:
            return None
        told = self.detector.hear(time_ns, value)
        return None if told is None else self.alarm(now_ns, told)

    def alarm(self, now_ns: int, told: Told) -> Alarm:
        kind, size, since_ns = told
        return Alarm(now_ns, since_ns, kind, self.name, size, self.quantity, self.difference)


@dataclass(slots=True)
class _Gauge:
    """How a gauge stands: when it was heard last, whether it is lost, and what it holds if it sends on change.

    `holding` are its partners that send on change.
    """

    watched: WatchedGauge
    own: _Series
    pairs: list[_Pair] = field(default_factory=list)
    holding: list[_Gauge] = field(default_factory=list)
    heard_ns: int | None = None
    moved_ns: int | None = None
    lost: bool = False
    held: float | None = None
    grid_ns: int = 0


@dataclass(slots=True)
class _Pair:
    """A neck gauge and a body gauge whose difference is watched."""

    neck: _Gauge
    body: _Gauge
    pairing: LivePair
    series: _Series

    @property
    def speaks(self) -> bool:
        """Whether the difference speaks for both gauges: neither is lost, and a level of it was learnt."""
        detector = self.series.detector
        return not self.neck.lost and not self.body.lost and detector is not None and detector.reference is not None


class Watch:
    """Watches each gauge of a session, and the difference of each neck gauge and its body gauge.

    While a difference speaks, its two gauges raise no alarm of their own: what both did, the bench did. A change of the
    difference by less than one and a half digits within seconds of a movement of the body gauge is only noted: the two
    gauges' digits fall at different places. Where the body gauge is lost the neck gauge speaks for itself again.

    When this is wrong: a bench that tilts at once by less than a digit may move one gauge's digit and not the other's;
    that looks like a slip by one digit.
    """

    def __init__(
        self,
        gauges: Mapping[str, WatchedGauge],
        pairs: Sequence[tuple[str, str]],
        limits: Mapping[str, float | None],
        settings: SlipSettings = USUAL,
    ) -> None:
        """Begin to learn with the first readings.

        Args:
            gauges: by short name; those of temperature and humidity are only watched for being lost.
            pairs: neck gauge and body gauge, of one quantity.
            limits: creep limit by series name, base unit; a difference without one takes its neck gauge's.
            settings: how the detectors listen.

        Raises:
            ValueError: a pair names an unknown gauge, or gauges of different quantities.
        """
        self._settings = settings
        self._gauges = {name: self._gauge(name, each, limits.get(name)) for name, each in gauges.items()}
        self._pairs = [self._pair(neck, body, limits) for neck, body in pairs]
        self._began_ns: int | None = None

    def _gauge(self, name: str, watched: WatchedGauge, limit: float | None) -> _Gauge:
        detector = None
        if watched.quantity not in _NOT_WATCHED:
            rate_hz = 1 / _period_s(watched)
            detector = SlipDetector(watched.step, rate_hz=rate_hz, limit=limit, settings=self._settings)
        return _Gauge(watched, _Series(name, watched.quantity, detector))

    def _pair(self, neck: str, body: str, limits: Mapping[str, float | None]) -> _Pair:
        if neck not in self._gauges or body not in self._gauges:
            raise ValueError(f"the pair {neck}, {body} names a gauge that isn't watched")
        first, second = self._gauges[neck], self._gauges[body]
        if first.watched.quantity is not second.watched.quantity:
            raise ValueError("only gauges of one quantity have a difference")
        name = f"{neck} - {body}"
        pairing = LivePair(_period_s(first.watched), _period_s(second.watched))
        detector = None
        if first.own.detector is not None:
            step = max(first.watched.step, second.watched.step)
            limit = limits.get(name, limits.get(neck))
            detector = SlipDetector(step, rate_hz=1 / pairing.period_s, limit=limit, settings=self._settings)
        pair = _Pair(first, second, pairing, _Series(name, first.watched.quantity, detector, difference=True))
        for gauge, partner in ((first, second), (second, first)):
            gauge.pairs.append(pair)
            if partner.watched.sends is Sends.ON_CHANGE:
                gauge.holding.append(partner)
        return pair

    def series(self) -> Mapping[str, SlipDetector]:
        """Return the detectors by series name, for the screen: reference, noise and whether each has settled."""
        every = [*(gauge.own for gauge in self._gauges.values()), *(pair.series for pair in self._pairs)]
        return {each.name: each.detector for each in every if each.detector is not None}

    def hear(self, gauge: str, time_ns: int, value: float) -> tuple[Alarm, ...]:
        """Take a reading that counts: neither on hold nor over range.

        Args:
            gauge: its short name.
            time_ns: its time.
            value: finite, base unit.

        Raises:
            KeyError: no such gauge.
        """
        one = self._gauges[gauge]
        one.lost = False
        one.heard_ns = time_ns
        if one.holding or one.watched.sends is Sends.ON_CHANGE:
            return self._hold(one, time_ns, value)
        return self._take(one, time_ns, time_ns, value)

    def _hold(self, gauge: _Gauge, time_ns: int, value: float) -> tuple[Alarm, ...]:
        """Take a reading of a gauge that sends on change, or whose partner does: first what stood until then."""
        alarms = self._stand(gauge, time_ns)
        for partner in gauge.holding:
            alarms += self._stand(partner, time_ns)
        if gauge.watched.sends is not Sends.ON_CHANGE:
            return alarms + self._take(gauge, time_ns, time_ns, value)
        if gauge.held is None:
            gauge.grid_ns = time_ns
        gauge.held = value
        return alarms

    def _take(self, gauge: _Gauge, now_ns: int, time_ns: int, value: float) -> tuple[Alarm, ...]:
        """Hand a value to the gauge's own detector and to its differences."""
        own = gauge.own.hear(now_ns, time_ns, value)
        if own is not None and own.kind is not AlarmKind.CREEP:
            gauge.moved_ns = time_ns
        if not gauge.pairs:
            return () if own is None else (own,)
        alarms = [] if own is None or any(pair.speaks for pair in gauge.pairs) else [own]
        for pair in gauge.pairs:
            for pair_ns, difference in pair.pairing.hear(gauge is pair.neck, time_ns, value):
                told = pair.series.hear(now_ns, pair_ns, difference)
                if told is not None:
                    alarms.append(self._weighed(pair, told))
        return tuple(alarms)

    def _weighed(self, pair: _Pair, told: Alarm) -> Alarm:
        """Make a notice of a slip by a digit that came with a movement of the bench."""
        moved_ns = pair.body.moved_ns
        bench = moved_ns is not None and abs(told.time_ns - moved_ns) <= BENCH_S * 1e9
        step = max(pair.neck.watched.step, pair.body.watched.step)
        if told.kind is not AlarmKind.SLIP or not bench or abs(told.size) >= 1.5 * step:
            return told
        return Alarm(
            told.time_ns, told.since_ns, AlarmKind.NOTICE, told.series, told.size, told.quantity, told.of_difference
        )

    def _stand(self, gauge: _Gauge, now_ns: int) -> tuple[Alarm, ...]:
        """Let what a gauge that sends on change shows stand until now, as a reading each tenth of a second."""
        alarms: list[Alarm] = []
        while gauge.held is not None and gauge.grid_ns < now_ns:
            alarms += self._take(gauge, now_ns, gauge.grid_ns, gauge.held)
            gauge.grid_ns += _GRID_NS
        return tuple(alarms)

    def mark(self, time_ns: int) -> None:
        """Say that a mark was set: everything settles and is learnt anew, and limits count from there."""
        for detector in self.series().values():
            detector.mark(time_ns)

    def lost(self, gauge: str, time_ns: int) -> tuple[Alarm, ...]:
        """Say that a gauge's link was lost; told once until it is back.

        Raises:
            KeyError: no such gauge.
        """
        one = self._gauges[gauge]
        if one.lost:
            return ()
        one.lost = True
        one.held = None
        for pair in one.pairs:
            pair.pairing.clear()
        since_ns = time_ns if one.heard_ns is None else one.heard_ns
        return (one.own.alarm(time_ns, (AlarmKind.LOST, 0.0, since_ns)),)

    def back(self, gauge: str, time_ns: int) -> None:
        """Say that a gauge's link is open again; its first reading says so too.

        Raises:
            KeyError: no such gauge.
        """
        one = self._gauges[gauge]
        one.lost = False
        one.heard_ns = time_ns

    def tick(self, time_ns: int) -> tuple[Alarm, ...]:
        """Say that time went on: a gauge silent for too long is lost, and one that sends on change still stands."""
        if self._began_ns is None:
            self._began_ns = time_ns
        alarms: list[Alarm] = []
        for name, gauge in self._gauges.items():
            alarms += self._stand(gauge, time_ns)
            longest_s = gauge.watched.longest_silence_s
            heard_ns = self._began_ns if gauge.heard_ns is None else gauge.heard_ns
            if longest_s is not None and time_ns - heard_ns > longest_s * 1e9:
                alarms += self.lost(name, time_ns)
        return tuple(alarms)


def _period_s(gauge: WatchedGauge) -> float:
    """Return how far apart the values of a gauge come, as the watch sees them."""
    if gauge.sends is Sends.ON_CHANGE:
        return _GRID_S
    if gauge.sends in (Sends.ON_BUTTON, Sends.WHEN_TYPED):
        return SPOT_PERIOD_S
    return gauge.period_s or 1 / USUAL_RATE_HZ
