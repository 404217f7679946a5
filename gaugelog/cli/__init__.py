"""The command line: the only room that composes, prints errors and chooses exit codes. One file per command.

Command modules import nothing heavy at their top: `gaugelog --help` must stay quick.
"""
