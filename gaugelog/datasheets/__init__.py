"""What a frame of this gauge means: declarative TOML, all faults of a file told at once with their dotted key."""
