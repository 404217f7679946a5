"""Run as a program: an invented angle gauge on Bluetooth LE, in the air of the virtual radio, moved by commands.

It prints the port on which the air is to be heard. Then its gauge notifies an angle eight times a second, for ever.
Commands, one a line on its standard input, each answered with its first word once it is done: `rest VALUE` sets it
down, `lift` swings it about, `unplug` switches it off, `plug` switches it on again; `dark` switches Bluetooth itself
off, `light` on again. It ends with its input.

Argument: the folder of the radio's other tests, in which `radio_bench` is.
"""

import asyncio
import math
import sys
import time

sys.path.insert(0, sys.argv[1])

from radio_bench.on_bumble import bumble_radio


class Mover:
    """Who holds the gauge."""

    def __init__(self, radio, gauge) -> None:
        self.radio, self.gauge = radio, gauge
        self.value, self.lifted, self.on = 0.0, False, True

    async def show_for_ever(self) -> None:
        while True:
            if self.on:
                swing = 3.0 * (1.2 + math.sin(9 * time.monotonic())) if self.lifted else 0.0
                await self.gauge.shows(round((self.value + swing) * 20) * 5)
            await asyncio.sleep(0.125)

    async def obey(self, words: list[str]) -> None:
        match words:
            case ["rest", value]:
                self.value, self.lifted = float(value), False
            case ["lift"]:
                self.lifted = True
            case ["unplug"]:
                self.on = False
                await self.gauge.stop()
            case ["plug"]:
                self.gauge = await self.radio.gauge()
                self.on = True
            case ["dark" | "light"]:
                await self.radio.power(words[0] == "light")
        print(words[0], flush=True)


async def main() -> None:
    async with bumble_radio() as (radio, port):
        mover = Mover(radio, await radio.gauge())
        print(port, flush=True)
        showing = asyncio.create_task(mover.show_for_ever())
        while line := await asyncio.to_thread(sys.stdin.readline):
            await mover.obey(line.split())
        showing.cancel()


asyncio.run(main())
