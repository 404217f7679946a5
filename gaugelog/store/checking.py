"""Everything that can be verified in a recording, at once.

Here: the list of what is damaged. Not here: mending it; nothing is guessed.
"""

from __future__ import annotations

import sqlite3
from hashlib import sha256

from gaugelog.store.check_rows import read_checks
from gaugelog.store.gauge_rows import read_gauges
from gaugelog.store.marks import read_marks
from gaugelog.store.readings import Choice, damaged_heads, read_stretches
from gaugelog.store.seals import damaged_rows
from gaugelog.store.session_rows import read_sittings
from gaugelog.store.snapshots import read_snapshots


def all_damage(connection: sqlite3.Connection) -> list[str]:
    """Return all that is damaged, in words; empty where everything fits."""
    damaged = [row[0] for row in connection.execute("PRAGMA integrity_check(20)") if row[0] != "ok"]
    damaged += damaged_rows(connection, "clock", "instrument", "event", "gap", "reject", "reject_raw")
    gauges, damaged_gauges = read_gauges(connection)
    damaged += damaged_gauges
    damaged += [
        f"instrument {number}"
        for number, text, digest in connection.execute("SELECT id, text, sha256 FROM instrument")
        if sha256(str(text).encode()).hexdigest() != digest
    ]
    damaged += read_snapshots(connection).damaged
    damaged += damaged_heads(connection)
    damaged += read_marks(connection)[1]
    damaged += [each for each in read_checks(connection)[1] if each not in damaged]
    sittings, damaged_sittings = read_sittings(connection)
    damaged += damaged_sittings
    everything = Choice([row.id for row in gauges], [sitting.id for sitting in sittings])
    for _ in read_stretches(connection, everything, damaged):
        pass
    return damaged
