"""What this package adds to gaugelog: a framing, a link and a datasheet."""
