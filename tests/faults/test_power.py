"""The power cut at random system calls, in the short form; and the model of the disk, which must find fault."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from random import Random

import faults_power
import pytest
from faults_power import FAMILIES, of_the_writer, writer_story
from platter import Platter
from rounds import Family, Outcome, run
from tracing import Call, hindered


@pytest.fixture(scope="module", autouse=True)
def can_be_traced() -> None:
    reason = hindered()
    if reason and os.environ.get("CI") == "true":
        pytest.fail(f"{reason}, and CI must be able to")
    if reason:
        pytest.skip(reason)


@pytest.fixture(scope="module")
def places(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for all of these tests: what the programs did is recorded once for all of them."""
    return tmp_path_factory.mktemp("power")


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.name)
def test_a_power_cut_loses_nothing_that_was_acknowledged(family: Family, places: Path) -> None:
    outcome = run(family, family.short, 686, places / family.name)
    outcome.must_be_clean()
    assert outcome.hits > family.short // 4
    assert outcome.acknowledged > 0


def test_a_writer_that_did_not_sync_would_be_found_out(
    places: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    story = writer_story(places / "power off: the writer" / "story")
    calls = tuple(call for call in story.calls if call.name != "sync")
    assert len(story.calls) - len(calls) > 100
    monkeypatch.setattr(faults_power, "writer_story", lambda _: replace(story, calls=calls))
    outcome = Outcome()
    for number in range(12):
        outcome.add(of_the_writer(Random(number), tmp_path))
    assert outcome.lost > 0


def written(at: int, data: bytes) -> Call:
    return Call("write", 3, "/f/a", at=at, data=data)


def outcomes(*calls: Call, before: dict[str, bytes] | None = None) -> set[tuple[tuple[str, bytes], ...]]:
    """Return what may be found after a power cut, as far as chance shows it in 600 tries."""
    found = set()
    for number in range(600):
        platter = Platter(Path("/f"), before or {})
        for call in calls:
            platter.do(call)
        found.add(tuple(sorted(platter.power_off(Random(number))[0].items())))
    return found


OPEN = Call("open", 3, "/f/a", flags="O_RDWR|O_CREAT")
SYNC, SYNC_FOLDER = Call("sync", 3, "/f/a"), Call("sync", 4, "/f")
FOLDER = Call("open", 4, "/f", flags="O_RDONLY")


def test_what_was_synced_stays_and_what_was_not_may_go() -> None:
    both = outcomes(OPEN, written(0, b"one"), SYNC, written(3, b"two"), before={"a": b""})
    assert both == {(("a", b"one"),), (("a", b"onetwo"),)}


def test_later_may_stay_without_earlier_and_reads_as_zeros_between() -> None:
    found = outcomes(OPEN, written(0, b"one"), written(3, b"two"), before={"a": b""})
    assert found == {(("a", data),) for data in (b"", b"one", b"onetwo", b"\0\0\0two")}


def test_a_name_stays_for_sure_only_once_its_folder_was_synced() -> None:
    assert () in outcomes(OPEN, written(0, b"one"), SYNC)
    assert outcomes(OPEN, written(0, b"one"), SYNC, FOLDER, SYNC_FOLDER) == {(("a", b"one"),)}
    moved = Call("rename", path="/f/a", other="/f/b")
    assert outcomes(OPEN, moved, before={"a": b"1"}) == {(("a", b"1"),), (("b", b"1"),)}


def test_a_write_over_several_sectors_may_be_torn_between_them() -> None:
    found = outcomes(OPEN, written(0, b"1" * 1024), before={"a": b"0" * 1024})
    assert (("a", b"1" * 512 + b"0" * 512),) in found
    assert (("a", b"0" * 512 + b"1" * 512),) in found
    assert all(len(files) == 1 and set(files[0][1][:512]) in ({48}, {49}) for files in found)
