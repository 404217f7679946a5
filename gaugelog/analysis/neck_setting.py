"""How a neck stands before the glue, what that means for the strings, and how sure that is.

Here: all readings of a stage and all lengths of the file as inputs of one function, whose derivatives give every
figure its uncertainty and its budget. Not here: the formulas (`neck_rows`, `neck_figures`), the wood to take off
(`neck_cut`).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from gaugelog.analysis.least_squares import Adjustment, Matrix, Residual, adjust, widening
from gaugelog.analysis.neck_figures import FIGURES, NEEDS, by_name, figures
from gaugelog.analysis.neck_rows import UNKNOWNS, Row, Said, said_by, underside_said
from gaugelog.analysis.neckset import neck_set_of
from gaugelog.analysis.stage_means import StageMean
from gaugelog.model.estimate import Estimate
from gaugelog.model.instrument import Instrument
from gaugelog.model.quantities import Quantity

FILE_KEYS = (
    "neck.scale_length",
    "neck.compensation_bass",
    "neck.compensation_treble",
    "neck.plane_height",
    "neck.underside_height",
    "neck.fretboard_radius",
    "neck.edge_width_at_last_fret",
    "neck.overhang",
    "neck.nut_height",
    "neck.string_spread_at_nut",
    "neck.relief",
    "bridge.position",
    "bridge.bearing_low",
    "bridge.bearing_high",
    "bridge.saddle_slot_depth",
    "bridge.spacer",
    "bridge.string_spread",
    "bridge.tail_anchor_x",
    "bridge.tail_anchor_z",
)
"""Lengths of the file that were measured; what the builder merely wants, such as the action, is exact."""

TOUCHING, NO_ROLL = "neck.underside_height", "roll"
TOUCHING_MM = 0.05
"""How well a fretboard's edge that touches the body is known to: the thinnest feeler (common practice, no source)."""
NO_ROLL_DEG = 0.5
"""Standard uncertainty of a roll that nobody read, taken as none (common practice, no source)."""

_SCALE = np.array([1 / 300, 1 / 50, 1.0, 1.0, 1.0, 1 / 300, 1.0])
_SLOPE, _UNDERSIDE, _HEADING = (UNKNOWNS.index(name) for name in ("slope", "underside", "heading"))
_STEP = 1e-3
_LEAST_VARIANCE = 1e-12
_ROUNDS = 2
_RELIEF = "neck-relief"
_FOUND_FROM_STRINGS = ("plane_at_saddle", "centreline_offset")


class Origin(Enum):
    """Where an input comes from."""

    READ = "read"
    FILE = "file"
    TAKEN = "taken as so"


@dataclass(frozen=True, slots=True)
class Input:
    """One thing that the figures are computed from: a checkpoint's mean, a length of the file, or what is taken as so.

    `digit` is one digit of its gauge and `worth_mm` what that is worth at the bridge if the plane (or the centreline)
    were told by it alone; None where it has none.
    """

    name: str
    origin: Origin
    estimate: Estimate
    digit: float | None = None
    worth_mm: float | None = None


@dataclass(frozen=True, slots=True)
class NeckSetting:
    """How a neck stands, with what it asks of the strings.

    `figures` holds those of `neck_figures.FIGURES` that can be told, by name; `budget` says by how much each input's
    standard uncertainty moves each figure, signed, by figure and input. `residuals` are those of the readings, `p`
    judges them together, None where nothing checks anything. `missing` names keys of the file by the figure that
    waits for them, `untold` the unknowns that no reading tells. `taken` names what is taken as so, `unknowns` are the
    neck's by `neck_rows.UNKNOWNS`. `stage` is empty where no reading was used.
    """

    stage: str
    figures: Mapping[str, Estimate]
    inputs: tuple[Input, ...]
    budget: Mapping[str, Mapping[str, float]]
    residuals: tuple[Residual, ...]
    p: float | None
    missing: Mapping[str, tuple[str, ...]]
    untold: tuple[str, ...]
    unknowns: Mapping[str, float]

    @property
    def misfits(self) -> tuple[Residual, ...]:
        """The readings that contradict the others, worst first."""
        return tuple(sorted((each for each in self.residuals if each.misfit), key=lambda each: -abs(each.w or 0.0)))

    def figure(self, name: str) -> Estimate | None:
        """Return one figure, None where it can't be told."""
        return self.figures.get(name)


