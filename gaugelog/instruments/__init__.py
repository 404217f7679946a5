"""The instrument file and what builders write beside it: finding, reading, a new one, a table of placements.

Text in, `model.instrument.Instrument` or placements out. What the numbers mean together is for `analysis`.
"""
