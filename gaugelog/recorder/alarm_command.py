"""A command of the builder's own, run when something is told.

Here: starting it and waiting for its end. Not here: when (`clamping`), what it is told in words (`show.alarm_words`).
"""

from __future__ import annotations

import asyncio
import os
import signal
from asyncio.subprocess import DEVNULL, Process
from collections.abc import Mapping
from contextlib import suppress

LONGEST_S = 30.0


async def run_alarm_command(command: str, told: Mapping[str, str]) -> str:
    """Run a command through the shell with what was told in its environment; return what went wrong, in words.

    It gets no input, and what it prints goes nowhere: the screen belongs to the session, and so does Ctrl-C. One that
    takes longer than half a minute, or still runs when the session ends, is ended with all that it started.

    Args:
        command: as the builder wrote it.
        told: variables beside those of this program.
    """
    try:
        process = await asyncio.create_subprocess_shell(
            command,
            stdin=DEVNULL,
            stdout=DEVNULL,
            stderr=DEVNULL,
            env={**os.environ, **told},
            start_new_session=os.name == "posix",
        )
    except (OSError, ValueError) as reason:
        return f"the command for alarms can't be run: {getattr(reason, 'strerror', None) or reason}"
    try:
        async with asyncio.timeout(LONGEST_S):
            status = await process.wait()
    except TimeoutError:
        await _end(process)
        return f"the command for alarms took longer than {LONGEST_S:g} s and was ended"
    except asyncio.CancelledError:
        await _end(process)
        raise
    return "" if status == 0 else f"the command for alarms ended with status {status}"


async def _end(process: Process) -> None:
    """End a command with all that it started, where the system knows what that is."""
    with suppress(ProcessLookupError, PermissionError):  # it has just ended by itself
        if os.name == "posix":
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
    await process.wait()