def neck_setting(
    instrument: Instrument,
    means: Mapping[str, StageMean],
    steps: Mapping[str, float],
    *,
    stage: str = "",
    assumed: Mapping[str, float] | None = None,
) -> NeckSetting:
    """Return how the neck stands, from the readings of a stage, the file's lengths, and what is assumed.

    Formula: the readings that speak of the same plane (neck angle, roll, clearances, end rise, edge heights, the
    file's plane height) or of the same line (centreline offsets, posts, strings to edges) are adjusted together by
    generalised least squares, V = J U² Jᵀ with J the derivative of what they say by all inputs, so that a length of
    the file that two readings share makes them correlated. u² = Σ (c_i u_i)² with c_i the derivative of the figure by
    the input, through the adjustment, the readings' part widened for weights estimated from few placements
    (`least_squares.widening`); degrees of freedom by Welch-Satterthwaite over the pooled scatters.
    Source: GUM (JCGM 100:2008) 5.1.2 and 5.1.3, G.4.1; `least_squares.adjust` for the adjustment and its tests.

    When this is wrong: derivatives at one point are no good where a figure bends within its uncertainty: margins,
    window and break angle where bass and treble change places. Where both strings want one height and nobody read the
    roll, a margin is 0.18 mm less than told, and its true u half as much again (Monte Carlo in the tests; a neck angle
    that is only known to a degree does little harm). A fretboard whose edge is taken to touch at the joint line and
    doesn't contradicts the rest, and is named then.

    Args:
        instrument: the plan and its geometry.
        means: of one stage, by checkpoint id (`stage_means`); empty for a what-if alone.
        steps: to how much each length of the file was read, mm, by dotted key.
        stage: its name, for the result.
        assumed: values that replace what the readings say, by the names of `neck_rows.UNKNOWNS`; taken as exact.
    """
    model = _Model(instrument, means, steps, assumed or {})
    found = model.figures(model.cases[0])
    felt = {name: slope for name, slope in model.by_unknown(found).items() if model.told(slope)}
    slopes = {name: slope for name, slope in model.by_input(found).items() if name in felt}
    shares = {name: model.shares(slope, felt[name]) for name, slope in slopes.items()}
    return NeckSetting(
        stage=stage,
        figures={
            name: Estimate(found[name], math.sqrt(parts @ parts), FIGURES[name], model.dof(slopes[name]), len(means))
            for name, parts in shares.items()
        },
        inputs=model.inputs,
        budget={
            name: {each.name: float(share) for each, share in zip(model.inputs, parts, strict=True) if abs(share) > 0}
            for name, parts in shares.items()
        },
        residuals=model.residuals,
        p=model.p,
        missing=_missing(instrument),
        untold=tuple(name for name in UNKNOWNS if not model.tells_unknown(name)),
        unknowns=by_name(tuple(float(each) for each in model.at(model.cases[0]))),
    )


def _missing(instrument: Instrument) -> dict[str, tuple[str, ...]]:
    found = {}
    for name, keys in NEEDS.items():
        open_keys = tuple(key for key in keys if _length(instrument, key) is None)
        if open_keys and not (name in _FOUND_FROM_STRINGS and neck_set_of(instrument) is not None):
            found[name] = open_keys
    return found


def _length(instrument: Instrument, key: str) -> float | None:
    table, _, name = key.partition(".")
    value: float | None = getattr(getattr(instrument, table), name)
    return value


def _in_order(found: Mapping[str, float], names: Collection[str]) -> Matrix:
    return np.array([found.get(name, math.nan) for name in names])


