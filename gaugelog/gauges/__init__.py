"""Datasheet and link joined: gauges as streams of what was heard, real or simulated.

`open_gauge` finds both by the gauge's name, `GaugeStream` opens, polls, decodes and reconnects, `listen` merges
several, `read_once` takes the first readings. `sim:` gauges run in real time (`simulated`) or virtual time (`bench`).
"""
