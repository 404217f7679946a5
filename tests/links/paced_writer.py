"""Run as a program: a gauge in another process, at the far end of a pty.

It prints the path of the near end, waits for a line on its standard input, then writes the bytes it was given in
pieces that respect no line, at the pace of a baud rate, and waits for a second line (or the end of its input) before it
closes, which unplugs the near end.

Arguments: baud rate, seed of the cutting, the bytes in hex.
"""

import os
import random
import sys
import time
import tty

baud, seed, data = int(sys.argv[1]), int(sys.argv[2]), bytes.fromhex(sys.argv[3])
far, near = os.openpty()
tty.setraw(near)
print(os.ttyname(near), flush=True)
sys.stdin.readline()
chance = random.Random(seed)
place, started = 0, time.monotonic()
while place < len(data):
    piece = data[place : place + chance.choice((1, 1, 2, 3, 5, 7, 11, 23))]
    os.write(far, piece)
    place += len(piece)
    if chance.random() < 0.05:
        started += 0.03  # the gauge thinks for a moment in the middle of a line
    time.sleep(max(0.0, started + place * 10 / baud - time.monotonic()))
sys.stdin.readline()
