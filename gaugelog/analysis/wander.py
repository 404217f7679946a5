"""Fitting a curve under readings that scatter and whose gauge wanders.

Here: generalised least squares with white noise and a random walk, whose shares are read from what the curve leaves.
Not here: which curve (`creep`), where the steps are (`steps`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SHARES = np.concatenate(([0.0], np.logspace(-5, 3, 17)))
TINY = 1e-12
NO_WANDER = 17.0
SPANNED = 1e-10


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Means over stretches of a session, all of shape (n,): middle and length in s, mean, readings in it."""

    time_s: NDArray[np.float64]
    span_s: NDArray[np.float64]
    value: NDArray[np.float64]
    weight: NDArray[np.float64]

    @property
    def size(self) -> int:
        """Number of blocks."""
        return int(self.value.size)


@dataclass(frozen=True, slots=True, eq=False)
class Whitened:
    """Differences of neighbouring blocks, made independent, for each share of wander: (shares, n - 1, columns)."""

    value: NDArray[np.float64]
    columns: NDArray[np.float64]
    log_det: NDArray[np.float64]

    def first(self, count: int) -> Whitened:
        """Return the same with the first `count` columns only."""
        return Whitened(self.value, self.columns[:, :, :count], self.log_det)


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """Parameters with their covariance, and minus twice the log likelihood at its best (constants left out)."""

    value: NDArray[np.float64]
    covariance: NDArray[np.float64]
    deviance: float
    share: int
    white: float
    walk: float


def _covariance(blocks: Blocks) -> tuple[NDArray[np.float64], ...]:
    """Return diagonal and off-diagonal of the differences' covariance: of white noise, and of a random walk."""
    white = 1 / blocks.weight
    apart = np.diff(blocks.time_s)
    # a block with a gap in it must not reach past the middle of its neighbour: the covariance would not be one
    nearest = np.minimum(np.append(apart, np.inf), np.insert(apart, 0, np.inf))
    sixth = np.minimum(blocks.span_s, nearest) / 6
    return white[1:] + white[:-1], -white[1:-1], apart - sixth[1:] - sixth[:-1], sixth[1:-1]


def _units(blocks: Blocks) -> tuple[float, float]:
    white_diagonal, _, walk_diagonal, _ = _covariance(blocks)
    return float(white_diagonal.mean()), max(float(walk_diagonal.mean()), TINY)


def whiten(blocks: Blocks, columns: NDArray[np.float64], shares: NDArray[np.float64] = SHARES) -> Whitened:
    """Return the differences of neighbouring blocks as independent values of equal variance, for each share of wander.

    Formula: d = y_(k+1) - y_k has the covariance T = A + share · B, tridiagonal: A of white noise of the variance
    1/readings, B of the mean of a random walk over each block (both scaled to a mean diagonal of one); z = L⁻¹ d with
    T = L Lᵀ (Cholesky).

    Args:
        blocks: at least three.
        columns: shape (n, p), the curve's columns; a constant is lost.
        shares: shape (k,).
    """
    white_diagonal, white_off, walk_diagonal, walk_off = _covariance(blocks)
    white_unit, walk_unit = _units(blocks)
    share = shares[:, None]
    diagonal = white_diagonal / white_unit + share * walk_diagonal / walk_unit
    off = white_off / white_unit + share * walk_off / walk_unit
    raw = np.diff(np.column_stack((blocks.value, columns)), axis=0)
    count = raw.shape[0]
    factor, carry = np.empty((count, shares.size)), np.zeros((count, shares.size))
    rest = np.zeros(shares.size)
    for k in range(count):
        if k:
            carry[k] = off[:, k - 1] / factor[k - 1]
            rest = carry[k] ** 2
        factor[k] = np.sqrt(np.maximum(diagonal[:, k] - rest, TINY))
    log_det = 2 * np.log(factor).sum(axis=0)
    scaled = raw[:, None, :] / factor[:, :, None]
    carry = (carry / factor)[:, :, None]
    for k in range(1, count):
        scaled[k] -= carry[k] * scaled[k - 1]
    done = np.swapaxes(scaled, 0, 1)
    return Whitened(done[:, :, 0], done[:, :, 1:], log_det)


