"""Quarterturn: a bench partner for setting a slalom-ski fin."""

__version__ = "0.1.0"
