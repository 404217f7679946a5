"""Running the bytes of placements again through corrected datasheets; the old values are never lost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gaugelog.capture.again import placement_again
from gaugelog.errors import UnknownCheckpointError
from gaugelog.model.datasheet import Datasheet
from gaugelog.model.instrument import Instrument
from gaugelog.model.placement import KeptPlacement, Placement, Snapshot


@dataclass(frozen=True, slots=True)
class Rereading:
    """One placement read again: as it was, and as it reads now (None where its bytes give nothing)."""

    old: KeptPlacement
    new: Placement | None

    @property
    def differs(self) -> bool:
        """Whether it reads otherwise than before."""
        return self.new is not None and (self.new.value, self.new.text) != (
            self.old.placement.value,
            self.old.placement.text,
        )


def read_again(
    snapshots: Sequence[Snapshot], instrument: Instrument, datasheets: Mapping[str, Datasheet]
) -> tuple[Rereading, ...]:
    """Return every placement with bytes of the gauges in `datasheets`, read again; nothing is stored yet."""
    found = []
    for snapshot in snapshots:
        for kept in snapshot.placements:
            if not any(part.gauge in datasheets and part.raw for part in kept.placement.parts):
                continue
            try:
                checkpoint = instrument.checkpoint(kept.placement.checkpoint)
            except UnknownCheckpointError:
                continue  # the plan has dropped it since; its placements stay as they are
            found.append(Rereading(kept, placement_again(kept.placement, checkpoint, datasheets)))
    return tuple(found)
