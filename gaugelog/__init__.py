"""gaugelog: from a gauge's bytes to "held" or "moved".

The names promised here stay; everything else may move. Each is loaded when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from gaugelog.analysis.results import Comparison as Comparison
    from gaugelog.analysis.results import Drift as Drift
    from gaugelog.analysis.results import Verdict as Verdict
    from gaugelog.datasheets.catalogue import find_datasheet as find_datasheet
    from gaugelog.datasheets.read import read_datasheet as read_datasheet
    from gaugelog.errors import GaugelogError as GaugelogError
    from gaugelog.gauges.connect import open_gauge as open_gauge
    from gaugelog.instruments.new import new_instrument as new_instrument
    from gaugelog.instruments.read import read_instrument as read_instrument
    from gaugelog.model.datasheet import Datasheet as Datasheet
    from gaugelog.model.estimate import Estimate as Estimate
    from gaugelog.model.instrument import Checkpoint as Checkpoint
    from gaugelog.model.instrument import Instrument as Instrument
    from gaugelog.model.placement import Placement as Placement
    from gaugelog.model.placement import Snapshot as Snapshot
    from gaugelog.model.readings import Reading as Reading
    from gaugelog.model.typed import parse_typed as parse_typed
    from gaugelog.review.comparing import compare_recorded as compare_recorded
    from gaugelog.review.session import drift_of as drift_of
    from gaugelog.store.reader import Recording as Recording
    from gaugelog.store.reader import open_recording as open_recording

_HOMES = {
    "Checkpoint": "model.instrument",
    "Comparison": "analysis.results",
    "Datasheet": "model.datasheet",
    "Drift": "analysis.results",
    "Estimate": "model.estimate",
    "GaugelogError": "errors",
    "Instrument": "model.instrument",
    "Placement": "model.placement",
    "Reading": "model.readings",
    "Recording": "store.reader",
    "Snapshot": "model.placement",
    "Verdict": "analysis.results",
    "compare_recorded": "review.comparing",
    "drift_of": "review.session",
    "find_datasheet": "datasheets.catalogue",
    "new_instrument": "instruments.new",
    "open_gauge": "gauges.connect",
    "open_recording": "store.reader",
    "parse_typed": "model.typed",
    "read_datasheet": "datasheets.read",
    "read_instrument": "instruments.read",
}
__all__ = sorted(_HOMES)


def __getattr__(name: str) -> Any:
    """Load a promised name from its home."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    """Return the promised names."""
    return list(__all__)
