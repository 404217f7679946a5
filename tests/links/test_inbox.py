"""A source that is faster than its reader is asked to hold back, and nothing is lost."""

from __future__ import annotations

import asyncio
import os
import select
import time

import pytest

from gaugelog.links import LinkEnded
from gaugelog.links.descriptor import DescriptorReader
from gaugelog.links.inbox import FULL, Inbox
from gaugelog.links.reading_thread import ReadingThread


async def until(true, within_s: float = 5.0) -> None:
    async with asyncio.timeout(within_s):
        while not true():
            await asyncio.sleep(0.002)


async def take(inbox: Inbox, number: int) -> list[bytes]:
    found = []
    while len(found) < number:
        chunk = await inbox.get()
        if chunk.data:
            found.append(chunk.data)
    return found


@pytest.mark.skipif(os.name != "posix", reason="the event loop watches descriptors on POSIX only")
async def test_a_descriptor_is_left_unread_while_the_inbox_is_full():
    behind, front = os.pipe()
    inbox = Inbox(time.monotonic_ns)
    lines = [b"%d\n" % number for number in range(FULL)]

    def deliver(data: bytes) -> None:
        for line in data.splitlines(keepends=True):
            inbox.put(line)

    reader = DescriptorReader(behind, inbox, LinkEnded, deliver)
    try:
        os.write(front, b"".join(lines))
        await until(lambda: not select.select([behind], [], [], 0)[0])
        os.write(front, b"later\n")
        await asyncio.sleep(0.05)
        assert select.select([behind], [], [], 0)[0], "it was read although the inbox was full"
        assert await take(inbox, FULL + 1) == [*lines, b"later\n"]
    finally:
        reader.stop()
        inbox.close()
        os.close(behind)
        os.close(front)


async def test_a_thread_reads_no_more_while_the_inbox_is_full_and_ends_when_stopped():
    inbox = Inbox(time.monotonic_ns)
    reads = []

    def read() -> bytes:
        reads.append(b"%d" % len(reads))
        time.sleep(0.0001)
        return reads[-1]

    thread = ReadingThread(read, inbox, lambda reason: reason, time.monotonic_ns)
    try:
        await until(lambda: len(reads) >= FULL)
        await asyncio.sleep(0.05)  # a read or two may still have been under way
        held = len(reads)
        await asyncio.sleep(0.05)
        assert len(reads) == held
        assert await take(inbox, held + 1) == [b"%d" % number for number in range(held + 1)]
    finally:
        await thread.stop()
        thread.pause()
        inbox.close()
    assert not thread._thread.is_alive()