def fit(blocks: Blocks, columns: NDArray[np.float64], floor: float = 0.0) -> Fit:
    """Return the curve's parameters under white noise and a random walk of any share.

    Formula: for each share b = (ZᵀZ)⁻¹Zᵀz and s² = |z - Zb|²/(n - 1 - p); the shares are averaged with their restricted
    likelihoods as weights, so that what isn't known of the wander widens the covariance. `deviance` is the least of
    (n - 1) ln(|z - Zb|²/(n - 1)) + ln det T.
    Source: restricted maximum likelihood (Patterson and Thompson, Biometrika 58, 1971; from memory).

    When this is wrong: wander that isn't a random walk, such as a daily swing; a handful of blocks, which can't
    tell wander from noise.

    Args:
        blocks: more than p + 1.
        columns: shape (n, p).
        floor: least variance of one reading's white noise, so that a stuck gauge isn't taken for a perfect one.
    """
    white = whiten(blocks, columns)
    return solve(blocks, white, floor)


def solve(blocks: Blocks, white: Whitened, floor: float = 0.0, shares: NDArray[np.float64] = SHARES) -> Fit:
    """Return the fit of what `whiten` made; see `fit`."""
    n, p = white.columns.shape[1:]
    inverse, log_det = _inverse(white.columns)
    turned = np.swapaxes(white.columns, 1, 2)
    value = inverse @ (turned @ white.value[:, :, None])
    left = white.value - (white.columns @ value)[:, :, 0]
    value = value[:, :, 0]
    white_unit, walk_unit = _units(blocks)
    squares = np.einsum("ki,ki->k", left, left) + n * floor * white_unit
    deviance = n * np.log(squares / n) + white.log_det
    free = max(n - p, 1)
    restricted = free * np.log(squares / free) + white.log_det + log_det
    chance = np.exp(-(restricted - restricted.min()) / 2) * np.where(shares == 0.0, NO_WANDER, 1.0)
    chance /= chance.sum()
    variance = squares / free
    mean = chance @ value
    apart = value - mean
    covariance = np.einsum("k,kij->ij", chance * variance, inverse) + np.einsum("k,ki,kj->ij", chance, apart, apart)
    best = int(np.argmin(deviance))
    return Fit(
        mean,
        covariance,
        float(deviance[best]),
        best,
        float(chance @ variance) / white_unit,
        float(chance @ (variance * shares)) / walk_unit,
    )


def _inverse(columns: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return (ZᵀZ)⁻¹ for each share, blind to directions that the columns don't span, and the log determinant."""
    square = np.swapaxes(columns, 1, 2) @ columns
    length = np.sqrt(np.maximum(np.einsum("kii->ki", square), TINY**2))
    root, direction = np.linalg.eigh(square / (length[:, :, None] * length[:, None, :]))
    seen = root > SPANNED
    turned = direction / length[:, :, None]
    inverse = (turned * np.where(seen, 1 / np.where(seen, root, 1.0), 0.0)[:, None, :]) @ np.swapaxes(turned, 1, 2)
    log_det = np.where(seen, np.log(np.where(seen, root, 1.0)), 0.0).sum(axis=1) + 2 * np.log(length).sum(axis=1)
    return inverse, log_det


def gains(white: Whitened, base: int, floor: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return how much each column past the first `base` would lower the deviance, and the deviance without any.

    Args:
        white: of all columns.
        base: how many are in the curve anyway.
        floor: as `fit`.

    Returns:
        Shapes (shares, candidates) and (shares,).
    """
    n = white.value.shape[1]
    tried = white.columns[:, :, base:]
    left, squares = white.value, np.einsum("knj,knj->kj", tried, tried)
    length, along = squares, np.einsum("kn,knj->kj", left, tried)
    if base:
        q, _ = np.linalg.qr(white.columns[:, :, :base])
        turned = np.swapaxes(q, 1, 2)
        shadow = turned @ tried
        left = left - (q @ (turned @ left[:, :, None]))[:, :, 0]
        length = squares - np.einsum("kij,kij->kj", shadow, shadow)
        # no matrix product: a library's threads cost more than they bring here
        along = np.einsum("kn,knj->kj", left, tried)
    total = np.einsum("kn,kn->k", left, left) + n * floor
    sound = length > 1e-6 * squares
    taken = np.where(sound, along**2 / np.where(sound, length, 1.0), 0.0)
    return -n * np.log(np.maximum(1 - taken / total[:, None], TINY)), n * np.log(total / n) + white.log_det
