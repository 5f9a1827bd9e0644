"""Distributions, special functions and small matrices in plain Python."""
