"""Measuring: lengths and units, repeat readings, uncertainty, calipers, studies.

Pure: no clock, no disk, no screen; knows nothing of fins.
"""
