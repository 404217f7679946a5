"""A command of the builder's own, run on an alarm."""

from __future__ import annotations

import asyncio
import os
import shlex
import sys
from pathlib import Path

import pytest

from gaugelog.recorder import alarm_command
from gaugelog.recorder.alarm_command import run_alarm_command

pytestmark = pytest.mark.skipif(os.name != "posix", reason="the commands that these tests run are shell scripts")
_sees_processes = pytest.mark.skipif(
    not Path("/proc/self/stat").exists(), reason="whether a started process still runs is looked up in Linux's /proc"
)


async def test_it_is_told_in_its_environment_and_prints_nowhere(tmp_path: Path, capfd: pytest.CaptureFixture) -> None:
    words = 'neck angle up 0.15° "at once"; $HOME `x`'
    wrong = await run_alarm_command(
        f'echo loud; echo louder >&2; printf "%s" "$GAUGELOG_WORDS" > {shlex.quote(str(tmp_path / "told"))}',
        {"GAUGELOG_WORDS": words},
    )
    assert wrong == ""
    assert (tmp_path / "told").read_text(encoding="utf-8") == words
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize(("command", "told"), [("exit 3", "status 3"), ("no-such-command-here", "status 127")])
async def test_one_that_fails_is_said(command: str, told: str) -> None:
    assert told in await run_alarm_command(command, {})


async def test_one_that_can_not_be_run_is_said() -> None:
    assert "can't be run" in await run_alarm_command("true\0", {})


def _writes_its_child(path: Path) -> str:
    child = shlex.join([sys.executable, "-c", "import time; time.sleep(600)"])
    return f"trap '' TERM; {child} & echo $! > {shlex.quote(str(path))}; wait"


async def _child(path: Path) -> int:
    while not path.exists() or not path.read_text().strip():
        await asyncio.sleep(0.01)
    return int(path.read_text())


def _runs(number: int) -> bool:
    """Whether a process runs; one that has ended and waits to be noticed does not."""
    try:
        state = Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"


async def _ends(number: int) -> bool:
    for _ in range(200):
        if not _runs(number):
            return True
        await asyncio.sleep(0.01)
    return False


@_sees_processes
async def test_one_that_hangs_is_ended_with_all_that_it_started(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(alarm_command, "LONGEST_S", 0.5)
    wrong = await run_alarm_command(_writes_its_child(tmp_path / "child"), {})
    assert "took longer" in wrong
    assert await _ends(await _child(tmp_path / "child"))


@_sees_processes
async def test_one_that_still_runs_at_the_end_is_ended_with_all_that_it_started(tmp_path: Path) -> None:
    running = asyncio.create_task(run_alarm_command(_writes_its_child(tmp_path / "child"), {}))
    child = await _child(tmp_path / "child")
    running.cancel()
    assert isinstance((await asyncio.gather(running, return_exceptions=True))[0], asyncio.CancelledError)
    assert await _ends(child)