def _with_length(instrument: Instrument, key: str, value: float) -> Instrument:
    table, _, name = key.partition(".")
    changed = replace(getattr(instrument, table), **{name: value})
    return replace(instrument, **{table: changed})


@dataclass(frozen=True, slots=True, eq=False)
class _Case:
    """The inputs at one point: the instrument with these lengths, what its readings say, and by which rows."""

    instrument: Instrument
    rows: Matrix
    values: Matrix


class _Model:
    """One function from all inputs to all figures, and its derivatives."""

    def __init__(
        self,
        instrument: Instrument,
        means: Mapping[str, StageMean],
        steps: Mapping[str, float],
        assumed: Mapping[str, float],
    ) -> None:
        self._instrument = instrument
        self._assumed = assumed
        self._means = means
        said = said_by(instrument, {name: each.value for name, each in means.items()})
        self._rows = {each.id: each.row for each in said}
        self._relief = next((name for name, each in means.items() if each.checkpoint.kind.slug == _RELIEF), None)
        self._touches = any(row[_UNDERSIDE] for row in self._rows.values())
        self._takes_no_roll = False
        self.inputs = self._inputs(steps)
        self._adjust()
        if not self.tells_unknown("tilt"):
            self._takes_no_roll = True
            self.inputs = self._inputs(steps)
            self._adjust()

    def _inputs(self, steps: Mapping[str, float]) -> tuple[Input, ...]:
        means = [each for each in self._means.values() if self._counts(each)]
        found = [_read(self._instrument, each, self._rows.get(each.checkpoint.id)) for each in means]
        for key in FILE_KEYS:
            value = _length(self._instrument, key)
            if value is not None and not (key == "neck.relief" and self._relief):
                found.append(Input(key, Origin.FILE, Estimate(value, steps.get(key, 0.0) / math.sqrt(12), "mm")))
        if self._touches and self._instrument.neck.underside_height is None:
            found.append(Input(TOUCHING, Origin.TAKEN, Estimate(0.0, TOUCHING_MM, "mm")))
        if self._takes_no_roll:
            found.append(Input(NO_ROLL, Origin.TAKEN, Estimate(0.0, NO_ROLL_DEG, "deg")))
        return tuple(found)

    def _counts(self, mean: StageMean) -> bool:
        return mean.checkpoint.id in self._rows or mean.checkpoint.kind.slug in (_RELIEF, "saddle-height")

    def _case(self, values: Sequence[float]) -> _Case:
        instrument, readings, tilt = self._instrument, {}, 0.0
        for each, value in zip(self.inputs, values, strict=True):
            if each.origin is Origin.READ:
                readings[each.name] = value
            elif each.name == NO_ROLL:
                tilt = math.tan(math.radians(value))
            else:
                instrument = _with_length(instrument, each.name, value)
        if self._relief in readings:
            instrument = _with_length(instrument, "neck.relief", readings[self._relief])
        said = list(said_by(instrument, readings))
        if self._touches:
            said.append(underside_said(instrument))
        if self._takes_no_roll:
            said.append(Said(NO_ROLL, tuple(float(name == "tilt") for name in UNKNOWNS), tilt))
        self._ids = [each.id for each in said]
        rows = np.array([each.row for each in said], dtype=np.float64).reshape(len(said), len(UNKNOWNS))
        return _Case(instrument, rows, np.array([each.value for each in said], dtype=np.float64))

    def _adjust(self) -> None:
        """Make the cases at the inputs and a little to either side of each, and adjust what the readings say."""
        centre = [each.estimate.value for each in self.inputs]
        self.cases = [self._case(centre)]
        for place in range(len(centre)):
            for sign in (1.0, -1.0):
                moved = [*centre]
                moved[place] += sign * _STEP
                self.cases.append(self._case(moved))
        self._case(centre)
        self._adjustment: Adjustment | None = None
        self._start = np.zeros(len(UNKNOWNS))
        self._widening = np.zeros((len(UNKNOWNS), len(UNKNOWNS)))
        if not self._ids:
            return
        first = self.cases[0]
        for _ in range(_ROUNDS):
            covariance = self._covariance()
            found = adjust(self._ids, first.rows, first.values, covariance, _SCALE)
            self._adjustment, self._start = found, found.unknowns
        self._widening = widening(first.rows, covariance, found.covariance, self._parts())

    def _covariance(self) -> Matrix:
        """Return the covariance of what the readings say, given how the neck stands so far.

        A distance of the file enters by how steep the neck is, so the steepness must be known before.
        """
        shares = self._said_by_input() * np.array([each.estimate.u for each in self.inputs])
        return np.asarray(shares @ shares.T + _LEAST_VARIANCE * np.eye(len(self._ids)))

    def _said_by_input(self) -> Matrix:
        """Return the derivative of what the readings say by each input, shape (readings, inputs)."""
        return self._by_input([case.values - case.rows @ self._start for case in self.cases])

    def _by_input(self, values: Sequence[Matrix]) -> Matrix:
        """Return the derivative by each input, shape (values, inputs), from values at all cases."""
        columns = [(values[1 + 2 * place] - values[2 + 2 * place]) / (2 * _STEP) for place in range(len(self.inputs))]
        return np.array(columns).T if columns else np.zeros((len(values[0]), 0))

    def at(self, case: _Case) -> Matrix:
        """Return the unknowns at a case, shape (7,): exact in the values, to first order in the rows."""
        found = np.array(self._start)
        if self._adjustment is not None:
            found = found + self._adjustment.gain @ (case.values - case.rows @ self._start)
        for name, value in self._assumed.items():
            found[UNKNOWNS.index(name)] = value
        return found

    def figures(self, case: _Case) -> dict[str, float]:
        """Return the figures at a case."""
        return figures(case.instrument, by_name(tuple(float(each) for each in self.at(case))))

    def by_input(self, names: Collection[str]) -> dict[str, Matrix]:
        """Return the derivative of each figure by each input, shape (inputs,), through the adjustment."""
        values = [_in_order(each, names) for each in map(self.figures, self.cases)]
        return dict(zip(names, self._by_input(values), strict=True))

    def by_unknown(self, names: Collection[str]) -> dict[str, Matrix]:
        """Return the derivative of each figure by each unknown, shape (7,), none by what is assumed."""
        base, instrument = self.at(self.cases[0]), self.cases[0].instrument

        def values(unknowns: Matrix) -> Matrix:
            return _in_order(figures(instrument, by_name(tuple(float(each) for each in unknowns))), names)

        steps = np.diag(_SCALE * 1e-3)
        slopes = np.array([(values(base + step) - values(base - step)) / (2 * step.max()) for step in steps])
        return dict(zip(names, slopes.T * self._free(), strict=True))

    def _free(self) -> Matrix:
        return np.array([0.0 if name in self._assumed else 1.0 for name in UNKNOWNS])

    def tells_unknown(self, name: str) -> bool:
        """Return whether the readings and what is assumed tell an unknown."""
        return self.told(np.array([float(each == name) for each in UNKNOWNS]) * self._free())

    def told(self, slope: Matrix) -> bool:
        """Return whether the readings tell what has this derivative by the unknowns, shape (7,)."""
        if not np.isfinite(slope).all():
            return False
        if self._adjustment is None:
            return not slope.any()
        return self._adjustment.tells(slope)

    def shares(self, slope: Matrix, felt: Matrix) -> Matrix:
        """Return how much each input's u moves a figure, shape (inputs,), from its derivatives by input and unknown.

        The readings' shares are larger by one factor, which makes up for weights estimated from few placements.
        """
        shares = slope * np.array([each.estimate.u for each in self.inputs])
        read = np.array([each.origin is Origin.READ for each in self.inputs])
        variance = float(shares[read] @ shares[read]) if read.any() else 0.0
        if variance > 0:
            shares[read] *= math.sqrt(1 + max(float(felt @ self._widening @ felt), 0.0) / variance)
        return np.asarray(shares)

    def _parts(self) -> list[tuple[Matrix, float]]:
        """Return what each estimated scatter puts into the covariance of what the readings say, and its dof."""
        slopes = self._said_by_input()
        parts = []
        for dof, group in self._scatters():
            columns = slopes[:, list(group)] * np.sqrt(list(group.values()))
            parts.append((columns @ columns.T, dof))
        return parts

    @property
    def residuals(self) -> tuple[Residual, ...]:
        """What is left of each reading after the adjustment: slopes as tangents, lengths in mm."""
        return () if self._adjustment is None else self._adjustment.residuals

    @property
    def p(self) -> float | None:
        """Return the probability of readings that fit one neck as badly as these or worse."""
        if self._adjustment is None:
            return None
        return self._adjustment.p_value(self._pooled_dof())

    def dof(self, slope: Matrix) -> float:
        """Return the degrees of freedom of a figure with this derivative by each input, shape (inputs,).

        Formula: u⁴ / Σ_g (Σ c_i² s_g²/n_i)² / ν_g over the scatters g: means whose scatter was pooled share its error.
        """
        u = np.array([each.estimate.u for each in self.inputs])
        below = sum(
            sum(float(slope[place]) ** 2 * variance for place, variance in group.items()) ** 2 / dof
            for dof, group in self._scatters()
        )
        return float(slope * u @ (slope * u)) ** 2 / below if below > 0 else math.inf

    def _pooled_dof(self) -> float:
        """Return the degrees of freedom of all readings' variances together, each reading weighing alike."""
        below = sum(
            sum(variance / self.inputs[place].estimate.u ** 2 for place, variance in group.items()) ** 2 / dof
            for dof, group in self._scatters()
        )
        count = sum(each.origin is Origin.READ for each in self.inputs)
        return count**2 / below if below > 0 else math.inf

    def _scatters(self) -> list[tuple[float, dict[int, float]]]:
        """Return each scatter that means were pooled to: degrees of freedom, and its share of u² by input's place."""
        groups: dict[tuple[object, ...], tuple[float, dict[int, float]]] = {}
        for place, each in enumerate(self.inputs):
            if each.origin is not Origin.READ:
                continue
            mean = self._means[each.name]
            scatter = mean.scatter
            key = (mean.checkpoint.quantity, round(scatter.dof, 6), f"{scatter.sd:.9g}")
            if scatter.sd > 0 and math.isfinite(scatter.dof):
                groups.setdefault(key, (scatter.dof, {}))[1][place] = scatter.sd**2 / mean.n
        return list(groups.values())


def _read(instrument: Instrument, mean: StageMean, row: Row | None) -> Input:
    unit = "deg" if mean.checkpoint.quantity is Quantity.ANGLE else "mm"
    estimate = Estimate(mean.value, mean.u, unit, mean.dof, mean.n)
    return Input(mean.checkpoint.id, Origin.READ, estimate, mean.step, _worth(instrument, mean, row))


def _worth(instrument: Instrument, mean: StageMean, row: Row | None) -> float | None:
    """Return what a digit of a reading is worth at the bridge, were it alone in telling where the plane or line goes.

    Formula: D tan r for an angle r over the distance D (half the string spread for roll); r D/x for a length r read at
    the distance x from the joint line, at which the neck is taken to turn.
    """
    bridge, kind = instrument.bridge, mean.checkpoint.kind.slug
    if bridge.position is None:
        return None
    if kind == "neck-angle":
        return bridge.position * math.tan(math.radians(mean.step))
    if kind == "neck-roll":
        return (bridge.string_spread or 0.0) / 2 * math.tan(math.radians(mean.step)) or None
    if row is None:
        return None
    place = abs(row[_SLOPE] or row[_HEADING])
    return mean.step * bridge.position / place if place > 1 else None
