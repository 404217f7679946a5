"""Gauges to capture to store for one piece of work, telling whoever watches. The only room that joins them."""
