"""Blade, base, studs and threads."""
