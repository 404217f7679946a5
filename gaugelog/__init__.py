"""gaugelog: from a gauge's bytes to "held" or "moved"."""
