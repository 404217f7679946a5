"""JSON fields of how the neck moved.

Here: the rigid movement of a comparison as data. Not here: the rest of the comparison (`documents`).
"""

from __future__ import annotations

from gaugelog.analysis.results import Moved, NeckMovement
from gaugelog.show.gauge_documents import Document, finite
from gaugelog.show.movement_view import untold_words


def movement_fields(movement: NeckMovement | None) -> Document:
    """Return the fields of a comparison that tell of the neck as a whole; null and empty where nothing tells."""
    if movement is None:
        return {"movement": None, "fit": None, "residuals": [], "consequences": []}
    return {
        "movement": {
            **{name: _moved(moved) for name, moved in movement.components.items()},
            "cannot_tell_apart": [untold_words(untold) for untold in movement.untold],
        },
        "fit": {"chi2": finite(movement.chi2), "dof": finite(movement.dof), "p": finite(movement.p)},
        "residuals": [
            {
                "id": each.id,
                "value": finite(each.value),
                "w": finite(each.w),
                "redundancy": finite(each.redundancy),
                "misfit": each.misfit,
                "alike": list(each.alike),
            }
            for each in movement.residuals
        ],
        "consequences": [
            {
                "name": each.name,
                "side": each.side or None,
                "unit": each.unit,
                "before": finite(each.before),
                "after": finite(each.after),
                "change": finite(each.change),
                "u": finite(each.u),
                "dof": finite(each.dof),
                "u_before": finite(each.u_before),
                "u_after": finite(each.u_after),
            }
            for each in movement.consequences
        ],
    }


def _moved(moved: Moved | None) -> Document | None:
    if moved is None:
        return None
    return {
        "value": finite(moved.value),
        "u": finite(moved.u),
        "unit": moved.unit,
        "dof": finite(moved.dof),
        "limit": finite(moved.limit),
        "smallest_provable": finite(moved.smallest_provable),
    }
