"""Adjusting readings that say more than enough about a few unknowns, and finding the one that contradicts the others.

Here: generalised least squares with what it can't tell, and its tests. Not here: what the unknowns are (`movement`,
`plane`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

Matrix = NDArray[np.float64]

MISREADING_W = 3.29
LEAST_REDUNDANCY = 0.1
GROUP_CORRELATION = 0.9
_RANK = 1e-7
_LOADING = 1e-4
_ENDLESS_DOF = 1e9


@dataclass(frozen=True, slots=True)
class Residual:
    """What is left of one reading after the adjustment, in its own unit.

    `w` is the residual over its own standard deviation (Baarda's w-test), None where the others can't check it;
    `redundancy` the share of a misreading there that would show in the residual (0 to 1 where readings share
    nothing); `alike` names the readings whose residuals can't be told from this one's: a misreading of one looks like
    a misreading of the other.
    """

    id: str
    value: float
    w: float | None
    redundancy: float
    alike: tuple[str, ...] = ()

    @property
    def unchecked(self) -> bool:
        """Whether the others could not show a misreading here."""
        return self.redundancy < LEAST_REDUNDANCY

    @property
    def misfit(self) -> bool:
        """Whether it contradicts the others."""
        return self.w is not None and abs(self.w) > MISREADING_W


@dataclass(frozen=True, slots=True, eq=False)
class Adjustment:
    """Unknowns, shape (m,), that fit n readings best.

    `covariance` (m, m) holds within what can be told; `gain` (m, n) says how much each reading enters each unknown;
    `null_space` (k, m) spans, in steps of `scale`, what no reading feels; `left_over` (n,) are the residuals, `weights`
    (n, n) the inverse of the readings' covariance V, `shares` (n, n) is Q V⁻¹ with Q the residuals' covariance, `chi2`
    their weighted square on `dof` degrees of freedom.
    """

    unknowns: Matrix
    covariance: Matrix
    gain: Matrix
    null_space: Matrix
    scale: Matrix
    left_over: Matrix
    weights: Matrix
    shares: Matrix
    chi2: float
    dof: float
    residuals: tuple[Residual, ...]

    def tells(self, direction: Matrix) -> bool:
        """Return whether a linear function of the unknowns, shape (m,), can be told from these readings."""
        scaled = direction * self.scale
        size = float(np.linalg.norm(scaled))
        return size == 0 or float(np.linalg.norm(self.null_space @ scaled)) <= _LOADING * size

    def first(self, count: int) -> Adjustment:
        """Return this adjustment as judged by its first `count` readings alone, the others being beliefs.

        What beliefs settle in part leaves the readings parts of degrees of freedom: chi2 is then a sum of λ_i χ²_1,
        taken as (Σλ/h) χ²_h with h = (Σλ)²/Σλ² (Satterthwaite). The readings must share no covariance with the beliefs.
        """
        own = {each.id for each in self.residuals[:count]}
        residuals = tuple(
            replace(each, alike=tuple(name for name in each.alike if name in own)) for each in self.residuals[:count]
        )
        left_over = self.left_over[:count]
        shares = self.shares[:count, :count]
        total = float(np.trace(shares))
        if total < LEAST_REDUNDANCY:
            return replace(self, residuals=residuals, left_over=left_over, chi2=0.0, dof=0.0)
        dof = total**2 / float(np.trace(shares @ shares))
        chi2 = float(left_over @ self.weights[:count, :count] @ left_over) * dof / total
        return replace(self, residuals=residuals, left_over=left_over, chi2=chi2, dof=dof)

    def p_value(self, pooled_dof: float) -> float | None:
        """Return the probability of a chi2 as large as this or larger, None where nothing is left over to judge by.

        Formula: F = chi2/dof against Fisher's F(dof, `pooled_dof`), the degrees of freedom of the readings' variances.
        Source: global test of a least-squares adjustment with an estimated variance; NIST/SEMATECH e-Handbook
        1.3.6.6.5.
        """
        if self.dof <= 0:
            return None
        return float(fdtrc(self.dof, min(pooled_dof, _ENDLESS_DOF), self.chi2 / self.dof))


def adjust(
    ids: Sequence[str],
    rows: Matrix,
    values: Matrix,
    covariance: Matrix,
    scale: Matrix,
    weakest: float = math.inf,
) -> Adjustment:
    """Return the unknowns that fit readings best, x = C Aᵀ V⁻¹ l with C = (Aᵀ V⁻¹ A)⁺.

    What the readings don't feel is left at zero and spans `null_space`: no single unknown of it means anything.
    Residuals v = l - A x with covariance Q = V - A C Aᵀ; redundancy r = diag(Q V⁻¹); w = (V⁻¹ v) / sqrt(diag(V⁻¹ Q
    V⁻¹)).
    Source: generalised least squares (Aitken, 1935); w-test and the bound 3.29: W. Baarda, A testing procedure for
    use in geodetic networks, 1968 (from memory).

    When this is wrong: two misreadings at once may hide each other; variances that are themselves poorly known make |w|
    larger than it should be.

    Args:
        ids: n names.
        rows: A, shape (n, m), reading's unit by unknown's unit.
        values: l, shape (n,).
        covariance: V, shape (n, n), positive definite.
        scale: steps of the unknowns that weigh alike, shape (m,); they settle what counts as not felt.
        weakest: the largest standard uncertainty, in those steps, of a direction that counts as felt.

    Raises:
        ValueError: no reading, or a covariance that isn't positive definite.
    """
    if not len(ids):
        raise ValueError("nothing to adjust")
    try:
        root = np.linalg.cholesky(covariance)
    except np.linalg.LinAlgError:
        raise ValueError("the covariance of the readings is positive definite") from None
    white = np.linalg.solve(root, rows * scale)
    left, sizes, right = np.linalg.svd(white, full_matrices=True)
    least = max(_RANK * float(sizes.max(initial=0.0)), 1 / weakest, 1e-300)
    rank = int((sizes > least).sum())
    basis = right[:rank].T / sizes[:rank]
    gain = scale[:, None] * (basis @ left[:, :rank].T) @ np.linalg.inv(root)
    unknowns = gain @ values
    spread = scale[:, None] * (basis @ basis.T) * scale
    left_over = values - rows @ unknowns
    of_residuals = covariance - rows @ spread @ rows.T
    weights: Matrix = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    return Adjustment(
        unknowns=unknowns,
        covariance=spread,
        gain=gain,
        null_space=right[rank:],
        scale=scale,
        left_over=left_over,
        weights=weights,
        shares=of_residuals @ weights,
        chi2=float(left_over @ weights @ left_over),
        dof=float(len(ids) - rank),
        residuals=_residuals(ids, left_over, weights, of_residuals),
    )


def widening(rows: Matrix, covariance: Matrix, spread: Matrix, parts: Sequence[tuple[Matrix, float]]) -> Matrix:
    """Return what weights that are themselves estimated add to the covariance of the unknowns, shape (m, m).

    Formula: 2 C Σ_g w_g (Q_g - P_g C P_g) C, with P_g = Aᵀ V⁻¹ V_g V⁻¹ A, Q_g = Aᵀ V⁻¹ V_g V⁻¹ V_g V⁻¹ A, V_g what the
    scatter g puts into V, and w_g = 2/ν_g its relative variance.
    Source: M. G. Kenward and J. H. Roger, Small sample inference for fixed effects, Biometrics 53 (1997), eq. 5 (from
    memory).

    When this is wrong: one or two degrees of freedom, where an estimated scatter says next to nothing.

    Args:
        rows: A, shape (n, m).
        covariance: V, shape (n, n).
        spread: C, the covariance of the unknowns with V taken as known, shape (m, m).
        parts: V_g, shape (n, n), and ν_g of each estimated scatter.
    """
    weighted = np.linalg.solve(covariance, rows)
    extra = np.zeros_like(spread)
    for part, dof in parts:
        felt = part @ weighted
        first = weighted.T @ felt
        second = felt.T @ np.linalg.solve(covariance, felt)
        extra += 2 / dof * (second - first @ spread @ first)
    return np.asarray(2 * spread @ extra @ spread)


def _residuals(ids: Sequence[str], left_over: Matrix, weights: Matrix, of_residuals: Matrix) -> tuple[Residual, ...]:
    redundancy = np.diag(of_residuals @ weights)
    weighted = weights @ of_residuals @ weights
    sizes = np.sqrt(np.clip(np.diag(weighted), 0.0, None))
    checked = (redundancy > 1e-6) & (sizes > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        correlated = np.abs(weighted) > GROUP_CORRELATION * np.outer(sizes, sizes)
        tested = (weights @ left_over) / sizes
    alike = correlated & np.outer(checked, checked) & ~np.eye(len(ids), dtype=bool)
    return tuple(
        Residual(
            id=name,
            value=float(left_over[i]),
            w=float(tested[i]) if checked[i] and math.isfinite(tested[i]) else None,
            redundancy=float(redundancy[i]),
            alike=tuple(ids[int(j)] for j in np.flatnonzero(alike[i])),
        )
        for i, name in enumerate(ids)
    )
