"""Screens over the bench."""
