"""Screens of repeatability studies."""
