"""A command of the builder's own, run when something is told.

Here: starting it and waiting for its end. Not here: when (`clamping`), what it is told in words (`show.alarm_words`).
"""

from __future__ import annotations

import asyncio
import os
from asyncio.subprocess import DEVNULL
from collections.abc import Mapping

LONGEST_S = 30.0


async def run_alarm_command(command: str, told: Mapping[str, str]) -> str:
    """Run a command through the shell with what was told in its environment; return what went wrong, in words.

    It gets no input, and what it prints goes nowhere: the screen belongs to the session. One that takes longer than
    half a minute is ended.

    Args:
        command: as the builder wrote it.
        told: variables beside those of this program.
    """
    try:
        process = await asyncio.create_subprocess_shell(
            command, stdin=DEVNULL, stdout=DEVNULL, stderr=DEVNULL, env={**os.environ, **told}
        )
    except OSError as reason:
        return f"the command for alarms can't be run: {reason.strerror or reason}"
    try:
        async with asyncio.timeout(LONGEST_S):
            status = await process.wait()
    except TimeoutError:
        process.kill()
        await process.wait()
        return f"the command for alarms took longer than {LONGEST_S:g} s and was ended"
    except asyncio.CancelledError:
        process.kill()
        await process.wait()
        raise
    return "" if status == 0 else f"the command for alarms ended with status {status}"
