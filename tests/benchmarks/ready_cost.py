"""What the gate before the glue and the advice for a cut cost, after imports, and how that grows with the plan.

Run: python tests/benchmarks/ready_cost.py
Plans of 5 to 60 checkpoints with ten placements each; invented readings. The figures are this machine's.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from figures import milliseconds

from gaugelog.analysis.neck_cut import cut_advice
from gaugelog.analysis.neck_setting import neck_setting
from gaugelog.analysis.readiness import readiness
from gaugelog.analysis.stage_means import stage_means
from gaugelog.instruments.new import new_instrument
from gaugelog.instruments.read import read_instrument
from gaugelog.instruments.written_steps import written_steps
from gaugelog.model.instrument import Checkpoint, Instrument, Place, Tolerance, ToleranceSide
from gaugelog.model.kinds import BEFORE, KIND_BY_SLUG
from gaugelog.model.placement import KeptPlacement, Placement, Settled, Snapshot
from gaugelog.model.quantities import Quantity

PLACEMENTS, ROUNDS, STEP_MM = 10, 7, 0.1
SIZES = (5, 10, 20, 30, 60)
TARGET_MS = 150
MISREAD = ("clearance-bass", "end-rise")
FIRST = ("neck-angle", "neck-roll", "clearance-bass", "clearance-treble", "centreline-bridge")


def plan(count: int) -> Instrument:
    """Return the example plan: its five that matter first, its others, then edge heights at ever more places."""
    example = read_instrument(new_instrument("synthetic", gauges="two", full=True), "new")
    told = [each for each in example.at_stage(BEFORE) if each.quantity in (Quantity.ANGLE, Quantity.LENGTH)]
    points = sorted(told, key=lambda each: FIRST.index(each.id) if each.id in FIRST else len(FIRST))[:count]
    for place in range(count - len(points)):
        side, y = ("treble", 27.0) if place % 2 else ("bass", -27.0)
        x = 4.0 + 2.0 * place
        rise = x * math.tan(math.radians(2.8))
        points.append(
            Checkpoint(
                f"edge-{place}", KIND_BY_SLUG["fretboard-edge-height"], Quantity.LENGTH, "mm", "", side=side,
                nominal=rise, tolerance=Tolerance(ToleranceSide.BOTH, rise - 0.7, rise + 0.7), limit=0.5,
                step=0.1, place=Place((x, y, rise)),
            )
        )  # fmt: skip
    return replace(example, checkpoints=tuple(points))


def too_steep(checkpoint: Checkpoint) -> float:
    """Return what the checkpoint shows of a neck that stands half a degree too steep."""
    more, x = (
        math.tan(math.radians(3.3)) - math.tan(math.radians(2.8)),
        (checkpoint.place.point_mm or (274.5, 0.0, 0.0))[0],
    )
    rises = ("fret-to-bridge-clearance", "fretboard-edge-height", "fretboard-end-rise")
    tips = ("neck-angle", "pocket-floor-tilt")
    slug = checkpoint.kind.slug
    return (checkpoint.nominal or 0.0) + (more * x if slug in rises else 0.5 if slug in tips else 0.0)


def snapshot(instrument: Instrument, misread: Sequence[str] = ()) -> Snapshot:
    """Return a snapshot of readings that scatter by 0.03, some of them wrong by 0.8."""
    chance = np.random.default_rng(7)
    placements = [
        Placement(
            each.id,
            each.quantity,
            too_steep(each) + 0.8 * (each.id in misread) + chance.normal(0, 0.03),
            "3",
            "",
            0.05,
            Settled.STEADY,
            0,
            each.gauge,
        )
        for each in instrument.checkpoints
        for _ in range(PLACEMENTS)
    ]
    return Snapshot(
        1, BEFORE, 1, 0, None, tuple(KeptPlacement(i, 1, BEFORE, i, each) for i, each in enumerate(placements))
    )


def costs(count: int, misread: Sequence[str] = ()) -> Mapping[str, float]:
    """Return what each part costs for a plan of so many checkpoints, milliseconds."""
    instrument = plan(count)
    before = snapshot(instrument, misread)
    steps = written_steps(instrument.text)
    means = stage_means(instrument, before)
    setting = neck_setting(instrument, means, steps)
    advice = cut_advice(instrument, setting, means, STEP_MM)
    if advice is None or not advice.needed:
        raise RuntimeError("the benchmark's neck stands too steep: a cut is needed")
    return {
        "means": milliseconds(lambda: stage_means(instrument, before), ROUNDS),
        "setting": milliseconds(lambda: neck_setting(instrument, means, steps), ROUNDS),
        "gate": milliseconds(lambda: readiness(instrument, before, means, setting), ROUNDS),
        "cut": milliseconds(lambda: cut_advice(instrument, setting, means, STEP_MM), ROUNDS),
    }


def main() -> None:
    """Print the figures."""
    print(f"ten placements each; ready is means + setting + gate, to stay under {TARGET_MS} ms at 30 checkpoints")
    print(f"{'checkpoints':>34} {'means':>8} {'setting':>8} {'gate':>8} {'ready':>8} {'cut':>8}   ms")
    for words, count, misread in (*((str(size), size, ()) for size in SIZES), ("30, two of them misread", 30, MISREAD)):
        each = costs(count, misread)
        ready = each["means"] + each["setting"] + each["gate"]
        shown = [each["means"], each["setting"], each["gate"], ready, each["cut"]]
        print(f"{words:>34} " + " ".join(f"{cost:8.1f}" for cost in shown))


if __name__ == "__main__":
    main()
