"""What a checkpoint feels of a rigid movement of the neck.

Here: one row of the linear fit and the exact, nonlinear reading for each kind of checkpoint, in the body's frame
(docs/conventions.md). Not here: the fit (`movement`), or where the points come from (`sensors`).

A movement carries the neck's point p to R p + t, R the rotation by the vector ω. In the order t_x t_y t_z ω_x ω_y ω_z
(mm, radians) a length changes by n·t + ω·(p × n), an angle by a·ω.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]


def rotation(turn_rad: Vector) -> Vector:
    """Return the rotation matrix of a rotation vector, shape (3,) radians to (3, 3).

    Formula: R = I + sin φ K + (1 - cos φ) K², K the cross-product matrix of the unit axis, φ the vector's length.
    Source: Rodrigues' rotation formula.
    """
    angle = float(np.linalg.norm(turn_rad))
    if angle == 0.0:
        return np.eye(3)
    x, y, z = turn_rad / angle
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * cross @ cross)


class Sensor(Protocol):
    """How one checkpoint feels the neck's movement."""

    def row(self) -> Vector:
        """Return the change of the reading for a small movement, shape (6,).

        Of a length in mm a mm and mm a radian, of an angle in radians a radian.
        """
        ...

    def change(self, movement: Vector) -> float:
        """Return the exact change of the reading, mm or radians, for a movement of shape (6,) in mm and radians."""
        ...


@dataclass(frozen=True, slots=True)
class LengthSensor:
    """A length read in the direction `along` where it meets a plane of normal `normal` at `point_mm`.

    From a point of the body to a surface of the neck the plane is the neck's and moves (`neck_carries_plane`); from a
    point of the neck to a surface of the body the plane stays and the point moves. The reading grows as the neck goes
    `along`.
    """

    point_mm: tuple[float, float, float]
    normal: tuple[float, float, float]
    along: tuple[float, float, float]
    neck_carries_plane: bool = True

    def __post_init__(self) -> None:
        if abs(float(np.dot(self.normal, self.along))) < 1e-6:
            raise ValueError("a gauge that runs along a surface doesn't meet it")

    def row(self) -> Vector:
        """Return [n, p × n] with n = normal / (normal · along)."""
        normal = np.asarray(self.normal) / np.dot(self.normal, self.along)
        return np.concatenate([normal, np.cross(self.point_mm, normal)])

    def change(self, movement: Vector) -> float:
        """Return the exact change in mm: where the line along the gauge meets the plane, after less before."""
        point, normal = np.asarray(self.point_mm), np.asarray(self.normal)
        turn = rotation(movement[3:])
        travelled = turn @ point + movement[:3] - point
        plane = turn @ normal if self.neck_carries_plane else normal
        return float(travelled @ plane / (np.asarray(self.along) @ plane))


@dataclass(frozen=True, slots=True)
class SlopeSensor:
    """The slope of a line of the neck against the body top, seen along the strings or across them.

    `line` is the line's direction before the movement; its rise over its run along `over` is the angle that is read.
    """

    line: tuple[float, float, float]
    over: tuple[float, float, float]

    def row(self) -> Vector:
        """Return [0, a]: the derivative of the slope by the rotation."""
        line, over = np.asarray(self.line), np.asarray(self.over)
        run, rise = float(line @ over), float(line[2])
        turned = [np.cross(axis, line) for axis in np.eye(3)]
        slopes = [(each[2] * run - (each @ over) * rise) / (run**2 + rise**2) for each in turned]
        return np.concatenate([np.zeros(3), slopes])

    def change(self, movement: Vector) -> float:
        """Return the exact change of the slope in radians."""
        line, over = np.asarray(self.line), np.asarray(self.over)
        after = rotation(movement[3:]) @ line
        return math.atan2(after[2], after @ over) - math.atan2(line[2], line @ over)


@dataclass(frozen=True, slots=True)
class TurnSensor:
    """An angle about a fixed axis: what the file of a free checkpoint says."""

    axis: tuple[float, float, float]

    def row(self) -> Vector:
        """Return [0, axis], the axis as a unit vector."""
        axis = np.asarray(self.axis) / np.linalg.norm(self.axis)
        return np.concatenate([np.zeros(3), axis])

    def change(self, movement: Vector) -> float:
        """Return the rotation vector's share about the axis, radians: exact for a turn about that axis alone."""
        return float(self.row() @ movement)
