"""Screens of a ski's history."""
