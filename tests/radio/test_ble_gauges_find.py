"""`gaugelog gauges find` over the air: who is left alone, who is listened to, what is guessed."""

from __future__ import annotations

import asyncio
import json
import os
import sys
from pathlib import Path

from radio_bench.gauge import ANGLE_SERVICE, VirtualGauge
from radio_bench.radio import Radio

from gaugelog.datasheets.catalogue import find_datasheet


async def searched(radio: Radio, folder: Path, *arguments: str) -> asyncio.subprocess.Process:
    """Start the real command in a process of its own."""
    return await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "gaugelog", "gauges", "find", "--json", *arguments),
        cwd=folder,
        env={**os.environ, **radio.environment},
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )


async def found_while_it_sends(process: asyncio.subprocess.Process, gauge: VirtualGauge) -> dict:
    """Return the document of a search; meanwhile the gauge shows 2.85 degrees, again and again."""

    async def send() -> None:
        while True:
            await gauge.shows(285)
            await asyncio.sleep(0.1)

    sending = asyncio.create_task(send())
    try:
        async with asyncio.timeout(60):
            out, err = await process.communicate()
    finally:
        sending.cancel()
        await asyncio.gather(sending, return_exceptions=True)
    assert process.returncode == 0, err.decode()
    return json.loads(out)


async def test_a_stranger_is_seen_and_left_alone(radio: Radio, tmp_path: Path) -> None:
    gauge = await radio.gauge(name="stranger")
    process = await searched(radio, tmp_path, "--for", "1")
    document = await found_while_it_sends(process, gauge)
    (place,) = [each for each in document["places"] if each["name"] == "stranger"]
    assert place["services"] == [ANGLE_SERVICE]
    assert "no service" in place["passed_over"]
    assert (place["heard"], place["failure"]) == ([], None)
    assert not gauge.device.connections


async def test_a_gauge_whose_service_a_datasheet_names_is_heard_and_guessed(radio: Radio, tmp_path: Path) -> None:
    gauge = await radio.gauge()
    folder = tmp_path / "datasheets"
    folder.mkdir()
    text = find_datasheet("described-angle").text.replace('name = "described-angle"', 'name = "bench-angle"')
    (folder / "bench.toml").write_text(f'{text}\n[radio]\nservice = "{ANGLE_SERVICE}"\n', encoding="utf-8")
    process = await searched(radio, tmp_path, "--for", "1", "--listen", "1.5")
    document = await found_while_it_sends(process, gauge)
    fits = [fit for place in document["places"] for heard in place["heard"] for fit in heard["fits"]]
    assert fits, document
    first = fits[0]
    assert (first["datasheet"], first["radio_named"], first["rejects"]) == ("bench-angle", True, 0)
    assert first["example"]["reading"]["text"] == "2.85"
    assert first["gauge"].startswith(f"bench-angle@{radio.scheme}:{gauge.address}?")
