"""Offsets between two methods, learned from fins read by both."""
