"""Screens about the ski in hand."""
