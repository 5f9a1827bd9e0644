"""The pose from readings: fit, search, and why readings fix none."""
