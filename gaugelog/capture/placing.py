"""From gauges at rest to one placement at a checkpoint.

Here: which gauge is looked at, in which order (body, then neck; or both at once), and the placement that comes of it.
Not here: which checkpoint is next, or keeping anything (`recorder`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from gaugelog.capture.steady import SPAN_STEPS, WINDOW_S, SteadyWatch, Window
from gaugelog.model.datasheet import Datasheet, Sends
from gaugelog.model.instrument import Checkpoint
from gaugelog.model.placement import Part, Placement, Role, Settled
from gaugelog.model.quantities import Quantity, find_unit
from gaugelog.model.readings import Heard, Reading


@dataclass(frozen=True, slots=True)
class PlacingState:
    """What to show while a placement is being taken.

    `role` is what the gauge should be on now; `progress` runs 0 to 1 while it rests; `body_value` is the body's
    reading once it is known (base unit); `awaiting_lift` says that the gauge still stands where it was.
    """

    role: Role
    reading: Reading | None
    progress: float
    awaiting_lift: bool
    body_value: float | None


class Placing:
    """Takes placements at one checkpoint, one after another."""

    def __init__(
        self,
        checkpoint: Checkpoint,
        datasheets: Mapping[str, Datasheet],
        window_s: float = WINDOW_S,
        span_steps: float = SPAN_STEPS,
    ) -> None:
        """Take the checkpoint and the datasheets of its gauges by short name.

        Raises:
            ValueError: the checkpoint is typed, or a gauge of it has no datasheet here.
        """
        if checkpoint.gauge is None:
            raise ValueError(f"{checkpoint.id} is typed: no gauge reads it")
        names = [checkpoint.gauge] + ([checkpoint.body_gauge] if checkpoint.body_gauge else [])
        missing = [name for name in names if name not in datasheets]
        if missing:
            raise ValueError(f"no datasheet for {', '.join(missing)}")
        self.checkpoint = checkpoint
        self._watches = {name: SteadyWatch(datasheets[name], window_s, span_steps) for name in names}
        self._body: Part | None = None

    @property
    def _one_after_another(self) -> bool:
        return self.checkpoint.referenced and not self.checkpoint.body_gauge

    @property
    def _role(self) -> Role:
        if not self.checkpoint.referenced:
            return Role.WHOLE
        return Role.BODY if self._one_after_another and self._body is None else Role.NECK

    @property
    def state(self) -> PlacingState:
        """How the placement stands."""
        watches = list(self._watches.values())
        main = watches[0]
        return PlacingState(
            role=self._role,
            reading=main.latest,
            progress=min(watch.progress for watch in watches),
            awaiting_lift=any(watch.awaiting_lift for watch in watches),
            body_value=self._body.value if self._body else None,
        )

    def hear(self, heard: Heard) -> Placement | None:
        """Take what a gauge said; return a placement if it completed one."""
        watch = self._watches.get(heard.gauge)
        if watch is None:
            return None
        watch.hear(heard)
        windows = [watch.window() for watch in self._watches.values()]
        return self._advance(windows, self._settled(), heard.chunk.time_ns)

    def _settled(self) -> Settled:
        on_button = all(watch.sends is Sends.ON_BUTTON for watch in self._watches.values())
        return Settled.BUTTON if on_button else Settled.STEADY

    def take_now(self, time_ns: int) -> Placement | None:
        """Take what the gauges show now, steady or not: by hand. None if they show nothing, or it was the body."""
        for watch in self._watches.values():
            watch.awaiting_lift = False
        windows = [watch.by_hand() for watch in self._watches.values()]
        return self._advance(windows, Settled.BY_HAND, time_ns)

    def lifted(self) -> None:
        """Say by a key that the gauge was lifted."""
        for watch in self._watches.values():
            watch.lifted()

    def await_lift(self) -> None:
        """Say that the gauges stand where they were left: the next placement begins when they have been lifted."""
        for watch in self._watches.values():
            watch.await_lift()

    def start_over(self) -> None:
        """Forget a body reading already taken; the next placement begins anew."""
        self._body = None

    def _advance(self, windows: list[Window | None], settled: Settled, time_ns: int) -> Placement | None:
        whole = [window for window in windows if window is not None]
        if len(whole) < len(windows):
            return None
        role = self._role
        parts = [window.part(role if place == 0 else Role.BODY) for place, window in enumerate(whole)]
        for watch, part in zip(self._watches.values(), parts, strict=True):
            watch.settle(part.value)
        if role is Role.BODY:
            self._body = parts[0]
            return None
        if self._body is not None:
            parts.append(self._body)
            self._body = None
        return placement_of(self.checkpoint, tuple(parts), settled, time_ns)


def placement_of(checkpoint: Checkpoint, parts: tuple[Part, ...], settled: Settled, time_ns: int) -> Placement:
    """Return the placement that `parts` make: one reading, or neck less body.

    Raises:
        ValueError: not one part, nor a neck's and a body's.
    """
    by_role = {part.role: part for part in parts}
    if set(by_role) == {Role.NECK, Role.BODY}:
        neck, body = by_role[Role.NECK], by_role[Role.BODY]
        value, text, unit = _difference(neck, body, checkpoint.quantity)
    elif len(parts) == 1:
        neck = parts[0]
        value, text, unit = neck.value, neck.text, neck.unit
    else:
        raise ValueError("a placement is one part, or a neck's and a body's")
    return Placement(
        checkpoint=checkpoint.id,
        quantity=checkpoint.quantity,
        value=value,
        text=text,
        unit=unit,
        resolution=max(part.resolution for part in parts),
        settled=settled,
        time_ns=time_ns,
        gauge=neck.gauge,
        spread=max(part.spread for part in parts),
        parts=parts,
    )


def _difference(neck: Part, body: Part, quantity: Quantity) -> tuple[float, str, str]:
    """Return neck less body as a base value, as decimal text, and the text's unit; exact where both show one unit."""
    if neck.unit != body.unit:
        return neck.value - body.value, repr(neck.value - body.value), quantity.base_unit
    difference = Decimal(neck.text) - Decimal(body.text)
    return find_unit(neck.unit, quantity).step_to_base(difference), str(difference), neck.unit
