"""The recording: one SQLite file a piece of work, with one writer and any number of readers.

Here: its numbered schema, the blocks of readings, the writer, the reader. Not here: what is recorded when (`recorder`),
or what it means (`analysis`).
"""
