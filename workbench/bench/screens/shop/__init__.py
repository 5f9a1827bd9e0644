"""Screens of the shop and the day."""
