"""A recording read and put before the analysis: the one room that joins store and analysis."""
