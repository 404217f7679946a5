"""What a comparison costs, after imports: single checkpoints alone, and with the movement of the neck.

Run: python tests/benchmarks/compare_cost.py
Plans of 10, 20 and 30 checkpoints with ten placements at each stage; invented readings. The figures are this machine's.
"""

from __future__ import annotations

import numpy as np
from figures import milliseconds

from gaugelog.analysis.comparison import compare
from gaugelog.analysis.neck_movement import neck_movement
from gaugelog.model.instrument import Bridge, Checkpoint, Instrument, MovementLimits, Neck, Place
from gaugelog.model.kinds import AFTER, BEFORE, KIND_BY_SLUG
from gaugelog.model.placement import KeptPlacement, Placement, Settled, Snapshot
from gaugelog.model.quantities import Quantity

PLACEMENTS, ROUNDS = 10, 9
FEW = (("neck-angle", ""), ("neck-roll", ""), ("fret-to-bridge-clearance", "bass"), ("centreline-offset", ""))


def plan(count: int) -> Instrument:
    """Return a plan: four usual checkpoints, and edge heights at as many places as it takes."""
    points = [
        Checkpoint(
            f"{kind}{side}",
            KIND_BY_SLUG[kind],
            KIND_BY_SLUG[kind].quantity,
            KIND_BY_SLUG[kind].quantity.base_unit,
            "",
            side=side,
            limit=0.3,
        )
        for kind, side in FEW
    ]
    for place in range(count - len(points)):
        y = 28.0 if place % 2 else -28.0
        points.append(
            Checkpoint(
                f"edge-{place}", KIND_BY_SLUG["fretboard-edge-height"], Quantity.LENGTH, "mm", "",
                side="treble" if place % 2 else "bass", limit=0.3, place=Place((5.0 + 3.0 * place, y, 6.0)),
            )
        )  # fmt: skip
    return Instrument(
        "baritone",
        tuple(points),
        neck=Neck(scale_length=686.0, joint_fret=16, plane_height=6.5, overhang=86.0),
        bridge=Bridge(position=266.0, bearing_low=18.0, string_spread=52.0),
        movement_limits=MovementLimits(0.2, 0.2, 0.2, 0.3, 0.3, 0.5),
    )


def snapshot(instrument: Instrument, stage: str) -> Snapshot:
    """Return a snapshot of readings that scatter by 0.03."""
    chance = np.random.default_rng(len(stage))
    placements = [
        Placement(each.id, each.quantity, 3.0 + chance.normal(0, 0.03), "3", "", 0.01, Settled.STEADY, 0, "gauge")
        for each in instrument.checkpoints
        for _ in range(PLACEMENTS)
    ]
    kept = tuple(KeptPlacement(i, 1, stage, i, each, None) for i, each in enumerate(placements))
    return Snapshot(1, stage, 1, 0, None, kept, ())


def main() -> None:
    """Print the figures."""
    for count in (10, 20, 30):
        instrument = plan(count)
        before, after = (snapshot(instrument, stage) for stage in (BEFORE, AFTER))
        told = compare(instrument, before, after)
        rows = milliseconds(lambda: compare(instrument, before, after), ROUNDS)  # noqa: B023 - run at once
        neck = milliseconds(lambda: neck_movement(instrument, before, after, told), ROUNDS)  # noqa: B023 - run at once
        print(
            f"{count} checkpoints of {PLACEMENTS} placements: rows {rows:5.1f} ms, the neck as a whole {neck:5.1f} ms"
        )


if __name__ == "__main__":
    main()
