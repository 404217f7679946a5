"""A typed value as a placement.

Here: the one place where a checkpoint and a typed text become a placement, for the table and for whoever asks at the
bench. Not here: asking, and the value of a gauge (`capture`).
"""

from __future__ import annotations

from gaugelog.model.instrument import Checkpoint
from gaugelog.model.placement import Placement, Settled
from gaugelog.model.typed import parse_typed


def typed_placement(
    checkpoint: Checkpoint,
    text: str,
    time_ns: int,
    settled: Settled,
    resolution: float,
    given_unit: str | None = None,
) -> Placement:
    """Return the placement that a typed text makes at a checkpoint.

    A feeler pair keeps both ends and its middle as value; a bound has no value. A fraction is never finer than one part
    of its denominator as written.

    Args:
        checkpoint: where it was read; a number without a unit is in the checkpoint's unit.
        text: `0.30`, `3/32 in`, `0.25..0.30`, `>0.30`, …
        time_ns: monotonic nanoseconds at which it was typed.
        settled: typed at the bench, or from a table.
        resolution: the step that the checkpoint is read to, in the base unit of its quantity.
        given_unit: a unit stated beside the text.

    Raises:
        ValueTextError: no value can be read from the text.
        UnitMismatchError: a unit that doesn't fit what the checkpoint measures.
    """
    typed = parse_typed(text, checkpoint.quantity, checkpoint.unit, given_unit)
    return Placement(
        checkpoint=checkpoint.id,
        quantity=checkpoint.quantity,
        value=typed.value,
        text=typed.text,
        unit=typed.unit,
        resolution=max(resolution, typed.step or 0.0),
        settled=settled,
        time_ns=time_ns,
        low=typed.low,
        high=typed.high,
    )
