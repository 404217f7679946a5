"""The finer spans of a clamp session packed into a page, so that zooming in shows more than the overview.

Here: numbers as short typed arrays in base64. Not here: making the spans (`drift_rows`), drawing them in the page
(`templates/drift_zoom.js`, which reads what is packed here).
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gaugelog.show.drift_rows import Row
from gaugelog.show.envelope import Envelope
from gaugelog.show.sittings import Panel

_MOST_DECIMALS = 6
_OFF_GRID = 1e-9
_INTEGERS = ("<u2", "<u4")
_WHOLE_LEAN = 65_535
_QUANTUM = 1e-9


@dataclass(frozen=True, slots=True)
class Place:
    """Where one row is drawn in one panel: its time axis as plotly calls it, and the traces of line and band."""

    row: Row
    column: int
    axis: str
    line: int
    band: int


def detail_of(places: Sequence[Place], panels: Sequence[Panel], spans: int) -> dict[str, Any]:
    """Return what the page needs to draw each place finer, as JSON; `spans` are as many as a whole row shows."""
    return {
        "spans": spans,
        "places": [
            {
                "axis": place.axis,
                "line": place.line,
                "band": place.band,
                "share": panels[place.column].share,
                "zero": place.row.zero,
                "divisor": place.row.shown.divisor,
                "runs": [_run(run, panels[place.column]) for run in place.row.at(place.column)],
            }
            for place in places
        ],
    }


def _run(run: Envelope, panel: Panel) -> dict[str, Any]:
    """Return one run: when it begins in local milliseconds, the milliseconds between its spans, and their values."""
    time_ms = panel.local(run.middle_us).astype(np.int64)
    told: dict[str, Any] = {"start": int(time_ms[0]), "apart": packed(np.diff(time_ms, prepend=time_ms[0]))}
    if run.single:
        return told | {"mean": packed(run.mean)}
    return told | {
        "low": packed(run.low),
        "high": packed(run.high),
        "lean": _array(_lean(run), "<u2"),
        "count": packed(run.count),
    }


def _lean(run: Envelope) -> NDArray[np.float64]:
    """Return where between lowest and highest the mean of each span lies, 0 to 65535."""
    height = run.high - run.low
    shares = np.divide(run.mean - run.low, height, out=np.zeros(run.size), where=height > _QUANTUM)
    lean: NDArray[np.float64] = np.clip(np.rint(shares * _WHOLE_LEAN), 0, _WHOLE_LEAN)
    return lean


def packed(values: NDArray[Any]) -> dict[str, Any]:
    """Return numbers as `from` + `step` × a typed array in base64.

    Readings are decimals, so whole numbers of two or four bytes hold them to 1e-9; what are none stay as they are.

    Args:
        values: finite, shape (n,), n at least 1.
    """
    start = float(values.min())
    for decimals in range(_MOST_DECIMALS + 1):
        whole = np.rint(values * 10.0**decimals)
        if float(np.abs(values - whole / 10.0**decimals).max()) > _OFF_GRID:
            continue
        ticks = whole - whole.min()
        kind = next((each for each in _INTEGERS if ticks.max() <= np.iinfo(each).max), None)
        if kind is not None:
            return {
                "from": round(start, decimals),
                "step": 10.0**-decimals,
                "type": kind[1:],
                "data": _array(ticks, kind),
            }
    return {"from": 0.0, "step": 1.0, "type": "f8", "data": _array(values, "<f8")}


def _array(values: NDArray[Any], kind: str) -> str:
    return b64encode(values.astype(kind).tobytes()).decode("ascii")
