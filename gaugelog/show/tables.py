"""Results as tables for pandas.

Here: one row a checkpoint, values in base units, nothing rounded. Not here: readings and placements (`store`).
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from gaugelog.analysis.results import Comparison
from gaugelog.show.documents import comparison_document

if TYPE_CHECKING:
    import pandas as pd

_NUMBERS = (
    "before_mean",
    "before_sd",
    "after_mean",
    "after_sd",
    "shift",
    "u",
    "dof",
    "expanded_95",
    "limit",
    "p_within",
)
_KINDS = {**dict.fromkeys((*_NUMBERS, "resolution", "smallest_provable"), "float64"), "more_placements": "Int64"}
"""Kinds of the columns that may be empty in one recording and not in the next, so that tables can be joined."""


def comparison_frame(comparison: Comparison, simulated: Collection[str] = ()) -> pd.DataFrame:
    """Return a comparison as a table; `unit` says in which base unit a row's values are.

    Columns are those of the JSON document, the two sides as before_mean, before_n, before_sd, after_mean and so on,
    whatever the stages are called: `from` and `to` name them.

    Args:
        comparison: the result.
        simulated: ids of the checkpoints that a simulated gauge read at either stage.
    """
    import pandas as pd

    rows = []
    document = comparison_document(comparison)
    stages = {"from": document["from"], "to": document["to"]}
    for row in document["checkpoints"]:
        sides = {f"{side}_{key}": value for side in ("before", "after") for key, value in row[side].items()}
        told = {key: value for key, value in row.items() if key not in ("before", "after", "id", "kind", "unit")}
        named = {"checkpoint": row["id"], "kind": row["kind"], "unit": row["unit"]}
        rows.append({**named, "simulated": row["id"] in simulated, **stages, **sides, **told})
    table = pd.DataFrame(rows)
    return table.astype({name: kind for name, kind in _KINDS.items() if name in table})
